"""A phone as the sensor, in a real Chromium over TLS on loopback, its motion played from a recording."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from live_chrome import Chrome, find_chromium
from phone_link import FLAGS, Program, Wire, feed, move_sensors, play_fast, set_sensors, virtual_sensors

import armarc
from armarc.recording import Metadata
from armarc.simulate import SimulationOptions, plan_session, simulate_session
from armarc.simulate.session import simulate_chest
from armarc.trunk import Trunk
from live_runs import recording

for library in ("websockets", "segno", "cryptography"):
    pytest.importorskip(library, reason="the extra 'phone' is not installed")
pytestmark = pytest.mark.skipif(find_chromium() is None, reason="no Chromium on this machine")

# A page that is half read shows its button, but nobody listens to it yet.
READY = "!document.getElementById('start').disabled"


@pytest.fixture
def page() -> Iterator[Chrome]:
    with Chrome(flags=FLAGS) as chrome:
        yield chrome


def _start(page: Chrome, url: str) -> None:
    page.open(url)
    page.wait_for(READY)
    page.value("document.getElementById('start').click()")
    page.wait_for("greeted")


def test_a_set_from_a_phone_is_the_set_of_the_file(page: Chrome, tmp_path: Path) -> None:
    made, _ = recording(2, sets=1, reps=5, load_kg=8.0)
    true = armarc.process(made, exercise="lateral-raise").frame()
    program = Program(tmp_path, "live", "-e", "lateral-raise", "--json", "--out", str(tmp_path / "raw.csv"))
    wire = Wire(program.port)
    try:
        _start(page, program.url.replace(f":{program.port}/", f":{wire.port}/"))
        feed(page, made, rate_hz=60.0)
        time.sleep(6.0)
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
    assert len(got) == len(true) == 5
    # The browser's timer is late by milliseconds on a busy machine; what it samples is right all the same.
    off = np.abs(got["start_velocity_deg_s"].to_numpy() - true["start_velocity_deg_s"].to_numpy())
    assert off.max() < 1.5
    ended = [one for one in program.events() if one["event"] == "set ended"]
    assert len(ended) == 1


def test_the_page_records_without_a_network_what_process_reads(page: Chrome, tmp_path: Path) -> None:
    from armarc.live.web.server import phone_page

    made, _ = recording(2, sets=1, reps=3, load_kg=8.0)
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
    assert len(got) == len(true) == 3
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


def test_a_refusal_stays_on_the_screen(page: Chrome, tmp_path: Path) -> None:
    from armarc.live.web.server import phone_page

    file = tmp_path / "saved.html"
    file.write_text(phone_page()[0], encoding="utf-8")
    page.open(file.as_uri())
    page.wait_for(READY)
    refuse = "window.DeviceMotionEvent.requestPermission = async () => answer"
    page.value(f"window.answer = 'denied'; {refuse}; document.getElementById('start').click()")
    page.wait_for("document.getElementById('say').textContent === 'Motion was not allowed'")
    page.value("look()")
    assert page.value("document.getElementById('say').textContent") == "Motion was not allowed"
    assert not page.value("running")
    # Allowed after all, the next tap records.
    page.value("window.answer = 'granted'; document.getElementById('start').click()")
    page.wait_for("running && document.getElementById('say').className === ''")


def test_the_browser_s_own_sensors_and_a_phone_on_a_table(page: Chrome, tmp_path: Path) -> None:
    # Chromium's virtual sensors (DevTools protocol) go through its own rounding and timers.
    program = Program(
        tmp_path, "sensor", "check", "--seconds", "6", "--json", "--out", str(tmp_path / "still.csv")
    )
    try:
        virtual_sensors(page)
        _start(page, program.url)
        rng = np.random.default_rng(1)
        deadline = time.monotonic() + 25
        while program.process.poll() is None and time.monotonic() < deadline:
            force = np.array([0.32, -0.21, 9.77]) + rng.normal(0, 0.02, 3)
            rate = np.radians([0.2, 0.04, -0.31]) + rng.normal(0, 0.001, 3)
            set_sensors(page, force, rate)
            time.sleep(0.01)
        assert program.process.poll() == 0, program.err.read_text()
    finally:
        program.end()
    found = json.loads(program.out.read_text())
    assert found["rounding_m_s2"] == pytest.approx(0.1)
    assert found["rounding_deg_s"] == pytest.approx(0.1)
    assert any("rounded to 0.1 m/s²" in one for one in found["findings"])
    assert any("good for start velocity" in one for one in found["findings"])
    assert found["stream"]["rate_hz"] == pytest.approx(60, abs=1.5)
    head = armarc.read_csv(tmp_path / "still.csv").metadata.other
    assert (
        "it points up at rest: the reaction to gravity, as the orientation events tell"
        in head["sensor_habits"]
    )


@pytest.mark.parametrize("rate_hz", [60.0, 100.0])
def test_a_set_by_the_browser_s_own_sensors_is_the_set_of_the_file(
    page: Chrome, tmp_path: Path, rate_hz: float
) -> None:
    # The sensors are moved so many times a second; Chromium hands on some 60 events a second, rounded, whatever comes.
    made, _ = recording(2, sets=1, reps=3, load_kg=8.0)
    program = Program(tmp_path, "record", str(tmp_path / "set.csv"), "--json", "-e", "lateral-raise")
    try:
        virtual_sensors(page)
        set_sensors(page, made.specific_force_m_s2[0], made.angular_velocity_rad_s[0])
        _start(page, program.url)
        move_sensors(page, made, rate_hz=rate_hz)
        page.wait_for("next === acked")
    finally:
        code = program.end()
    assert code == 0, program.err.read_text()
    raw = armarc.read_csv(tmp_path / "set.csv")
    assert raw.metadata.other["sensor_rounding_m_s2"] == pytest.approx(0.1)
    true = armarc.process(made, exercise="lateral-raise").frame()
    got = armarc.process(raw, exercise="lateral-raise").frame()
    assert len(got) == len(true) == 3
    assert got["rom_deg"].to_numpy() == pytest.approx(true["rom_deg"].to_numpy(), abs=1.5)
    gaps = [one for one in raw.metadata.other["events"] if one["event"] == "gap"]
    for told, wanted, gate_s in zip(
        got["start_velocity_deg_s"], true["start_velocity_deg_s"], got["gate_s"], strict=True
    ):
        if any(one["end_s"] > gate_s - 0.5 and one["start_s"] < gate_s + 0.1 for one in gaps):
            continue  # a busy machine's browser skipped events there, and the recording says so
        # Ten degrees take 10/v s; a reading is up to a sixtieth of a second old.
        assert abs(told - wanted) < wanted**2 / 10 / 60


def test_a_hidden_tab_is_counted_said_and_goes_on(page: Chrome, tmp_path: Path) -> None:
    program = Program(tmp_path, "record", str(tmp_path / "tab.csv"), "--json")
    try:
        page.open(program.url.partition("token=")[0] + "token=wrong")
        page.wait_for("document.body && document.body.textContent.includes('needs the token')")
        virtual_sensors(page)
        set_sensors(page, np.array([0.1, -0.2, 9.7]), np.zeros(3))
        _start(page, program.url)
        page.wait_for("acked > 150")
        before = page.value("next")
        tab = page.call("Target.createTarget", url="about:blank")["targetId"]
        page.call("Target.activateTarget", targetId=tab)
        page.wait_for("document.visibilityState === 'hidden'")
        time.sleep(4.0)
        # The browser gives a hidden page no motion, and its timers hardly run; what it took is here all the same.
        hidden = page.value("next")
        assert hidden - before < 60
        assert page.value("acked") == hidden
        page.call("Target.closeTarget", targetId=tab)
        page.call("Page.bringToFront")
        page.wait_for(f"acked > {hidden + 120}")
        taken = page.value("document.getElementById('say').textContent")
        assert taken == "Recording"
    finally:
        assert program.end() == 0, program.err.read_text()
    (said,) = program.events()
    gaps = [
        one for one in armarc.read_csv(tmp_path / "tab.csv").metadata.other["events"] if one["event"] == "gap"
    ]
    longest = max(gaps, key=lambda one: one["missing_samples"])
    assert longest["cause"] == "pause"
    assert 150 < longest["missing_samples"] < 400
    assert said["files"][0]["missing_samples"] >= longest["missing_samples"]
    assert f"{longest['missing_samples']} samples lost" in program.err.read_text()


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


def test_a_long_run_costs_the_page_no_memory_and_no_sample(page: Chrome, tmp_path: Path) -> None:
    # Five minutes at ten times their speed, by a clock of the page's own.
    program = Program(tmp_path, "record", str(tmp_path / "long.csv"), "--json")
    try:
        _start(page, program.url)
        used = [play_fast(page, count) for count in (6000, 12000, 12000)]
        page.wait_for("next === acked")
    finally:
        assert program.end() == 0, program.err.read_text()
    (said,) = program.events()
    assert (said["files"][0]["samples"], said["files"][0]["missing_samples"]) == (30000, 0)
    assert used[2] - used[0] < 200_000


def test_another_tab_and_a_reload(page: Chrome, tmp_path: Path) -> None:
    made, _ = recording(2, sets=1, reps=3, load_kg=8.0)
    program = Program(tmp_path, "record", str(tmp_path / "two.csv"), "--json")
    try:
        _start(page, program.url)
        feed(page, made, rate_hz=60.0)
        page.wait_for("acked > 300")
        with Chrome(flags=FLAGS) as other:
            other.open(program.url)
            other.wait_for(READY)
            other.value("document.getElementById('start').click()")
            other.wait_for("document.getElementById('say').textContent === 'Not this one'")
        before = page.value("acked")
        page.call("Page.reload")
        page.wait_for(f"{READY} && !running")
        page.value("document.getElementById('start').click()")
        page.wait_for("greeted")
        feed(page, made, rate_hz=60.0)
        page.wait_for("acked > 120")
        after = page.value("acked")
    finally:
        assert program.end() == 0, program.err.read_text()
    (said,) = program.events()
    assert said["files"][0]["samples"] >= before + after
    assert said["files"][0]["reconnects"] == 1
    events = armarc.read_csv(tmp_path / "two.csv").metadata.other["events"]
    assert [one["cause"] for one in events if one["event"] == "gap"].count("sensor restart") == 1


SIZES = {"small": (320, 568), "usual": (390, 844), "lying": (844, 390), "large": (430, 932)}
INSIDE = """[...document.querySelectorAll('#say, #more, #count, #start, dl, nav button')].filter(e => !e.hidden &&
  e.offsetParent).every(e => { const b = e.getBoundingClientRect();
  return b.left >= -1 && b.right <= innerWidth + 1 && b.top >= -1 && e.scrollWidth <= e.clientWidth + 1; })"""


def test_nothing_is_cut_on_phones_in_the_light_and_in_the_dark(page: Chrome, tmp_path: Path) -> None:
    made, _ = recording(2, sets=1, reps=3, load_kg=8.0)
    program = Program(tmp_path, "live", "-e", "lateral-raise", "--json")
    colours = set()
    try:
        page.open(program.url)
        page.wait_for(READY)
        # What the page hands over to be kept is itself, and no way in for whoever finds it.
        kept = page.value("fetch(location.href).then(answer => answer.text())")
        assert "devicemotion" in kept
        assert program.url.partition("token=")[2] not in kept
        assert page.value(
            "performance.getEntriesByType('resource').every(e => e.name.startsWith(location.origin))"
        )
        for stage in ("start", "lifting"):
            if stage == "lifting":
                page.value("document.getElementById('start').click()")
                page.wait_for("greeted")
                feed(page, made, rate_hz=60.0)
                page.wait_for("news.rep >= 1", 60)
            for name, (width, height) in SIZES.items():
                for dark in (False, True):
                    page.resize(width, height)
                    page.prefer(dark)
                    page.wait_for(f"innerWidth === {width}")
                    assert page.value(INSIDE), (stage, name)
                    assert page.value("document.documentElement.scrollWidth <= innerWidth"), (stage, name)
                    if stage == "start":
                        # The one thing to tap is in sight and large.
                        size = page.value("document.getElementById('start').getBoundingClientRect().toJSON()")
                        assert size["height"] >= 100
                        assert size["bottom"] <= height
                    colours.add(page.value("getComputedStyle(document.body).backgroundColor"))
                    page.keep(f"phone-{stage}-{name}-{'dark' if dark else 'light'}")
        assert len(colours) == 2
    finally:
        program.end()
    assert page.value("document.getElementById('say').textContent") == "The session is over"


def test_every_place_is_in_sight_on_every_phone(page: Chrome, tmp_path: Path) -> None:
    program = Program(tmp_path, "record", str(tmp_path / "three.csv"), phone="left,right,chest")
    try:
        page.open(program.url)
        page.wait_for("document.querySelectorAll('#places button').length === 3")
        for name, (width, height) in SIZES.items():
            page.resize(width, height)
            page.wait_for(f"innerWidth === {width}")
            assert page.value(INSIDE), name
            lowest = page.value("document.getElementById('places').getBoundingClientRect().bottom")
            assert lowest <= height, name
            page.keep(f"phone-places-{name}")
    finally:
        program.end()
