"""A phone on the table and on the guided move: ``sensor calibrate --phone`` and ``sensor mount --phone``."""

from __future__ import annotations

import json
import re
import signal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from programs import Running, run

from armarc.recording import Recording
from armarc.simulate import SimulationOptions, plan_session, simulate_session
from invented_bench import GUIDED, Faults, handled
from phone_page import HELLO, Browser, Link, hello

for library in ("websockets", "segno", "cryptography"):
    pytest.importorskip(library, reason="the extra 'phone' is not installed")


def _streamed(folder: Path, made: Recording, browser: Browser, *words: Any) -> Running:
    """Run a command with a phone that has kept everything and sends it at once, and stop it as Ctrl-C does."""
    running = Running(folder, *words, "--phone", "--host", "127.0.0.1", "--port", "0")
    found = re.search(r"open https://(\S+)/phone(\?\S+)", running.wait_for("open https://"))
    assert found
    rows = browser.rows(made)
    with Link(f"wss://{found[1]}/phone/stream{found[2]}") as link:
        link.send(hello(next=len(rows)))
        assert json.loads(link.recv())["next"] == 0
        for text in browser.messages(rows):
            link.send(text)
            acked = json.loads(link.recv())["ack"]
        assert acked == len(rows)
        running.process.send_signal(signal.SIGINT)
        assert running.end(60) == 0, running.said()
    return running


def _told(done: Running) -> dict[str, Any]:
    return dict(json.loads("".join(line for _, line in done.out)))


def test_a_phone_is_calibrated_in_one_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ARMARC_DATA_DIR", str(tmp_path / "data"))
    faults = Faults(
        force_offset_m_s2=np.array([0.2, -0.3, 0.15]),
        bias_rad_s=np.radians([1.2, -0.7, 0.4]),
        rate_matrix=np.diag([1.012, 0.985, 1.008]),
    )
    out = tmp_path / "table.csv"
    browser = Browser(rounding=(0.1, 0.1))
    done = _streamed(
        tmp_path, handled(GUIDED, faults=faults), browser, "sensor", "calibrate", "--out", out, "--json"
    )
    assert "Calibrating a sensor" in done.said()
    made = _told(done)
    mine = made["calibration"]
    assert (mine["sensor"], mine["serial"]) == ("phone-0123", HELLO["phone"])
    assert mine["accelerometer"]["offset_m_s2"] == pytest.approx([0.2, -0.3, 0.15], abs=0.02)
    assert np.diag(mine["gyroscope"]["matrix"]) == pytest.approx([1.012, 0.985, 1.008], abs=0.003)
    assert out.exists()
    # Kept for this phone alone: another one, which has another name and number, is not corrected by it.
    kept = json.loads(run(tmp_path, "sensor", "calibrate", "--list", "--json").stdout)["calibrations"]
    assert [one["sensor"] for one in kept] == ["phone-0123"]


def test_a_phone_s_mount_is_read_off_a_move_that_begins_with_strapping_it_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ARMARC_DATA_DIR", str(tmp_path / "data"))
    options = SimulationOptions(twist=True, front_raise=True, reps=1, side="left")
    move, _ = simulate_session(plan_session(options, 3), 3)
    turned = handled([([1, 1, 0], 50), ([0, 1, 1], -160), ([1, 0, 1], 110)], rest_s=0.3, rate_hz=move.rate_hz)
    made = Recording(
        time_s=np.arange(len(turned.time_s) + len(move.time_s)) / move.rate_hz,
        specific_force_m_s2=np.concatenate([turned.specific_force_m_s2, move.specific_force_m_s2]),
        angular_velocity_rad_s=np.concatenate([turned.angular_velocity_rad_s, move.angular_velocity_rad_s]),
        rate_hz=move.rate_hz,
    )
    browser = Browser(rounding=(0.1, 0.1))
    out = tmp_path / "move.csv"
    done = _streamed(tmp_path, made, browser, "sensor", "mount", "--side", "left", "--out", out, "--json")
    told = _told(done)
    assert (told["sensor"], told["side"], told["kept"]) == ("phone-0123", "left", True)
    assert told["arm_axis"][1] > 0.99  # the simulated sensor's y axis points to the hand


def test_the_wrist_is_asked_for_before_anything_is_recorded(tmp_path: Path) -> None:
    done = run(tmp_path, "sensor", "mount", "--phone")
    assert done.returncode == 2
    assert "--side right or --side left" in done.stderr
