"""What the README shows and points to is there, and is what the program does."""

from __future__ import annotations

import re
import shlex

import pytest
import typer

from armarc.cli import about, commands
from readme_sample import ROOT, sample, shown

README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_sample_is_what_the_program_prints():
    assert shown(README) == sample(), "python tests/readme_sample.py writes it anew"


def test_it_opens_with_the_job_and_two_commands_and_then_three_doors():
    title, job, *rest = README.split("\n\n")
    assert title == "# armarc"
    assert "shoulder raises" in job
    fences = [number for number, block in enumerate(rest) if block.startswith("```sh\n")]
    doors = next(number for number, block in enumerate(rest) if block.startswith("| you are |"))
    assert fences[:2] == [1, 3]
    assert doors == 4
    for number in (1, 3):
        assert rest[number].splitlines()[1].startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert [line.split("|")[1].strip() for line in rest[doors].splitlines()[2:]] == [
        "a coach",
        "a scientist",
        "a contributor",
    ]


def test_its_links_lead_somewhere():
    anchors = {
        re.sub(r"[^\w -]", "", head).lower().replace(" ", "-")
        for head in re.findall(r"^#+ (.+)$", README, re.M)
    }
    for target in re.findall(r"\]\(([^)]+)\)", README):
        assert (target[1:] in anchors) if target.startswith("#") else (ROOT / target).exists(), target


def _command_lines() -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", README, re.S)
    lines = [line.split("#")[0].strip() for block in blocks for line in block.splitlines()]
    return [line for line in lines if line.startswith("armarc ")]


@pytest.mark.parametrize("line", _command_lines())
def test_every_command_line_in_it_is_understood(line):
    program = typer.Typer()
    commands.register(program)
    command, words = typer.main.get_command(program), shlex.split(line)[1:]
    while below := getattr(command, "commands", None):
        command, words = below[words[0]], words[1:]
    command.make_context("armarc", words)  # parses, and runs nothing


def test_the_variables_are_those_that_are_heard():
    for name, _ in about.VARIABLES:
        assert f"| `{name}` |" in README
    heard = {
        match
        for path in (ROOT / "src").rglob("*.py")
        for match in re.findall(r'"(ARMARC_[A-Z_]+)"', path.read_text(encoding="utf-8"))
    }
    assert heard <= {name for name, _ in about.VARIABLES}
    assert heard == {name for name, _ in about.VARIABLES if name.startswith("ARMARC")}


def test_what_is_said_of_systems_agrees():
    """Linux alone was tried; whoever claims more changes every place that says so."""
    tried = {
        row.split("|")[1].strip(): row.split("|")[2] for row in README.splitlines() if row.startswith("| ")
    }
    assert tried["Linux"].strip().startswith("yes")
    assert tried["macOS"].strip() == tried["Windows"].strip() == "never on a real one"
    assert "nothing was tried on a real Bluetooth radio, Windows or macOS" in " ".join(README.split())
    assert "Not tried: Windows and macOS" in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
