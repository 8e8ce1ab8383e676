"""The command-line program: commands, error boundary, exit codes.

stdout carries data, stderr carries talk. Heavy libraries are imported inside the commands, so that
``armarc --help`` answers at once.
"""

from __future__ import annotations

import contextlib
import errno
import gc
import os
import signal
import sys
import time
from collections.abc import Iterator
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperGroup

from armarc import __version__
from armarc.cli.terminal import MANNER, error_console, prepare_streams
from armarc.errors import ArmarcError, InputError, UsageError
from armarc.outputs import done, let_go

LONGEST_NAME = 120
EVERYWHERE = ("--debug", "--quiet", "--verbose")
"""Options of the program that may stand behind the command, too."""

_FULL = (errno.ENOSPC, errno.EFBIG, errno.EIO, getattr(errno, "EDQUOT", errno.ENOSPC))

CAUTIONS = (
    "Training log and measurement aid, not a medical device: it does not diagnose, treat or predict injury. "
    "Stop at pain, numbness, tingling, instability, dizziness or chest discomfort and see a licensed "
    "practitioner. Angles come from the forearm and carry errors. Start light, secure weights and anchors, "
    "never chase a number. Local rules come first."
)


class ErrorBoundary(TyperGroup):
    """Turns every error into one plain message and the documented exit code."""

    def __init__(self, **how: Any) -> None:
        super().__init__(**how)
        _unwrap(self)

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        with _plain_errors(debug=False):
            done.clear()
            return super().make_context(info_name, _moved_to_front(args), parent, **extra)

    def invoke(self, ctx: Any) -> Any:
        with _plain_errors(debug=bool(ctx.params.get("debug"))):
            result = super().invoke(ctx)
            sys.stdout.flush()  # here, where a full disk can still be told
            return result


def _unwrap(command: Any) -> None:
    """Lines of an explanation end where the terminal does, not where those of the source do; also below a group."""
    paragraphs = (command.help or "").split("\n\n")
    command.help = "\n\n".join(" ".join(paragraph.split()) for paragraph in paragraphs) or None
    for each in getattr(command, "commands", {}).values():
        _unwrap(each)


@contextlib.contextmanager
def _plain_errors(*, debug: bool) -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        # The reader has seen enough, as head does after its lines: no fault, and nothing to say.
        let_go(sys.stdout)
        raise typer.Exit(0) from None
    except SystemExit as ended:  # how a console of rich says the same
        raise typer.Exit(0) if isinstance(ended.__context__, BrokenPipeError) else ended from None
    except (KeyboardInterrupt, typer.Exit, typer.Abort):
        raise
    except Exception as error:
        if debug or _is_usage_error(error):
            raise
        said, code = _said_of(error)
        if isinstance(error, OSError):
            let_go(sys.stdout)
        with contextlib.suppress(OSError):
            error_console(always=True).print(f"armarc: {said}", style="bold", markup=False, soft_wrap=True)
        raise typer.Exit(code) from None


def _moved_to_front(args: list[str]) -> list[str]:
    end = args.index("--") if "--" in args else len(args)
    front = [arg for arg in args[:end] if arg in EVERYWHERE]
    return front + [arg for arg in args[:end] if arg not in EVERYWHERE] + args[end:]


def _said_of(error: Exception) -> tuple[str, int]:
    """One plain message for an error, and the exit code."""
    before = f"; before that {'; '.join(dict.fromkeys(done))}" if done else ""
    if isinstance(error, ArmarcError):
        return f"{error}{before}", error.exit_code
    if isinstance(error, OSError) and error.filename is not None:
        # A path no command has foreseen: a name too long, a device that is not ready.
        name = str(error.filename)
        name = name if len(name) <= LONGEST_NAME else f"{name[:LONGEST_NAME]}…"
        what = error.strerror or error
        return f"{name}: {what} (check the name and the place){before}", InputError.exit_code
    if isinstance(error, OSError) and error.errno in _FULL:
        hint = "free some space, or send the output elsewhere"
        return f"the output cannot be written: {error.strerror} ({hint}){before}", UsageError.exit_code
    if isinstance(error, FileNotFoundError) and not _stands_somewhere():
        return f"the folder you are in is no more (cd to one that exists){before}", InputError.exit_code
    return (
        f"unexpected fault: {type(error).__name__}: {error} (run again with --debug to see where){before}"
    ), 1


def _stands_somewhere() -> bool:
    try:
        os.getcwd()
    except OSError:
        return False
    return True


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
        bool,
        typer.Option("--version", "-V", callback=_version, is_eager=True, help="Print the version and stop."),
    ] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", help="Only results and errors; anywhere on the line.")
    ] = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", help="Say how a file was read, line by line; anywhere.")
    ] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show the full trace of an error; anywhere.")
    ] = False,
) -> None:
    """Options of the program."""
    if quiet and verbose:
        raise UsageError("--quiet and --verbose exclude each other", "give one of them")
    MANNER.quiet, MANNER.verbose = quiet, verbose
    _check_time_zone()


def _check_time_zone() -> None:
    """A day that begins more than a day away is no local time: Python can name none, and no set its day."""
    away_h = time.localtime().tm_gmtoff / 3600
    if not abs(away_h) < 24:
        raise UsageError(
            f"the time zone TZ={os.environ.get('TZ', '')!r} is {away_h:+.0f} h from UTC, which no place on earth is",
            "unset it, or name one, such as TZ=Europe/Paris",
        )


def main() -> NoReturn:
    """Run the command line."""
    # Libraries and logs make objects by the hundred thousand and hardly a cycle: looking for one after every 700 is a
    # tenth of a start and a third of reading a long log.
    gc.set_threshold(400_000, 20, 20)
    from armarc.cli import commands

    prepare_streams()
    # A shell that asks how to go on does not name the command here.
    commands.register(app, None if "_ARMARC_COMPLETE" in os.environ else sys.argv[1:])
    try:
        app()
        sys.exit(0)
    finally:
        # Everything is said and kept; the interpreter takes a moment to end, and a Ctrl-C in that moment would make a
        # finished session look like a killed one.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        # It looks once more for cycles among all there is, for a tenth of a start; memory goes with the process.
        gc.freeze()
