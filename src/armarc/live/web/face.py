"""The session's side of the page: hands the scoreboard to the process that serves it, and never waits for it."""

from __future__ import annotations

import contextlib
import importlib.util
import json
import multiprocessing
import socket
import threading
import time
from collections.abc import Callable
from functools import cache
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType

from armarc.computer import hold_alone, how_to_add
from armarc.errors import UsageError
from armarc.exercises import find_exercise
from armarc.live.events import EngineEvent
from armarc.live.scoreboard import FLASH_S, Scoreboard
from armarc.live.stop_mark import CAVEAT
from armarc.live.web.access import Access
from armarc.tasks import Task


def scoreboard_message(scoreboard: Scoreboard) -> dict[str, object]:
    """Everything the page draws, in degrees and seconds.

    ``arm_deg`` is the elevation now, ``trail_deg`` the elevations of the last second, oldest first; ``fresh`` tells
    that the verdict has just been given.
    """
    trail = [angle for time_s, angle in scoreboard.trace if time_s >= scoreboard.time_s - 1.0]
    last = scoreboard.sets[-1] if scoreboard.sets else None
    return {
        "exercise": scoreboard.exercise,
        "side": scoreboard.side,
        "load": scoreboard.load,
        "band": scoreboard.band_deg_s,
        "gate": scoreboard.gate_above_bottom_deg,
        "ready": scoreboard.ready,
        "rep": scoreboard.rep,
        "moving": scoreboard.under_way,
        "speed": _rounded(scoreboard.speed_deg_s),
        "verdict": scoreboard.verdict,
        "provisional": scoreboard.provisional,
        "off": _rounded(scoreboard.off_band_deg_s),
        "fresh": scoreboard.verdict is not None and scoreboard.time_s - scoreboard.said_s < FLASH_S,
        "arm_deg": round(scoreboard.angle_deg, 1),
        "bottom_deg": round(scoreboard.bottom_deg, 1),
        "top_deg": _rounded(scoreboard.top_deg),
        "trail_deg": [round(angle, 1) for angle in trail[::2]],
        "rom": _rounded(scoreboard.rom_deg),
        "tempo": scoreboard.tempo,
        "loss": _rounded(scoreboard.loss_pct),
        "strip": [
            [_rounded(mark.speed_deg_s), mark.verdict, mark.provisional] for mark in scoreboard.strip[-24:]
        ],
        "rest_s": None if scoreboard.since_set_s is None else round(scoreboard.since_set_s, 1),
        "sets": len(scoreboard.sets),
        "last_set": None
        if last is None
        else {
            "number": last.number,
            "reps": last.reps,
            "in_band": last.in_band,
            "speed": _rounded(last.mean_speed_deg_s),
            "tempo": last.tempo,
            "loss": _rounded(last.loss_pct),
            "measured": last.measured,
        },
        "lifter": scoreboard.lifter,
        "waiting": scoreboard.waiting,
        "last_time": scoreboard.last_time,
        "today": scoreboard.today,
        "mark": f"{scoreboard.mark} ({CAVEAT})" if scoreboard.mark else "",
        "caution": scoreboard.caution,
        "said": scoreboard.said,
        "answer": scoreboard.answer,
        "logged": scoreboard.logged,
        "menu": _menu(scoreboard),
        "sensor": [line for one in scoreboard.arms for line in one.sensor_lines],
        "other": None if scoreboard.other is None else scoreboard_message(scoreboard.other),
        "stopping": scoreboard.stopping,
    }


def _menu(scoreboard: Scoreboard) -> dict[str, object] | None:
    """What may be switched to, and what is chosen for the next set."""
    if not scoreboard.menu:
        return None
    task: Task = scoreboard.menu["task"]
    return {
        "lifters": list(scoreboard.menu["lifters"]),
        "exercises": [[key, _name(key)] for key in scoreboard.menu["exercises"]],
        "lifter": task.lifter or "",
        "exercise": task.exercise,
        "side": task.side,
        "load_kg": task.load_kg,
    }


@cache
def _name(key: str) -> str:
    return find_exercise(key).name


def _rounded(value: float | None) -> int | None:
    return None if value is None else round(value)


FRAMES_PER_S = 20.0
LONGEST_ORDER = 4096
MISSING = "the page needs the package websockets"


