"""What the commands say about a phone before one is there."""

from __future__ import annotations

import asyncio
import importlib.util
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from armarc.cli.phone import open_phone, phone_places, phones_worn
from armarc.errors import UsageError


@pytest.mark.parametrize(
    "words",
    [
        ("live", "mysensor", "--phone"),
        ("live", "--from", "set.csv", "--phone"),
        ("live", "--phone", "--rate", "100"),
        ("record", "OUT", "--phone", "--sensor", "mysensor"),
        ("record", "OUT", "--phone", "--rate", "100"),
        ("record", "OUT", "--phone", "wrist,chest", "--sensor", "mysensor"),
        ("record", "--phone", "wrist,belly", "OUT"),
        ("record", "OUT", "--phone", "wrist,"),
        ("record", "OUT", "--phone=belly"),
        ("record", "OUT", "--phone", "wrist,wrist"),
        ("record", "--phone", "OUT", "--rate", "100"),
        ("sensor", "check", "set.csv", "--phone"),
        ("sensor", "check", "--phone", "--sensor", "mysensor"),
        ("sensor", "calibrate", "table.csv", "--phone"),
        ("sensor", "mount", "move.csv", "--phone", "--side", "left"),
        ("sensor", "mount", "--phone", "--side", "left", "--rate", "100"),
        ("sensor", "mount", "move.csv", "--out", "OUT"),
        ("sensor", "calibrate", "table.csv", "--out", "OUT"),
    ],
)
def test_a_phone_stands_alone(words: tuple[str, ...], tmp_path: Path) -> None:
    from armarc.cli import app, commands

    if not app.app.registered_commands:
        commands.register(app.app)
    told = [str(tmp_path / "out.csv") if word == "OUT" else word for word in words]
    done = CliRunner().invoke(app.app, told)
    assert done.exit_code == 2, done.output
    assert "phone" in done.output
    assert "Traceback" not in done.output
    assert not (tmp_path / "out.csv").exists()


@pytest.mark.parametrize(
    ("said", "places"),
    [
        ("wrist", ("wrist",)),
        ("wrist,chest", ("wrist", "chest")),
        ("Left, right", ("left", "right")),
        ("left,right,chest", ("left", "right", "chest")),
    ],
)
def test_places_of_phones(said: str, places: tuple[str, ...]) -> None:
    assert phone_places(phones_worn(said)) == places


def test_a_chest_alone_is_no_arm() -> None:
    with pytest.raises(UsageError, match="goes with one on the wrist"):
        phones_worn("chest")


def _open() -> None:
    async def run() -> None:
        async with open_phone("127.0.0.1", 0):
            pass

    asyncio.run(run())


@pytest.mark.parametrize("missing", ["segno", "cryptography", "websockets"])
def test_a_missing_library_is_named(missing: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for library in {"segno", "cryptography", "websockets"} - {missing}:
        pytest.importorskip(library, reason="the extra 'phone' is not installed")
    found = importlib.util.find_spec
    monkeypatch.setenv("ARMARC_DATA_DIR", str(tmp_path))
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *rest: None if name == missing else found(name)
    )
    for name in [one for one in sys.modules if one.partition(".")[0] == missing]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, missing, None)
    with pytest.raises(UsageError, match=missing) as refused:
        _open()
    assert "pip install" in str(refused.value)


def test_an_address_that_is_none_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for library in ("segno", "cryptography", "websockets"):
        pytest.importorskip(library, reason="the extra 'phone' is not installed")
    monkeypatch.setenv("ARMARC_DATA_DIR", str(tmp_path))

    async def run() -> None:
        async with open_phone("no where", 0):
            pass

    with pytest.raises(UsageError, match="address"):
        asyncio.run(run())
