"""One command of armarc, called as from the command line inside this process."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import typer
from click.testing import Result
from typer.testing import CliRunner

from armarc.cli.app import ErrorBoundary


def program(command: Any, *words: str, config: str = "") -> Callable[..., Result]:
    """Runs ``armarc WORDS …``; its first argument is a folder, whose `config` within is the configuration folder."""
    app = typer.Typer(cls=ErrorBoundary, pretty_exceptions_enable=False)
    app.callback()(lambda: None)
    if isinstance(command, typer.Typer):
        app.add_typer(command, name=words[0])
    else:
        app.command(words[0])(command)

    def run(folder: Path, *arguments: str) -> Result:
        environment = {"ARMARC_CONFIG_DIR": str(folder / config), "COLUMNS": "200"}
        return CliRunner().invoke(app, [*words, *arguments], env=environment)

    return run
