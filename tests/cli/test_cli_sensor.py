"""`armarc sensor` and `armarc record` as far as they go without a radio (the rest is in tests/device)."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from armarc.cli.app import ErrorBoundary
from armarc.cli.record import record
from armarc.cli.sensor import app as sensor

KNOWN = {
    "schema": "armarc.known-sensors/1",
    "sensors": [
        {"nickname": "red", "name": "wrist-1", "address": "AA", "serial": "A-1", "side": "left"},
        {"nickname": "blue", "name": "wr\x1bist", "address": "BB", "serial": "", "side": None},
    ],
}


app = typer.Typer(cls=ErrorBoundary, pretty_exceptions_enable=False)
app.add_typer(sensor, name="sensor")
app.command("record")(record)


def armarc(folder: Path, *words: str) -> Any:
    """Run a command inside this process, with a configuration folder of its own."""
    return CliRunner().invoke(app, words, env={"ARMARC_CONFIG_DIR": str(folder), "NO_COLOR": "1"})


def test_known_and_forget(tmp_path: Path) -> None:
    assert "no sensor is remembered" in armarc(tmp_path, "sensor", "known").stderr
    (tmp_path / "known-sensors.json").write_text(json.dumps(KNOWN))
    done = armarc(tmp_path, "sensor", "known")
    assert done.stdout == "red\tleft\twrist-1\tA-1\nblue\teither side\twr?ist\tBB\n"
    assert json.loads(armarc(tmp_path, "sensor", "known", "--json").stdout) == KNOWN
    assert armarc(tmp_path, "sensor", "forget", "A-1").stdout == "forgotten: red\n"
    again = armarc(tmp_path, "sensor", "forget", "red")
    assert again.exit_code == 2
    assert "remembered: blue" in again.stderr


def test_a_damaged_list_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "known-sensors.json").write_text('{"sensors": [{"nick')
    done = armarc(tmp_path, "sensor", "known")
    assert done.exit_code == 3
    assert "is damaged" in done.stderr
    assert "Traceback" not in done.stderr


def test_describe(tmp_path: Path) -> None:
    """Every example that is printed can be laid down and checked."""
    shown = armarc(tmp_path, "sensor", "describe", "--example")
    printed = shown.stdout
    assert "each is a file of its own" in shown.stderr
    (tmp_path / "all.toml").write_text(printed)
    together = armarc(tmp_path, "sensor", "describe", str(tmp_path / "all.toml"))
    assert together.exit_code == 3
    assert "each thing has a file or table of its own" in together.stderr
    assert armarc(tmp_path, "sensor", "describe", "--folder").stdout == f"{tmp_path / 'sensors'}\n"
    parts = re.split(r"^# (invented[-_][\w-]+\.(?:toml|py))\n", printed, flags=re.MULTILINE)[1:]
    examples = dict(zip(parts[::2], parts[1::2], strict=True))
    for name, text in examples.items():
        (tmp_path / name).write_text(text)
    carried = {"counter": "counter at", "packed": "counter at", "decoder": "counter at"}
    for name in examples:
        if name.endswith(".toml"):
            done = armarc(tmp_path, "sensor", "describe", str(tmp_path / name))
            assert done.exit_code == 0, done.stderr
            kind = name.removeprefix("invented-").removesuffix(".toml")
            assert f"time is carried by: {carried.get(kind, 'device clock')}" in done.stdout
    assert len(examples) == 9
    path = tmp_path / "invented-counter.toml"
    good = "a507" + "0000" * 15 + "0000" + "0000" + "1002" + "ff"
    done = armarc(tmp_path, "sensor", "describe", str(path), "--packet", good)
    assert "first sample: number 21, device time None s" in done.stdout
    assert done.stdout.endswith("0.00000,-9.80579,0.00000,0.00000,0.00000,0.00000\n")
    bad = armarc(tmp_path, "sensor", "describe", str(path), "--packet", good[:-2])
    assert bad.exit_code == 3
    assert "does not fit this sensor" in bad.stderr


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("record",), 2, "OUT.csv"),
        (("record", "a.csv", "-s", "a", "-s", "A"), 2, "several different ones"),
        (("record", "a.csv", "--side", "up"), 2, "expected left or right"),
        (("record", "a.csv", "--description", "nowhere.toml"), 3, "cannot be read"),
        (("sensor", "remember", "../x"), 2, "cannot be a nickname"),
        (("sensor", "describe"), 2, "expected a file"),
    ],
)
def test_usage(tmp_path: Path, words: tuple[str, ...], code: int, said: str) -> None:
    done = armarc(tmp_path, *words)
    assert done.exit_code == code, done.stderr
    assert said in done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


def test_a_chest_sensor_s_facing_that_cannot_be(tmp_path: Path) -> None:
    for words, why in (
        (("--trunk-forward", "-z"), "--trunk-forward is of a sensor on the chest"),
        (("--sensor", "wrist=a,chest=b", "--trunk-forward", "up"), "up"),
    ):
        done = armarc(tmp_path, "record", str(tmp_path / "set.csv"), *words)
        assert done.exit_code == 2, done.stderr
        assert why in done.stderr
    assert list(tmp_path.iterdir()) == []