class WebFace:
    """Sends the newest scoreboard to the page's process; a slow or stuck one costs scoreboards, never time."""

    name = "the page"

    def __init__(self, pipe: Connection, orders: Connection) -> None:
        self._pipe = pipe
        self._orders = orders
        self._sent_s = -1.0
        self._news = False
        self._newest: bytes | None = None
        self._closing = False
        self._failed = False
        self._changed = threading.Condition()
        self._carrier = threading.Thread(target=self._carry, name="scoreboards", daemon=True)
        self._carrier.start()

    def listen(self, take: Callable[[str], None]) -> None:
        """Hand on what the pages order, as text, from a thread of its own."""

        def carry() -> None:
            with contextlib.suppress(EOFError, OSError, UnicodeDecodeError):
                while True:
                    take(self._orders.recv_bytes(LONGEST_ORDER).decode())

        threading.Thread(target=carry, name="orders", daemon=True).start()

    def hear(self, record: dict[str, object], event: EngineEvent | None) -> None:
        """The next scoreboard goes out at once."""
        self._news = True

    def refresh(self, scoreboard: Scoreboard) -> None:
        """Send the scoreboard when something has happened or a frame is due.

        Raises
        ------
        BrokenPipeError
            The page's process is gone.
        """
        if self._failed:
            raise BrokenPipeError("its process has ended")
        now_s = time.monotonic()
        if not self._news and now_s - self._sent_s < 1.0 / FRAMES_PER_S:
            return
        self._sent_s, self._news = now_s, False
        text = json.dumps(scoreboard_message(scoreboard), allow_nan=False, ensure_ascii=False).encode()
        with self._changed:
            self._newest = text
            self._changed.notify()

    def close(self) -> None:
        """End of the session: the process tells its pages and goes."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._carrier.join(1.0)
        with contextlib.suppress(OSError):
            self._pipe.close()

    def _carry(self) -> None:
        try:
            while True:
                with self._changed:
                    self._changed.wait_for(lambda: self._newest is not None or self._closing)
                    text, self._newest = self._newest, None
                if text is None:
                    return
                self._pipe.send_bytes(text)
        except (OSError, ValueError):
            self._failed = True


class PageProcess:
    """The process that serves the page, from ``with`` to its end.

    Parameters
    ----------
    access : Access
    certificate : Path or None
        Key and certificate of an encrypted page, which a phone as the sensor needs.
    scoreboards : bool
        Whether the page of the scoreboards is served, too.
    task : str
    places : tuple of str
        What phones are wanted for, where it is not lifting live, and where they sit.

    Raises
    ------
    UsageError
        Nothing can listen at this address, or a library is missing.
    """

    def __init__(
        self,
        access: Access,
        certificate: Path | None = None,
        *,
        scoreboards: bool = True,
        task: str = "",
        places: tuple[str, ...] = ("",),
    ) -> None:
        if importlib.util.find_spec("websockets") is None:
            raise UsageError(MISSING, how_to_add("web"))
        from armarc.live.web.server import serve_pages

        listener = _listen(access)
        self.port: int = listener.getsockname()[1]
        # A fresh interpreter: a copy of this one would keep its files open, the raw stream's among them.
        context = multiprocessing.get_context("spawn")
        receiver, sender = context.Pipe(duplex=False)
        orders, ordering = context.Pipe(duplex=False)
        given: tuple[object, ...] = (listener, receiver, access, ordering)
        self.frames: Connection | None = None
        """What a phone sends, where it is the sensor."""
        with contextlib.ExitStack() as theirs:
            theirs.enter_context(listener)
            theirs.enter_context(receiver)
            theirs.enter_context(ordering)
            if certificate is not None:
                self.frames, taken = context.Pipe(duplex=False)
                theirs.enter_context(taken)
                given += (taken, str(certificate), scoreboards, task, places)
            self._process = context.Process(target=serve_pages, args=given, name="armarc page", daemon=True)
            self._process.start()
        self.face = WebFace(sender, orders)

    def __enter__(self) -> PageProcess:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.face.close()
        self._process.join(4.0)
        if self._process.exitcode is None:
            self._process.kill()
            self._process.join(1.0)


def _listen(access: Access) -> socket.socket:
    family = socket.AF_INET6 if ":" in access.host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    hold_alone(listener)
    try:
        listener.bind((access.host.strip("[]"), access.port))
        # Whoever opens the address before the page is ready waits instead of being refused.
        listener.listen(8)
    except OSError as error:
        listener.close()
        raise UsageError(
            f"cannot listen on {access.host} port {access.port}: {error.strerror or error}",
            "choose another --port (0 takes a free one) or --host",
        ) from error
    return listener
