"""On a terminal of 80 columns no table of loads is cut: columns are left out, and said to be."""

import io

import pytest
import typer
from rich.console import Console
from typer.testing import CliRunner

from armarc.cli import terminal
from armarc.cli.app import ErrorBoundary
from armarc.cli.line_of_pull import line_of_pull
from log_program import app

pull = typer.Typer(cls=ErrorBoundary)
pull.command("line-of-pull")(line_of_pull)


@pytest.mark.parametrize(
    ("command", "words", "gone"),
    [
        (app, "plan", "In range s, at °"),
        (app, "plan --pace 57", "Mean up N·m, Start ratio"),
        (app, "resist 8kg band:100N/m,anchor=0/-1.3/0,length=0.5", "Work up J"),
        (pull, "", "15°, 120°"),
    ],
)
def test_nothing_is_cut(command, words, gone, monkeypatch):
    shown = io.StringIO()
    monkeypatch.setattr(
        terminal, "out_console", lambda: Console(file=shown, force_terminal=True, width=80, no_color=True)
    )
    done = CliRunner().invoke(command, words.split())
    assert done.exit_code == 0, done.stderr
    assert f"Left out for want of room: {gone}" in " ".join(shown.getvalue().split())
    assert "…" not in shown.getvalue()


def test_explanations_break_where_the_terminal_does_not_where_their_source_does():
    program = typer.main.get_command(app)

    def explained(command):
        yield command.help or ""
        for each in getattr(command, "commands", {}).values():
            yield from explained(each)

    said = list(explained(program))
    assert len(said) > 10
    assert not [text for text in said for paragraph in text.split("\n\n") if "\n" in paragraph]
