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


def register(app: typer.Typer, words: Sequence[str] = ()) -> None:
    """Attach the commands to the program: the one that a command line of `words` names, else every one."""
    named = next((word for word in words if not word.startswith("-")), None)
    for name in [named] if named in COMMANDS else COMMANDS:
        function = name.replace("-", "_")
        module = import_module(f"armarc.cli.{function}")
        if hasattr(module, "app"):
            app.add_typer(module.app, name=name)
        else:
            app.command(name, cls=getattr(module, "COMMAND", None))(getattr(module, function))
