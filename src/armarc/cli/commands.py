"""Which commands there are."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Attach every command to the program."""
