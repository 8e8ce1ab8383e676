"""The live page in a real browser, fed by a recording that is played: phone and tablet, light and dark."""

from __future__ import annotations

import math
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from live_chrome import Chrome, find_chromium

from armarc.recording import write_csv
from live_runs import recording

pytest.importorskip("uvicorn", reason="the extra 'web' is not installed")
websockets = pytest.importorskip("websockets", reason="the extra 'web' is not installed")
pytestmark = pytest.mark.skipif(find_chromium() is None, reason="no Chromium on this machine")

START = "import sys; sys.argv[0] = 'armarc'; from armarc.cli import main; main()"


class Program:
    """``armarc live --web`` in a process of its own."""

    def __init__(self, file: Path, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", START, "live", "--from", str(file), "--web", *words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        assert self.process.stderr is not None
        line = self.process.stderr.readline()
        found = re.search(r"http://\S+", line)
        assert found, line
        self.url = found[0]

    def end(self) -> int:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        self.process.communicate(timeout=20)
        return self.process.returncode


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "set.csv"
    made, _ = recording(2, sets=2, reps=3, cheat_rep=2, rest_s=10.0, load_kg=8.0)
    write_csv(made, path)
    return path


@pytest.fixture
def program(file: Path) -> Iterator[Program]:
    running = Program(file, "--port", "0", "--speed", "3", "--rest", "4")
    yield running
    running.end()


INSIDE = """[...document.querySelectorAll('#count, #speed, #word, #fan, footer, #strip')].every(e => {
  const b = e.getBoundingClientRect();
  return b.left >= -1 && b.right <= innerWidth + 1 && b.top >= -1 && b.bottom <= innerHeight + 1; })"""


def test_a_phone_and_a_tablet_see_the_set(program: Program, tmp_path: Path) -> None:
    with Chrome() as page:
        page.open(program.url)
        page.wait_for("document.getElementById('word').textContent.includes('above')")
        colours = []
        for name, width, height, dark in (("phone", 390, 844, False), ("tablet", 1180, 820, True)):
            page.resize(width, height)
            page.prefer(dark)
            page.wait_for(f"innerWidth === {width}")
            # Nothing hangs over an edge, and the number is huge.
            assert page.value("document.documentElement.scrollWidth <= innerWidth")
            assert page.value("document.documentElement.scrollHeight <= innerHeight")
            assert page.value(INSIDE), name
            assert page.value("parseFloat(getComputedStyle(document.getElementById('count')).fontSize)") > 200
            # A busy machine may be one rep further on, at one that started inside.
            assert page.value("/path|circle/.test(document.getElementById('mark').innerHTML)")
            colours.append(page.value("getComputedStyle(document.body).backgroundColor"))
            page.picture(tmp_path / f"{name}.png")
            assert (tmp_path / f"{name}.png").stat().st_size > 10_000
        assert page.value("document.getElementById('count').textContent") in ("2", "3")
        assert colours[0] != colours[1]
        page.wait_for("document.getElementById('speed').textContent.includes('rest')", 25)
        page.wait_for("document.getElementById('word').textContent.includes('2 of 3 inside')", 10)
        # Nothing was fetched from anywhere else.
        addresses = page.value("performance.getEntriesByType('resource').map(e => e.name)")
        assert all(one.startswith(program.url) for one in addresses)


BOXES = """(() => {
  const names = ['#what', '#say', '#below', '#count', '#speed', '#word', '#count2', '#speed2', '#word2', '#fan',
    '#after', '#strip', '#strip2', 'footer'];
  const shown = [...document.querySelectorAll(names.join(','))].filter(e => e.textContent.trim())
    .map(e => [e.id || 'footer', e.getBoundingClientRect()]).filter(([, b]) => b.width && b.height);
  const faults = [];
  for (const [name, b] of shown) {
    if (b.left < -1 || b.top < -1 || b.right > innerWidth + 1 || b.bottom > innerHeight + 1)
      faults.push(name + ' cut');
  }
  const filled = '#what, #say, #below, #word, #word2, #after, footer span, dialog[open], dialog[open] p';
  for (const e of document.querySelectorAll(filled)) {
    if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth) faults.push((e.id || e.tagName) + ' wider than its place');
  }
  for (const e of document.querySelectorAll('#below')) {
    if (e.scrollHeight > e.clientHeight + 1) faults.push('below cut short');
  }
  const small = '#after .chip, #strip div, #strip2 div, dialog[open] button, dialog[open] input';
  for (const e of document.querySelectorAll(small)) {
    const b = e.getBoundingClientRect();
    if (b.left < -1 || b.right > innerWidth + 1) faults.push(e.textContent + ' beyond the edge');
  }
  for (let i = 0; i < shown.length; i++) for (let j = i + 1; j < shown.length; j++) {
    const [a, p] = shown[i], [b, q] = shown[j];
    const wide = Math.min(p.right, q.right) - Math.max(p.left, q.left);
    const high = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
    // Digits are drawn well inside their boxes: a few pixels of two boxes are no overlap of what is seen.
    if (wide > 2 && high > 2) faults.push(a + ' over ' + b);
  }
  if (document.documentElement.scrollWidth > innerWidth) faults.push('scrolls');
  return faults.join('; ');
})()"""
LOOKS = [
    (390, 844, False),
    (844, 390, True),
    (1280, 800, False),
    (390, 844, True),
    (844, 390, False),
    (1280, 800, True),
]


def look(page: Chrome, moment: str) -> None:
    """Nothing is cut and nothing overlaps, whatever the screen."""
    for width, height, dark in LOOKS:
        page.resize(width, height)
        page.prefer(dark)
        page.wait_for(f"innerWidth === {width}")
        page.value("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        assert page.value(BOXES) == "", (moment, width, height)


def test_one_tap_after_a_set_and_between_sets(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from armarc.log import list_sets, open_log

    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(tmp_path / "config"))
    log = tmp_path / "log.sqlite"
    # Still for half a minute: a browser on a busy machine takes a while to look.
    made, _ = recording(2, sets=2, reps=5, cheat_rep=2, still_s=30.0, rest_s=60.0, load_kg=8.0)
    write_csv(made, tmp_path / "set.csv")
    words = ("--port", "0", "--speed", "4", "--rest", "4", "--stop-at", "3", "--lifter", "Anna-Katharina")
    running = Program(tmp_path / "set.csv", *words, "--log-file", str(log))
    try:
        with Chrome() as page:
            page.open(running.url)
            page.wait_for("document.getElementById('say').textContent === 'ready'")
            look(page, "ready")
            page.wait_for("document.getElementById('below').textContent.includes('your mark 3 %')", 25)
            look(page, "mark")
            page.wait_for("document.querySelectorAll('#after .chip').length === 7", 25)
            look(page, "rest")
            page.value("document.querySelectorAll('#after .chip')[2].click()")
            page.wait_for("document.getElementById('after').textContent.includes('2 RIR')")
            page.value("document.querySelector('[data-open=hurt]').click()")
            page.value("document.querySelectorAll('#hurt .chip')[3].click()")
            page.wait_for("document.getElementById('below').textContent.startsWith('Pain means stop')")
            page.value("document.querySelectorAll('#hurt .chip')[11].click()")
            look(page, "pain")
            page.value("document.getElementById('hurt').close()")
            page.value("document.querySelector('[data-open=noted]').click()")
            page.value("document.getElementById('note').value = 'grip <slipped>'")
            page.value("document.querySelector('[data-note]').click()")
            page.wait_for("document.getElementById('after').textContent.includes('note kept')")
            page.value("document.getElementById('what').click()")
            look(page, "who lifts next")
            put = "(id, value) => { const e = document.getElementById(id); e.value = value; "
            put += "e.dispatchEvent(new Event('change', { bubbles: true })); }"
            page.value(f"({put})('other', 'Ben <b>')")
            page.wait_for("document.getElementById('what').textContent.startsWith('Ben <b>')")
            page.value(f"({put})('lift', 'front-raise')")
            page.wait_for("document.getElementById('what').textContent.includes('Front raise')")
            page.value(f"({put})('load', '6.5')")
            page.wait_for("document.getElementById('what').textContent.includes('6.5 kg')")
            page.value(
                "[...document.querySelectorAll('#sheet .chip')].find(e => e.textContent === 'left').click()"
            )
            page.wait_for("document.getElementById('what').textContent.includes('left arm')")
            page.value("document.getElementById('sheet').close()")
            page.wait_for("document.getElementById('word').textContent.includes('set 2: ')", 40)
    finally:
        code = running.end()
    assert code == 0
    with open_log(str(log)) as store:
        first, second = sorted(list_sets(store), key=lambda one: one.id)
    assert (first.lifter, first.rir, first.pain, first.pain_place) == ("Anna-Katharina", 2, 3, "front")
    assert first.note == "grip <slipped>"
    assert (second.lifter, second.exercise, second.side, second.load_kg) == (
        "Ben <b>",
        "front-raise",
        "left",
        6.5,
    )


def test_both_arms_stand_beside_each_other(tmp_path: Path) -> None:
    files = []
    for side, speed in (("left", 57.0), ("right", 95.0)):
        made, _ = recording(
            2, sets=2, reps=5, still_s=20.0, rest_s=40.0, side=side, start_velocity_rad_s=math.radians(speed)
        )
        files.append(tmp_path / f"{side}.csv")
        write_csv(made, files[-1])
    words = ("--from", str(files[1]), "--port", "0", "--speed", "4", "--rest", "4")
    running = Program(files[0], *words)
    try:
        with Chrome() as page:
            page.open(running.url)
            page.wait_for("document.getElementById('say').textContent === 'ready'")
            look(page, "ready")
            # The right arm starts above the band, the left one inside it: each has its own verdict.
            page.wait_for("document.getElementById('word2').textContent.includes('above the band')", 30)
            look(page, "lifting")
            page.wait_for("document.getElementById('word').textContent === 'inside the band'", 30)
            assert page.value("document.getElementById('what').textContent").endswith("both arms")
            assert page.value("document.getElementById('count2').dataset.arm") == "right arm"
            page.wait_for("document.getElementById('below').textContent.startsWith('both arms, 5 reps')", 30)
            assert "more on the right" in page.value("document.getElementById('below').textContent")
            look(page, "rest")
    finally:
        running.end()


def test_the_page_finds_back_by_itself(file: Path) -> None:
    first = Program(file, "--port", "0", "--speed", "1")
    port = first.url.rsplit(":", 1)[1].strip("/")
    with Chrome() as page:
        try:
            page.open(first.url)
            page.wait_for("document.getElementById('what').textContent.includes('Lateral')")
        finally:
            code = first.end()
        assert code == 0
        page.wait_for("/over|lost/.test(document.getElementById('say').textContent)")
        second = Program(file, "--port", port, "--speed", "1")
        try:
            page.wait_for("!/over|lost/.test(document.getElementById('say').textContent)")
        finally:
            second.end()


def test_strangers_are_turned_away(file: Path) -> None:
    import urllib.error
    import urllib.request

    from websockets.exceptions import InvalidStatus
    from websockets.sync.client import connect

    running = Program(file, "--port", "0", "--host", "0.0.0.0", "--speed", "0.5")
    try:
        port = int(re.search(r":(\d+)/", running.url)[1])  # type: ignore[index]
        token = running.url.partition("token=")[2]
        assert len(token) >= 16
        base, socket = f"http://127.0.0.1:{port}/", f"ws://127.0.0.1:{port}/live"

        def status(url: str, **headers: str) -> int:
            try:
                with urllib.request.urlopen(
                    urllib.request.Request(url, headers=headers), timeout=5
                ) as answer:
                    assert "Content-Security-Policy" in answer.headers
                    return int(answer.status)
            except urllib.error.HTTPError as error:
                with error:
                    return error.code

        assert status(f"{base}?token={token}") == 200
        assert status(base) == 403
        assert status(f"{base}?token=wrong") == 403
        assert status(f"{base}?token={token}", Host="example.org") == 421

        def answer_to(url: str, **headers: str) -> int:
            with (
                pytest.raises(InvalidStatus) as refusal,
                connect(url, additional_headers=headers, open_timeout=5),
            ):
                pass
            return int(refusal.value.response.status_code)

        assert answer_to(socket) == 403
        assert answer_to(f"{socket}?token=wrong") == 403
        assert answer_to(f"{socket}?token={token}", Origin="http://example.org") == 403
        with connect(f"{socket}?token={token}", open_timeout=5) as link:
            assert '"rep"' in link.recv(timeout=10)
    finally:
        running.end()


def test_a_taken_port_is_said_plainly(program: Program, file: Path) -> None:
    port = program.url.rsplit(":", 1)[1].strip("/")
    done = subprocess.run(
        [sys.executable, "-c", START, "live", "--from", str(file), "--web", "--port", port],
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert done.returncode == 2
    assert f"cannot listen on 127.0.0.1 port {port}" in done.stderr
    assert "Traceback" not in done.stderr
