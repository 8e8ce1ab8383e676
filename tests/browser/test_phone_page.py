"""A phone as the sensor, in a real Chromium over TLS on loopback, its motion played from a recording."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from live_chrome import Chrome, find_chromium
from phone_link import FLAGS, Program, Wire, feed, move_sensors, set_sensors, start, virtual_sensors

import armarc
from armarc.recording import Metadata
from armarc.simulate import SimulationOptions, plan_session, simulate_session
from armarc.simulate.session import simulate_chest
from armarc.trunk import Trunk
from grids import seldom
from live_runs import recording

for library in ("websockets", "segno", "cryptography"):
    pytest.importorskip(library, reason="the extra 'phone' is not installed")
pytestmark = pytest.mark.skipif(find_chromium() is None, reason="no Chromium on this machine")


def test_a_set_from_a_phone_is_the_set_of_the_file(page: Chrome, tmp_path: Path) -> None:
    made, _ = recording(2, sets=1, reps=3, load_kg=8.0)
    true = armarc.process(made, exercise="lateral-raise").frame()
    program = Program(tmp_path, "live", "-e", "lateral-raise", "--json", "--out", str(tmp_path / "raw.csv"))
    wire = Wire(program.port)
    try:
        start(page, program.url.replace(f":{program.port}/", f":{wire.port}/"))
        feed(page, made, rate_hz=60.0)
        time.sleep(6.0)  # what the phone's numbers mean is known after five
        wire.cut()
        page.wait_for("document.getElementById('say').textContent === 'No connection'")
        time.sleep(10.0)
        assert page.value("next - acked") > 400
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
    ended = [one for one in program.events() if one["event"] == "set ended"]
    assert len(ended) == 1


def test_the_page_records_without_a_network_what_process_reads(page: Chrome, tmp_path: Path) -> None:
    from armarc.live.web.server import phone_page

    made, _ = recording(2, sets=1, reps=2, load_kg=8.0)
    file = tmp_path / "saved.html"
    file.write_text(phone_page()[0], encoding="utf-8")
    page.open(file.as_uri())
    page.wait_for("document.getElementById('say').textContent === 'Record without a network'")
    page.value("document.getElementById('start').click()")
    feed(page, made, rate_hz=60.0)
    page.wait_for("window.played", 120)
    page.value("document.getElementById('start').click()")
    page.wait_for("document.getElementById('say').textContent === 'Recorded'")
    assert not page.value("document.getElementById('csv').hidden")
    csv = tmp_path / "phone.csv"
    csv.write_text(page.value("csv()"), encoding="utf-8")
    read = armarc.read_csv(csv)
    assert len(read.time_s) == page.value("fired")
    assert str(read.metadata.sensor).startswith("phone-")
    assert read.metadata.other["clock_of"] == read.metadata.other["sensor_serial"]
    assert any("about x, y, z" in one for one in read.source.inferences)
    true = armarc.process(made, exercise="lateral-raise").frame()
    got = armarc.process(read, exercise="lateral-raise").frame()
    assert len(got) == len(true) == 2
    off = np.abs(got["start_velocity_deg_s"].to_numpy() - true["start_velocity_deg_s"].to_numpy())
    assert off.max() < 1.5
    # Asked for what stayed on the table it also reads, though no movement says which axes are which.
    still = [line for line in csv.read_text().splitlines() if not line.startswith("#")]
    lines = csv.read_text().splitlines()[:3] + [still[1].split(",", 1)[1]] * 600
    lines[3:] = [f"{k / 60:.6f},{cells}" for k, cells in enumerate(lines[3:])]
    lines[1] = lines[1].replace("{", '{"sensor_rounding_m_s2": 0.1, ', 1)
    table = tmp_path / "table.csv"
    table.write_text("\n".join(lines) + "\n")
    assert any("no movement tells" in one for one in armarc.read_csv(table).source.inferences)


@pytest.mark.parametrize("rate_hz", [100.0, *seldom(60.0)])
def test_a_set_by_the_browser_s_own_sensors_is_the_set_of_the_file(
    page: Chrome, tmp_path: Path, rate_hz: float
) -> None:
    # The sensors are moved so many times a second; Chromium hands on some 60 events a second, rounded, whatever comes.
    made, _ = recording(2, sets=1, reps=2, load_kg=8.0)
    program = Program(tmp_path, "record", str(tmp_path / "set.csv"), "--json", "-e", "lateral-raise")
    try:
        virtual_sensors(page)
        set_sensors(page, made.specific_force_m_s2[0], made.angular_velocity_rad_s[0])
        start(page, program.url)
        move_sensors(page, made, rate_hz=rate_hz)
        page.wait_for("next === acked")
    finally:
        code = program.end()
    assert code == 0, program.err.read_text()
    raw = armarc.read_csv(tmp_path / "set.csv")
    assert raw.metadata.other["sensor_rounding_m_s2"] == pytest.approx(0.1)
    true = armarc.process(made, exercise="lateral-raise").frame()
    got = armarc.process(raw, exercise="lateral-raise").frame()
    assert len(got) == len(true) == 2
    assert got["rom_deg"].to_numpy() == pytest.approx(true["rom_deg"].to_numpy(), abs=1.5)
    gaps = [one for one in raw.metadata.other["events"] if one["event"] == "gap"]
    for told, wanted, gate_s in zip(
        got["start_velocity_deg_s"], true["start_velocity_deg_s"], got["gate_s"], strict=True
    ):
        if any(one["end_s"] > gate_s - 0.5 and one["start_s"] < gate_s + 0.1 for one in gaps):
            continue  # a busy machine's browser skipped events there, and the recording says so
        # Ten degrees take 10/v s; a reading is up to a sixtieth of a second old.
        assert abs(told - wanted) < wanted**2 / 10 / 60


def test_two_phones_in_two_browsers(page: Chrome, tmp_path: Path) -> None:
    plan = plan_session(SimulationOptions(sets=1, reps=2, load_kg=8.0), 2)
    wrist = replace(simulate_session(plan, 2)[0], metadata=Metadata(exercise="lateral-raise"))
    chest = simulate_chest(plan, 2)
    words = ("record", str(tmp_path / "set.csv"), "--json", "-e", "lateral-raise")
    program = Program(tmp_path, *words, phone="wrist,chest")
    try:
        with Chrome(flags=FLAGS) as other:
            for one, place, made, rate_hz in ((page, 0, wrist, 60.0), (other, 1, chest, 100.0)):
                one.open(program.url)
                one.wait_for("document.querySelectorAll('#places button').length === 2")
                one.value(f"document.querySelectorAll('#places button')[{place}].click()")
                one.wait_for("greeted")
                feed(one, made, rate_hz=rate_hz)
            page.wait_for("window.played && next === acked", 60)
            other.wait_for("window.played && next === acked", 60)
            taken = [one.value("next") for one in (page, other)]
            assert "screen forward" in other.value("document.getElementById('more').textContent")
            assert "screen forward" not in page.value("document.getElementById('more').textContent")
    finally:
        code = program.end()
    assert code == 0, program.err.read_text()
    (said,) = program.events()
    assert [one["samples"] for one in said["files"]] == taken
    read = [armarc.read_csv(tmp_path / f"set-{place}.csv") for place in ("wrist", "chest")]
    true = armarc.process(wrist, exercise="lateral-raise").frame()
    got = armarc.process(read[0], trunk=Trunk(recording=read[1])).frame()
    assert len(got) == len(true) == 2
    off = np.abs(got["start_velocity_deg_s"].to_numpy() - true["start_velocity_deg_s"].to_numpy())
    assert off.max() < 1.5
    assert np.abs(got["trunk_lean_deg"].to_numpy()).max() < 1.0  # the simulated trunk stands
