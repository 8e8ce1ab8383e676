"""Which commands there are."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module

import typer

COMMANDS = (
    "process",
    "exercises",
    "measures",
    "log",
    "archive",
    "settings",
    "simulate",
    "lifter",
    "resist",
    "band",
    "trend",
    "compare",
    "reliability",
    "plan",
    "line-of-pull",
    "report",
    "browse",
    "record",
    "live",
    "sensor",
    "demo",
    "about",
)
"""In the order in which they are listed; each stands in a module of its name, groups as `app`."""


def register(app: typer.Typer, words: Sequence[str] | None = None) -> None:
    """Attach every command to the program, or what a command line of `words` needs.

    That is the command it names. One that names none can only be shown the list, for which each command's explanation
    is enough: options take longer to make than all the rest.
    """
    named = next((word for word in words or () if not word.startswith("-")), None)
    for name in [named] if named in COMMANDS else COMMANDS:
        function = name.replace("-", "_")
        module = import_module(f"armarc.cli.{function}")
        group: typer.Typer | None = getattr(module, "app", None)
        if words is not None and named not in COMMANDS:
            app.command(name, help=group.info.help if group else getattr(module, function).__doc__)(_listed)
        elif group:
            app.add_typer(group, name=name)
        else:
            app.command(name, cls=getattr(module, "COMMAND", None))(getattr(module, function))


def _listed() -> None:
    """Stand for a command that is listed and not called."""
