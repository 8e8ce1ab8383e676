"""A phone without a phone: what its page sends, made from a recording, with a browser's habits."""

from __future__ import annotations

import asyncio
import json
import math
import ssl
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from armarc.recording import Recording

HELLO = {"hello": 1, "phone": "0123456789abcdef", "tab": "aaaaaaaaaaaaaaaa", "session": "5e55104000000001"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Browser:
    """How a browser gives motion.

    Parameters
    ----------
    rate_hz : float
    gravity : int
        1 for the reaction to gravity, −1 for gravity itself.
    order : tuple
        Where x, y, z stand among alpha, beta, gamma.
    radians, in_g : bool
    rounding : pair of float
        Of acceleration and rotation, in the browser's units; 0 for none.
    interval : float
        What it says of the interval.
    """

    rate_hz: float = 60.0
    gravity: int = 1
    order: tuple[int, int, int] = (0, 1, 2)
    radians: bool = False
    in_g: bool = False
    rounding: tuple[float, float] = (0.0, 0.0)
    interval: float = 16.0

    def rows(self, recording: Recording, *, began_ms: float = 1000.0) -> np.ndarray:
        """Rows (n, 7) as the page takes them: sampled anew at the browser's own rate."""
        t = np.arange(0.0, recording.duration_s, 1.0 / self.rate_hz)
        force = np.column_stack([np.interp(t, recording.time_s, c) for c in recording.specific_force_m_s2.T])
        rate = np.column_stack(
            [np.interp(t, recording.time_s, c) for c in recording.angular_velocity_rad_s.T]
        )
        force = force * self.gravity / (9.80665 if self.in_g else 1.0)
        rate = rate if self.radians else np.degrees(rate)
        named = np.empty_like(rate)
        named[:, list(self.order)] = rate
        for values, step in ((force, self.rounding[0]), (named, self.rounding[1])):
            if step:
                values[:] = np.round(values / step) * step
        return np.column_stack([began_ms + 1000.0 * t, force, named])

    def messages(self, rows: np.ndarray, *, upright: bool = True) -> Iterator[str]:
        """Messages of 50 ms."""
        per = max(1, math.ceil(0.05 * self.rate_hz))
        for first in range(0, len(rows), per):
            some = rows[first : first + per]
            said = {"from": first, "frames": some.tolist(), "interval": self.interval, "battery": 0.8}
            if upright:
                said["upright"] = [0.98 * self.gravity * (first + len(some)), first + len(some)]
            yield json.dumps(said)


def hello(**other: object) -> str:
    """A page's first words."""
    return json.dumps({**HELLO, "first": 0, "next": 0, **other})


def trusting() -> ssl.SSLContext:
    """A client that goes on after the browser's warning."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


class Link:
    """A page's socket, one call at a time.

    Not the library's own client with threads: two threads on one encrypted socket lose what is written while a session
    ticket is read (seen under load with Python 3.11).
    """

    def __init__(self, url: str, **options: Any) -> None:
        from websockets.asyncio.client import connect

        self._loop = asyncio.new_event_loop()
        try:
            joining = connect(url, ssl=trusting(), max_size=None, **options)
            self._link = self._loop.run_until_complete(_joined(joining))
        except BaseException:
            self._loop.close()
            raise

    def send(self, said: str | bytes) -> None:
        """Send a message."""
        self._loop.run_until_complete(self._link.send(said))

    def recv(self, timeout: float = 10.0) -> Any:
        """The next message."""
        return self._loop.run_until_complete(asyncio.wait_for(self._link.recv(), timeout))

    def break_off(self) -> None:
        """Vanish without a word."""
        self._link.transport.abort()
        self._loop.run_until_complete(self._link.wait_closed())

    def __enter__(self) -> Link:
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.run_until_complete(self._link.close())
        self._loop.close()


async def _joined(joining: Any) -> Any:
    return await joining


def stream_in_time(
    url: str,
    browser: Browser,
    rows: np.ndarray,
    *,
    names: dict[str, str] | None = None,
    began: list[float] | None = None,
    **options: Any,
) -> int:
    """Be the page of a phone: send messages as their time comes; the number of frames that were acknowledged.

    `began` gets the instant of the first frame on this machine's monotonic clock.
    """
    acked = 0
    with Link(url, **options) as link:
        link.send(hello(**names or {}))
        assert json.loads(link.recv())["next"] == 0
        zero_s = time.monotonic() - rows[0, 0] / 1000.0
        if began is not None:
            began.append(zero_s + rows[0, 0] / 1000.0)
        for text in browser.messages(rows):
            due = json.loads(text)["frames"][-1][0] / 1000.0
            time.sleep(max(0.0, zero_s + due - time.monotonic()))
            link.send(text)
            while "ack" not in (got := json.loads(link.recv())):
                pass
            acked = got["ack"]
    return acked
