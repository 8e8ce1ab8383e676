"""The command-line program: commands, error boundary, exit codes.

stdout carries data, stderr carries talk. Heavy libraries are imported inside the commands, so that
``armarc --help`` answers at once.
"""

from __future__ import annotations

import sys
from typing import Annotated, Any, NoReturn

import typer
from rich.console import Console
from typer.core import TyperGroup

from armarc import __version__
from armarc.errors import ArmarcError, InputError

LONGEST_NAME = 120

CAUTIONS = (
    "Training log and measurement aid, not a medical device: it does not diagnose, treat or predict injury. "
    "Stop at pain, numbness, tingling, instability, dizziness or chest discomfort and see a licensed "
    "practitioner. Angles come from the forearm and carry errors. Start light, secure weights and anchors, "
    "never chase a number. Local rules come first."
)


def error_console() -> Console:
    """Console for talk (stderr)."""
    return Console(stderr=True, highlight=False)


class ErrorBoundary(TyperGroup):
    """Turns every error into one plain message and the documented exit code."""

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except (KeyboardInterrupt, BrokenPipeError, typer.Exit, typer.Abort):
            raise
        except Exception as error:
            if ctx.params.get("debug") or _is_usage_error(error):
                raise
            said, code = _said_of(error)
            error_console().print(f"armarc: {said}", style="bold", markup=False, soft_wrap=True)
            raise typer.Exit(code) from None


def _said_of(error: Exception) -> tuple[str, int]:
    """One plain message for an error, and the exit code."""
    if isinstance(error, ArmarcError):
        return str(error), error.exit_code
    if isinstance(error, OSError) and error.filename is not None:
        # A path no command has foreseen: a name too long, a device that is not ready.
        name = str(error.filename)
        name = name if len(name) <= LONGEST_NAME else f"{name[:LONGEST_NAME]}…"
        return f"{name}: {error.strerror or error} (check the name and the place)", InputError.exit_code
    return (
        f"unexpected fault: {type(error).__name__}: {error} "
        "(nothing was changed; run again with --debug before the command to see where)"
    ), 1


def _is_usage_error(error: Exception) -> bool:
    # Typer carries its own copy of the option parser, so its usage errors are told by what they can do.
    return hasattr(error, "format_message") and hasattr(error, "exit_code")


app = typer.Typer(
    name="armarc",
    cls=ErrorBoundary,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=CAUTIONS,
    help="Measure shoulder raises with one wrist sensor: sets, reps, start velocity, range of motion, tempo, "
    "swing.",
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"armarc {__version__}")
        raise typer.Exit()


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
    debug: Annotated[bool, typer.Option("--debug", help="Show the full trace of an error.")] = False,
) -> None:
    """Options that go before the command."""


def main() -> NoReturn:
    """Run the command line."""
    from armarc.cli import commands

    commands.register(app)
    app()
    sys.exit(0)
