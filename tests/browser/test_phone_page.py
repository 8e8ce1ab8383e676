"""A phone as the sensor, in a real Chromium over TLS on loopback, its motion played from a recording."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from live_chrome import Chrome, find_chromium
from phone_link import FLAGS, Program, Wire, feed

import armarc
from live_runs import recording

for library in ("websockets", "segno", "cryptography"):
    pytest.importorskip(library, reason="the extra 'phone' is not installed")
pytestmark = pytest.mark.skipif(find_chromium() is None, reason="no Chromium on this machine")


@pytest.fixture
def page() -> Iterator[Chrome]:
    with Chrome(flags=FLAGS) as chrome:
        yield chrome


def _start(page: Chrome, url: str) -> None:
    page.open(url)
    page.wait_for("document.getElementById('start').textContent === 'Start'")
    page.value("document.getElementById('start').click()")
    page.wait_for("greeted")


def test_a_set_from_a_phone_is_the_set_of_the_file(page: Chrome, tmp_path: Path) -> None:
    made, _ = recording(2, sets=1, reps=3, load_kg=8.0)
    true = armarc.process(made, exercise="lateral-raise").frame()
    program = Program(tmp_path, "live", "-e", "lateral-raise", "--json", "--out", str(tmp_path / "raw.csv"))
    wire = Wire(program.port)
    try:
        _start(page, program.url.replace(f":{program.port}/", f":{wire.port}/"))
        feed(page, made, rate_hz=60.0)
        time.sleep(6.0)
        wire.cut()
        page.wait_for("document.getElementById('say').textContent === 'No connection'")
        page.wait_for("next - acked > 200")
        time.sleep(6.0)
        wire.mend()
        page.wait_for("greeted && next - acked < 30")
        page.wait_for("window.played", 120)
        page.wait_for("next === acked")
        taken = page.value("next")
        time.sleep(0.5)
    finally:
        code = program.end()
        wire.close()
    assert code == 0, program.err.read_text()
    assert taken == page.value("fired")
    raw = armarc.read_csv(tmp_path / "raw.csv")
    assert len(raw.time_s) == taken  # ten seconds without a network cost nothing
    assert raw.metadata.other["sensor_habits"]
    states = [one["state"] for one in program.events() if one["event"] == "link"]
    assert "lost" in states
    assert "up again" in states
    got = armarc.process(raw, exercise="lateral-raise").frame()
    assert len(got) == len(true) == 3
    # The browser's timer is late by milliseconds on a busy machine; what it samples is right all the same.
    off = np.abs(got["start_velocity_deg_s"].to_numpy() - true["start_velocity_deg_s"].to_numpy())
    assert off.max() < 1.5
    ended = [one for one in program.events() if one["event"] == "set"]
    assert len(ended) == 1
