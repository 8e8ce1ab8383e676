"""Options as rows of a table: said once, and handed to a command as one value read from them all."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import typer


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionRow:
    """An option.

    Parameters
    ----------
    name : str
        With underscores for dashes.
    help, panel, metavar
        As ``--help`` shows them.
    kind : type
    default : object
    short : str or None
        Its letter, as in ``"-e"``.
    complete : callable or None
        What the shell offers.
    has_no : bool
        Whether a switch can be said the other way, too (``--no-…``).
    """

    name: str
    help: str
    panel: str | None = None
    kind: Any = str
    default: Any = None
    metavar: str | None = None
    short: str | None = None
    complete: Callable[..., object] | None = None
    has_no: bool = False

    @property
    def parameter(self) -> inspect.Parameter:
        """The option as a parameter that typer reads."""
        is_plain = self.short is None and (self.kind is not bool or self.has_no)
        flags = () if is_plain else (f"--{self.name.replace('_', '-')}", *filter(None, [self.short]))
        option = typer.Option(
            *flags,
            help=self.help,
            metavar=self.metavar,
            rich_help_panel=self.panel,
            autocompletion=self.complete,
        )
        kind = self.kind | None if self.default is None else self.kind
        annotation: object = Annotated[(kind, option)]
        place = inspect.Parameter.KEYWORD_ONLY
        return inspect.Parameter(self.name, place, default=self.default, annotation=annotation)


def only(rows: Sequence[OptionRow], *names: str) -> tuple[OptionRow, ...]:
    """The rows of these names, in the order of the table."""
    return tuple(row for row in rows if row.name in names)


def without(rows: Sequence[OptionRow], *names: str) -> tuple[OptionRow, ...]:
    """All rows but those of these names."""
    return tuple(row for row in rows if row.name not in names)


def taking(**groups: tuple[Sequence[OptionRow], Callable[..., object]]) -> Callable[..., Callable[..., None]]:
    """Give a command the options of tables: each group's rows, and what makes one value of theirs.

    A keyword argument of the command with a group's name gets what its reader returns for the values, by name; the
    options stand in ``--help`` where that argument stands among the others.
    """

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        for name in groups:
            del command.__annotations__[name]  # of no interest to typer, which would have to import it
        parameters: list[inspect.Parameter] = []
        for one in inspect.signature(command, eval_str=True).parameters.values():
            parameters += [row.parameter for row in groups[one.name][0]] if one.name in groups else [one]

        def run(**said: object) -> None:
            for name, (rows, read) in groups.items():
                said[name] = read(**{row.name: said.pop(row.name) for row in rows})
            command(**said)

        run.__name__, run.__doc__, run.__module__ = command.__name__, command.__doc__, command.__module__
        run.__signature__ = inspect.Signature(parameters, return_annotation=None)  # type: ignore[attr-defined]
        run.__annotations__ = {}
        return run

    return decorate
