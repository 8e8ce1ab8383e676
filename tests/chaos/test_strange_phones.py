"""Strangers and hostile phones at the page of a phone that is the sensor: they get nothing and cost it nothing."""

from __future__ import annotations

import contextlib
import json
import re
import signal
import socket
import ssl
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from programs import Running

from armarc.recording import read_csv
from live_runs import recording
from phone_page import Browser, Link, hello, stream_in_time, trusting

for library in ("websockets", "segno", "cryptography"):
    pytest.importorskip(library, reason="the extra 'phone' is not installed")


class Waiting:
    """``armarc record --phone`` at an open port."""

    def __init__(self, folder: Path, *, files: int | None = None) -> None:
        import resource

        self.out = folder / "phone.csv"
        limited = (
            None if files is None else lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (files, files))
        )
        words = ("record", self.out, "--phone", "--host", "0.0.0.0", "--port", "0", "--json")
        self.running = Running(folder, *words, preexec_fn=limited)
        found = re.search(
            r"open https://[^:]+:(\d+)/phone\?token=(\S+)", self.running.wait_for("open https://")
        )
        assert found
        self.port, self.token = int(found[1]), found[2]
        self.running.wait_for("SHA-256")

    def end(self) -> int:
        """Stop it as Ctrl-C does."""
        self.running.process.send_signal(signal.SIGINT)
        return self.running.end(30)

    def summary(self) -> dict[str, Any]:
        """What it printed at the end."""
        ((_, said),) = self.running.records()
        return said

    def url(self, path: str = "/phone/stream", token: str | None = None, scheme: str = "wss") -> str:
        shown = self.token if token is None else token
        return f"{scheme}://127.0.0.1:{self.port}{path}" + (f"?token={shown}" if shown else "")


@pytest.fixture
def waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Waiting]:
    monkeypatch.setenv("ARMARC_DATA_DIR", str(tmp_path / "data"))
    one = Waiting(tmp_path)
    yield one
    if one.running.process.poll() is None:
        one.end()


