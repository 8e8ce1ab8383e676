"""Every command into pipes and on terminals of ten encodings: no fault, and nothing a reader cannot decode."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from grids import seldom

pytestmark = pytest.mark.timeout(900)
CHILD = Path(__file__).with_name("every_command.py")
ENCODINGS = (
    *seldom("cp437", "cp932", "utf-8", "ascii", "latin-1", "cp850", "cp1252", "cp1251", "gbk", "koi8-r"),
)
"""Terminals of Western, Central and Eastern European, Japanese and Chinese machines (Python's names)."""
TERMINALS = ("cp437", *seldom("cp850", "cp1251", "cp932"))


def run_all(folder: Path, encoding: str, place: str) -> list[dict]:
    environment = {
        **os.environ,
        **{"ARMARC_CONFIG_DIR": str(folder / "config"), "ARMARC_LOG": str(folder / "own.sqlite")},
        **{"PYTHONIOENCODING": encoding, "PYTHONPATH": os.pathsep.join(sys.path)},
    }
    done = subprocess.run(
        [
            sys.executable,
            CHILD,
            encoding,
            place,
            folder,
            # A pipe gets UTF-8, which has every letter; what a page of help lacks shows on a terminal.
            "every-help" if (encoding, place) == ("cp437", "terminal") else "few",
        ],
        capture_output=True,
        env=environment,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode("utf-8", "replace")
    return json.loads(done.stdout)


def check(runs: list[dict]) -> None:
    assert len(runs) > 30
    for one in runs:
        told = (one["words"], one["code"], one["err"])
        assert one["code"] in (0, 2, 3, 5, 6), told
        assert "unexpected fault" not in one["err"], told
        assert "Traceback" not in one["err"] + one["out"], told
        if one["words"][-1] == "--help":
            assert one["code"] == 0, told
            assert "Usage" in one["out"], told


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_pipes_are_utf_8_whatever_the_locale(encoding, tmp_path):
    runs = run_all(tmp_path, encoding, "pipe")
    check(runs)
    listed = next(one for one in runs if one["words"][:3] == ["log", "list", "--json"])
    assert json.loads(listed["out"])["sets"][0]["lifter"] == "Łukasz Żółć – 山田"
    live = next(one for one in runs if one["words"][0] == "live" and "--log-file" in one["words"])
    assert "is in the log" in live["err"]
    for one in runs:
        if "--json" in one["words"] and one["code"] == 0:
            for line in [one["out"]] if one["out"].startswith("{\n") else one["out"].splitlines():
                json.loads(line)


@pytest.mark.parametrize("encoding", TERMINALS)
def test_a_terminal_gets_plain_letters_for_what_it_lacks(encoding, tmp_path):
    runs = run_all(tmp_path, encoding, "terminal")
    check(runs)
    listed = next(one for one in runs if one["words"][:3] == ["log", "list", "--log-file"])
    assert "ukasz" in listed["out"]


def test_the_program_itself_crosses_a_code_page(tmp_path):
    """As started by a shell, with the encoding of its streams taken from the environment."""
    environment = {**os.environ, "PYTHONIOENCODING": "cp437", "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-m", "armarc", "resist", "--help"],
        capture_output=True,
        env=environment,
        timeout=60,
        check=True,
    )
    assert "…" in done.stdout.decode("utf-8")
