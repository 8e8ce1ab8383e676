"""Runs many command lines in one process, as one started with a given encoding would: a child of the tests beside it.

Arguments: encoding, ``pipe`` or ``terminal``, a folder to work in, ``every-help`` for all pages of help. Prints one
JSON array: for every command line its exit code, and what came out of both streams, decoded as whoever is there would.
"""

from __future__ import annotations

import io
import json
import os
import sys
from functools import cache
from pathlib import Path
from typing import Any

import typer

from armarc.cli import commands
from armarc.cli.app import app
from armarc.cli.terminal import prepare_streams

LIFTER = "Łukasz Żółć – 山田"


class Stream(io.TextIOWrapper):
    """A standard stream that says whether it is a terminal."""

    terminal = False

    def isatty(self) -> bool:
        return self.terminal


def _helps(words: tuple[str, ...], command: object) -> list[list[str]]:
    below = getattr(command, "commands", None) or {}
    lines = [[*words, "--help"]]
    for name, one in below.items():
        lines += _helps((*words, name), one)
    return lines


def _lines(folder: Path) -> list[list[str]]:
    recording, log = str(folder / "set.csv"), str(folder / "log.sqlite")
    over = ["--log-file", log]
    return [
        ["simulate", recording, "--reps", "3", "--still-s", "1", "--load", "6kg", "--force"],
        ["process", recording],
        ["process", recording, "--json"],
        ["process", recording, "--lifter", LIFTER, "--note", "schön … 57 °/s", "--tag", "Größe", *over],
        ["process", str(folder / "Łódź.csv")],
        ["exercises"],
        ["exercises", "lateral-raise"],
        ["exercises", "--json"],
        ["exercises", "--template"],
        ["settings"],
        ["settings", "--template"],
        ["lifter", "show"],
        ["lifter", "show", "--json"],
        ["resist", "dumbbell:6kg", "cable:10kg,pulley=0.6/-0.9/0"],
        ["plan", "--load", "8kg", "--json"],
        ["line-of-pull"],
        ["log", "list", *over],
        ["log", "list", "--json", *over],
        ["log", "show", "last", *over],
        ["log", "export", "-", *over],
        ["log", "check", *over],
        ["log", "reprocess", "last", "--dry-run", *over],
        ["log", "edit", "last", "--note", "größer – schöner …", *over],
        ["log", "import", recording, *over],
        ["trend", "start_velocity_deg_s", *over],
        ["compare", "last", "last", *over],
        ["reliability", *over],
        ["report", "last", "--out", "-", *over],
        ["archive", "columns", str(folder / "nothing")],
        ["live", "--from", recording, "--speed", "max", "--json", *over],
        ["sensor", "describe", "--example"],
        ["sensor", "known"],
        ["nonsense"],
        ["process", recording, "--load", "½ Stück"],
    ]


@cache
def built() -> Any:
    """All commands, once and not for every line."""
    return typer.main.get_command(app)


def _run(words: list[str], encoding: str, terminal: bool) -> dict[str, object]:
    raw = [io.BytesIO(), io.BytesIO()]
    kept = sys.stdout, sys.stderr
    errors = "backslashreplace"
    sys.stdout, sys.stderr = Stream(raw[0], encoding), Stream(raw[1], encoding, errors=errors)
    sys.stdout.terminal = sys.stderr.terminal = terminal  # type: ignore[attr-defined]
    try:
        prepare_streams()
        try:
            built().main(words, prog_name="armarc")
            code: object = 0
        except SystemExit as ended:
            code = ended.code or 0
        sys.stdout.flush()
        sys.stderr.flush()
        reader = encoding if terminal else "utf-8"
        out, err = (one.getvalue().decode(reader) for one in raw)
    finally:
        sys.stdout, sys.stderr = kept
    return {"words": words, "code": code, "out": out, "err": err}


def main() -> None:
    """Run them all."""
    encoding, place, folder = sys.argv[1], sys.argv[2], Path(sys.argv[3])
    os.environ["COLUMNS"] = "100"
    commands.register(app)
    helps = [[name, "--help"] for name in ("process", "live", "resist", "simulate")]
    if sys.argv[4] == "every-help":
        helps = _helps((), built())
    lines = helps + _lines(folder)
    if place == "terminal":  # files, even there
        lines = [words for words in lines if words[0] != "report" and words[:2] != ["log", "export"]]
    done = [_run(words, encoding, place == "terminal") for words in lines]
    sys.stdout.buffer.write(json.dumps(done).encode())


main()