def test_nothing_is_served_without_the_token(waiting: Waiting) -> None:
    import urllib.error
    import urllib.request

    from websockets.exceptions import InvalidStatus

    def status(url: str, **headers: str) -> tuple[int, bytes]:
        asked = urllib.request.Request(url, headers=headers)
        try:
            with urllib.request.urlopen(asked, timeout=5, context=trusting()) as answer:
                return int(answer.status), answer.read()
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.read()

    def page(path: str, token: str) -> tuple[int, bytes]:
        return status(waiting.url(path, token, "https"))

    for path in ("/", "/phone", "/phone.js", "/page.js", "/phone/stream", "/live", "/../phone", "//", "/x"):
        for token in ("", "wrong", waiting.token[:-1], waiting.token + "x"):
            code, body = page(path, token)
            assert code == 403, path
            assert b"script" not in body
    code, body = page("/phone", waiting.token)
    assert code == 200
    assert b"devicemotion" in body
    assert waiting.token.encode() not in body  # a saved page gives nobody the way in
    # Nothing is shown elsewhere while a recording is made: there are no scoreboards.
    assert page("/", waiting.token)[0] == 404
    assert page("/live", waiting.token)[0] == 404
    assert page("/phone/stream", waiting.token)[0] == 426
    assert status(waiting.url("/phone", None, "https"), Host="example.org")[0] == 421
    for url, headers in (
        (waiting.url(token=""), {}),
        (waiting.url(token="wrong"), {}),
        (waiting.url(), {"Origin": "https://example.org"}),
    ):
        with (
            pytest.raises(InvalidStatus) as refused,
            Link(url, additional_headers=headers),
        ):
            pass
        assert refused.value.response.status_code == 403
    # Not a byte without encryption.
    with socket.create_connection(("127.0.0.1", waiting.port), timeout=8) as link:
        link.sendall(b"GET /phone HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        with contextlib.suppress(ConnectionResetError):
            assert b"HTTP" not in link.recv(1000)


def test_hostile_messages_end_their_connection_and_nothing_else(waiting: Waiting) -> None:
    from websockets.exceptions import ConnectionClosed

    made, _ = recording(2, sets=1, reps=2)
    browser = Browser()
    rows = browser.rows(made)[:500]
    good = list(browser.messages(rows))
    bad = [
        "{", "[" * 3000, "null", json.dumps({"from": 0, "frames": [[0] * 6]}), "9" * 60000, good[5],
        good[0].replace("1000.0", "NaN"), hello(), "x" * 70000, b"\xff\xfe\x00",
    ]  # fmt: skip
    for said in bad:
        with Link(waiting.url()) as link:
            link.send(hello())
            assert json.loads(link.recv(timeout=10))["next"] == 0
            with pytest.raises(ConnectionClosed):  # noqa: PT012 - whichever of the two notices
                link.send(said)
                link.recv(timeout=10)
    # A stranger who has the token and says something else first is not the phone.
    with Link(waiting.url()) as link, pytest.raises(ConnectionClosed):  # noqa: PT012
        link.send(good[0])
        link.recv(timeout=10)
    assert stream_in_time(waiting.url(), browser, rows) == 500
    assert waiting.end() == 0, waiting.running.said()
    (told,) = waiting.summary()["files"]
    assert told["samples"] == 500
    assert told["missing_samples"] == 0
    assert told["unreadable_packets"] >= len(bad)
    assert len(read_csv(waiting.out).time_s) == 500
    assert "Traceback" not in waiting.running.said()


def test_a_second_phone_is_told_that_there_is_one(waiting: Waiting) -> None:
    browser = Browser()
    good = list(browser.messages(browser.rows(recording(2, sets=1, reps=2)[0])))
    with Link(waiting.url()) as first:
        first.send(hello())
        first.recv(timeout=10)
        with Link(waiting.url()) as second:
            second.send(hello(tab="bbbbbbbbbbbbbbbb", phone="fedcba9876543210"))
            assert "Another phone" in json.loads(second.recv(timeout=10))["busy"]
        first.send(good[0])
        assert json.loads(first.recv(timeout=10))["ack"] == 3
        # A page the same phone opened later takes the place, while the old connection still hangs.
        with Link(waiting.url()) as again:
            again.send(hello(session="5e55104000000002", tab="cccccccccccccccc"))
            assert json.loads(again.recv(timeout=10))["next"] == 0
            # The page whose place was taken does not take it back.
            with Link(waiting.url()) as before:
                before.send(hello())
                assert "opened later" in json.loads(before.recv(timeout=10))["busy"]
    # Just gone, the place is still kept for it.
    with Link(waiting.url()) as second:
        second.send(hello(tab="bbbbbbbbbbbbbbbb", phone="fedcba9876543210"))
        assert "busy" in json.loads(second.recv(timeout=10))


@pytest.mark.skipif(sys.platform != "linux", reason="neighbours need the loopback net of Linux")
def test_a_crowd_costs_the_phone_no_frame(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ARMARC_DATA_DIR", str(tmp_path / "data"))
    waiting = Waiting(tmp_path, files=256)
    made, _ = recording(2, sets=1, reps=2)
    browser = Browser(rate_hz=100.0)
    rows = browser.rows(made)[:1000]
    held: list[socket.socket] = []
    over = threading.Event()

    def crowd() -> None:
        for number in range(1500):
            if over.is_set():
                return
            link = socket.socket()
            link.settimeout(2.0)
            link.bind((f"127.0.0.{2 + number % 40}", 0))
            with contextlib.suppress(OSError, ssl.SSLError):
                link.connect(("127.0.0.1", waiting.port))
                if number % 3 == 1:
                    link.sendall(b"GET / HTTP/1.1\r\n\r\n")
                elif number % 3 == 2:
                    link.sendall(bytes(np.random.default_rng(number).integers(0, 256, 200, dtype=np.uint8)))
            held.append(link)
            time.sleep(0.004)

    flood = threading.Thread(target=crowd)
    try:
        flood.start()
        time.sleep(0.5)
        began = time.monotonic()
        assert stream_in_time(waiting.url(), browser, rows, open_timeout=15) == 1000
        assert time.monotonic() - began < 10.0 + 8.0
    finally:
        over.set()
        flood.join(30)
        for link in held:
            link.close()
    assert waiting.end() == 0, waiting.running.said()
    (told,) = waiting.summary()["files"]
    assert (told["samples"], told["missing_samples"]) == (1000, 0)
    assert len(waiting.running.said()) < 3000
    assert "Traceback" not in waiting.running.said()
