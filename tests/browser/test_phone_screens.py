"""What a phone's page shows, and how it goes on: hidden, reloaded, refused, for long; in a real Chromium over TLS."""

from __future__ import annotations

import json
import time
from pathlib import Path

import numpy as np
import pytest
from live_chrome import Chrome, find_chromium
from phone_link import FLAGS, READY, Program, feed, play_fast, set_sensors, start, virtual_sensors

import armarc
from live_runs import recording

for library in ("websockets", "segno", "cryptography"):
    pytest.importorskip(library, reason="the extra 'phone' is not installed")
pytestmark = pytest.mark.skipif(find_chromium() is None, reason="no Chromium on this machine")


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
        start(page, program.url)
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


def test_a_hidden_tab_is_counted_said_and_goes_on(page: Chrome, tmp_path: Path) -> None:
    program = Program(tmp_path, "record", str(tmp_path / "tab.csv"), "--json")
    try:
        page.open(program.url.partition("token=")[0] + "token=wrong")
        page.wait_for("document.body && document.body.textContent.includes('needs the token')")
        virtual_sensors(page)
        set_sensors(page, np.array([0.1, -0.2, 9.7]), np.zeros(3))
        start(page, program.url)
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


def test_a_long_run_costs_the_page_no_memory_and_no_sample(page: Chrome, tmp_path: Path) -> None:
    # Two minutes and a half at ten times their speed, by a clock of the page's own.
    program = Program(tmp_path, "record", str(tmp_path / "long.csv"), "--json")
    try:
        start(page, program.url)
        used = [play_fast(page, count) for count in (3000, 6000, 6000)]
        page.wait_for("next === acked")
    finally:
        assert program.end() == 0, program.err.read_text()
    (said,) = program.events()
    assert (said["files"][0]["samples"], said["files"][0]["missing_samples"]) == (15000, 0)
    assert used[2] - used[0] < 100_000


def test_another_tab_and_a_reload(page: Chrome, tmp_path: Path) -> None:
    made, _ = recording(2, sets=1, reps=3, load_kg=8.0)
    program = Program(tmp_path, "record", str(tmp_path / "two.csv"), "--json")
    try:
        start(page, program.url)
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
