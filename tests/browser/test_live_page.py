"""The live page in a real browser, fed by a recording that is played: phone and tablet, light and dark."""

from __future__ import annotations

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
            assert page.value("document.getElementById('mark').innerHTML.includes('path')")
            colours.append(page.value("getComputedStyle(document.body).backgroundColor"))
            page.picture(tmp_path / f"{name}.png")
            assert (tmp_path / f"{name}.png").stat().st_size > 10_000
        assert page.value("document.getElementById('count').textContent") == "2"
        assert colours[0] != colours[1]
        page.wait_for("document.getElementById('speed').textContent.includes('rest')", 25)
        page.wait_for("document.getElementById('word').textContent.includes('2 of 3 inside')", 10)
        # Nothing was fetched from anywhere else.
        addresses = page.value("performance.getEntriesByType('resource').map(e => e.name)")
        assert all(one.startswith(program.url) for one in addresses)


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
