"""What ``armarc live`` sets up around a session: where samples come from, its faces, its tasks, how it ends."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    import asyncio
    from collections.abc import AsyncIterator, Callable

    from armarc.choices import Choices
    from armarc.live.gym import Gym
    from armarc.live.session import Face, Session
    from armarc.live.source import Item
    from armarc.recording import Metadata, Recording, RecordingWriter
    from armarc.sensor.link import StreamOptions


def pace_of(text: str) -> float | None:
    """How many times as fast as it was a recording is played; None for as fast as it goes.

    Raises
    ------
    UsageError
    """
    from armarc.errors import UsageError

    if text.strip().lower() == "max":
        return None
    try:
        pace = float(text.lower().removesuffix("x"))
    except ValueError:
        pace = 0.0
    if not 0.05 <= pace <= 1000:
        raise UsageError(
            f"--speed {text}: expected a factor from 0.05 to 1000, or max", "for example --speed 4"
        )
    return pace


def sensor_plan(rate: float | None, description: list[Path] | None) -> StreamOptions:
    """How a sensor is listened to."""
    from armarc.sensor.describe import DescribedDialect, load_description, load_descriptions
    from armarc.sensor.link import StreamOptions
    from armarc.sensor.remembered import load_known
    from armarc.sensor.wire import SensorSettings

    described = [load_description(path) for path in description or []]
    return StreamOptions(
        settings=SensorSettings(rate_hz=rate or 200.0, rate_is_asked=rate is not None),
        known=load_known(),
        descriptions=tuple(DescribedDialect(one) for one in (*described, *load_descriptions())),
    )


def raw_file(out: Path | None) -> Path:
    """Where the raw stream goes.

    Raises
    ------
    UsageError
        There is something already, or no folder for it.
    """
    from datetime import datetime

    from armarc.errors import UsageError

    path = out or Path(f"armarc-live-{datetime.now():%Y%m%d-%H%M%S}.csv")
    if path.exists():
        raise UsageError(
            f"there is a file {path} already, and recordings are never overwritten", "choose another --out"
        )
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}", "make it first")
    return path


async def run(
    choices: Choices,
    gym: Gym,
    recording: Recording | None,
    pace: float | None,
    sensor: str,
    options: StreamOptions | None,
    out: Path | None,
    wanted: dict[str, Any],
    after: Any,
) -> int:
    """Live until the samples end or somebody stops; returns the exit code."""
    import asyncio
    import sys

    from armarc.cli.keyboard import keyboard
    from armarc.cli.live_faces import open_sounds, open_web
    from armarc.cli.phone import open_phone
    from armarc.cli.terminal import out_console
    from armarc.known_sensor import open_shelf
    from armarc.live.faces import JsonLines, TerminalFace
    from armarc.live.screen import Screen
    from armarc.live.session import Session
    from armarc.live.source import listen, play
    from armarc.live.web.face import WebFace
    from armarc.outputs import let_go
    from armarc.sensor.link import stream

    shelf = open_shelf()
    stop, hurried = asyncio.Event(), asyncio.Event()
    said: list[str] = []
    console = out_console()
    on_screen = console.is_terminal and not wanted["json"]

    def tell(text: str) -> None:
        # A sentence on stderr would tear the screen: it is said below it, at the end.
        if on_screen:
            said.append(text)
        else:
            try:
                print(f"armarc: {text}", file=sys.stderr, flush=True)
            except (OSError, ValueError):
                let_go(sys.stderr)

    async with contextlib.AsyncExitStack() as stack:
        faces: list[Face] = []
        phone = None
        if wanted["phone"]:
            phone = await stack.enter_async_context(open_phone(wanted["host"], wanted["port"], boards=True))
            faces.append(phone.face)
        elif wanted["web"]:
            host = wanted["host"] or "127.0.0.1"
            faces.append(await open_web(stack, host, wanted["port"], on_screen, tell))
        faces += open_sounds(wanted["sound"], wanted["say"], tell)
        session = Session(
            choices=choices,
            faces=faces,
            after=after,
            tell=tell,
            writer_for=None if out is None else _writer(out, choices),
            known_for=None
            if recording is not None
            else lambda head: shelf.look_up(head, session.choices.side),
            head=None if recording is None else recording.metadata,
            stamp_for=_stamps(recording),
            in_step=recording is not None and pace is None,
            gym=gym,
        )
        for face in faces:
            if isinstance(face, WebFace):
                face.listen(_orders_of_pages(session))
        _stop_on_signals(stop, hurried, session)
        if on_screen:
            if phone is not None:
                await phone.arrived(stop)  # the code to scan stays on the screen until then
            faces.append(TerminalFace(stack.enter_context(Screen(console))))
            stack.enter_context(keyboard(session))
        else:
            faces.append(JsonLines())
        source: AsyncIterator[Item]
        if recording is not None:
            source = play(recording, pace, stop)
            rate_hz: float | None = recording.rate_hz
        elif phone is not None:
            source, rate_hz = listen(phone.events(stop)), None
        else:
            assert options is not None
            source, rate_hz = listen(stream((sensor,), options, stop=stop)), None
        await session.run(source, rate_hz)
    _report(session, choices, said, on_screen, out)
    if hurried.is_set():
        return 130
    if recording is not None and not session.sets and not stop.is_set():
        return 6
    return 0


def _orders_of_pages(session: Session) -> Callable[[str], None]:
    """Takes orders of the pages, from another thread, as text."""
    import asyncio
    import json

    from armarc.errors import UsageError
    from armarc.live.desk import order_of

    loop = asyncio.get_running_loop()

    def obey(text: str) -> None:
        try:
            session.order(order_of(json.loads(text)))
        except UsageError as error:
            session.board.answer = error.message
        except (ValueError, RecursionError):
            session.board.answer = "that was no order"
        session.refresh()

    def take(text: str) -> None:
        with contextlib.suppress(RuntimeError):  # the session is over
            loop.call_soon_threadsafe(obey, text)

    return take


def _writer(path: Path, choices: Choices) -> Callable[[float, Metadata], RecordingWriter]:
    from dataclasses import replace
    from datetime import datetime

    from armarc.recording import RecordingWriter

    def open_writer(rate_hz: float, head: Metadata) -> RecordingWriter:
        metadata = replace(
            head,
            exercise=choices.exercise.key,
            side=choices.side,
            load_kg=choices.load_kg,
            strap=choices.strap,
            hand_axis=choices.hand_axis,
            started_at=datetime.now().astimezone().isoformat(timespec="seconds"),
        )
        return RecordingWriter(path, metadata, rate_hz)

    return open_writer


def _stamps(recording: Recording | None) -> Callable[[float], str | None]:
    """Wall-clock stamps of signal times: the recording's own, or this machine's from now on."""
    from datetime import datetime, timedelta

    from armarc.log.moments import read_moment

    if recording is None:
        zero: datetime | None = datetime.now().astimezone()
    else:
        zero = read_moment(recording.metadata.started_at or "")
    return lambda time_s: (
        None if zero is None else (zero + timedelta(seconds=time_s)).isoformat(timespec="milliseconds")
    )


def _stop_on_signals(stop: asyncio.Event, hurried: asyncio.Event, session: Session) -> None:
    """First Ctrl-C: end in good order and keep the running set. Second: without waiting for hooks. Third: at once."""
    import asyncio
    import os

    from armarc.cli.stopping import call_when_asked_to_stop

    loop, asked = asyncio.get_running_loop(), 0

    def ask() -> None:
        nonlocal asked
        asked += 1
        if asked > 1:
            session.hurry()
            session.tell("ending at once; sets are still being logged")
        if asked > 2:
            os._exit(130)
        if asked > 1:
            hurried.set()
            return
        stop.set()
        session.board.stopping = True
        session.tell(
            "stopping, set saved" if session.board.rep and session.board.since_set_s is None else "stopping"
        )

    # The terminal may go away: the running set must not go with it.
    call_when_asked_to_stop(loop, ask, hang_up=True)


def _report(session: Session, choices: Choices, said: list[str], on_screen: bool, out: Path | None) -> None:
    """What stays on the terminal when the screen is gone."""
    from armarc.cli.log_options import say_cautions
    from armarc.cli.terminal import error_console

    talk = error_console()
    for text in dict.fromkeys([*choices.assumed, *said]):
        talk.print(f"armarc: {text}", markup=False, soft_wrap=True)
    if out is not None and out.exists():
        talk.print(f"armarc: raw stream: {out}", markup=False, soft_wrap=True)
    if not on_screen:
        return
    for line in session.board.sets:
        parts = [f"set {line.number}: {line.reps} {'rep' if line.reps == 1 else 'reps'}"]
        if line.in_band is not None:
            parts.append(f"{line.in_band} inside the band")
        if line.mean_speed_deg_s is not None:
            parts.append(f"mean start {line.mean_speed_deg_s:.0f} °/s")
        parts.append(f"tempo {line.tempo}")
        if line.loss_pct is not None:
            parts.append(f"velocity loss {line.loss_pct:.0f} %")
        typer.echo(", ".join(parts))
    say_cautions({choices.exercise.key})
