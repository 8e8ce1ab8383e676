"""What ``armarc live`` sets up around a session: where samples come from, its faces, its tasks, how it ends."""

from __future__ import annotations

import contextlib
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    import asyncio
    from collections.abc import AsyncIterator, Callable, Sequence

    from armarc.choices import Choices
    from armarc.cli.places import Worn
    from armarc.live.desk import Gym
    from armarc.live.faces import Face
    from armarc.live.session import LiveSession
    from armarc.live.source import Item
    from armarc.live.web.face import WebFace
    from armarc.recording import Metadata, Recording, RecordingWriter
    from armarc.sensor.link import StreamOptions
    from armarc.sensor.remembered import Remembered


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


def raw_files(out: Path | None, worn: Sequence[Worn], known: tuple[Remembered, ...]) -> list[Path]:
    """Where the raw streams go.

    Raises
    ------
    UsageError
        There is something already, or no folder for it.
    """
    from datetime import datetime

    from armarc.cli.places import files_of
    from armarc.errors import UsageError

    paths = files_of(out or Path(f"armarc-live-{datetime.now():%Y%m%d-%H%M%S}.csv"), worn, known)
    for path in paths:
        if path.exists():
            raise UsageError(
                f"there is a file {path} already, and recordings are never overwritten",
                "choose another --out",
            )
        if not path.parent.is_dir():
            raise UsageError(f"there is no folder {path.parent}", "make it first")
    return paths


@dataclass(frozen=True, slots=True, kw_only=True)
class Streams:
    """Where the samples of a session come from: recordings that are played, or else sensors.

    Parameters
    ----------
    played : tuple of (Recording, float)
        Each with the seconds to add to its times to have the first one's.
    pace : float or None
        How many times as fast as they were; None for as fast as it goes.
    worn : sequence of Worn
        The sensors, or what they were.
    options : StreamOptions or None
        How they are listened to.
    files : sequence of Path
        Where their raw streams go.
    forward : str
        Axis of a chest sensor that faces forward.
    """

    played: tuple[tuple[Recording, float], ...] = ()
    pace: float | None = 1.0
    worn: Sequence[Worn] = ()
    options: StreamOptions | None = None
    files: Sequence[Path] = ()
    forward: str = "+z"


async def run(choices: Choices, gym: Gym, streams: Streams, wanted: dict[str, Any], after: Any) -> int:
    """Live until the samples end or somebody stops; returns the exit code."""
    import asyncio

    from armarc.cli.keyboard import keyboard
    from armarc.cli.phone import open_phone, phone_places
    from armarc.cli.terminal import out_console
    from armarc.known_sensor import open_shelf
    from armarc.live.faces import JsonLines, TerminalFace
    from armarc.live.screen import Screen
    from armarc.live.session import LiveSession
    from armarc.live.source import listen, play
    from armarc.live.web.face import WebFace
    from armarc.outputs import let_go
    from armarc.recording.captures import CHEST
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
            places = phone_places(streams.worn)
            page = open_phone(wanted["host"], wanted["port"], scoreboards=True, places=places)
            phone = await stack.enter_async_context(page)
            faces.append(phone.face)
        elif wanted["web"]:
            host = wanted["host"] or "127.0.0.1"
            faces.append(await _open_web(stack, host, wanted["port"], on_screen, tell))
        faces += _open_sounds(wanted["sound"], wanted["say"], tell)
        first = streams.played[0][0] if streams.played else None
        session = LiveSession(
            choices=choices,
            faces=faces,
            after=after,
            tell=tell,
            places=tuple(one.side or CHEST for one in streams.worn),
            writer_for=_writer(streams, choices) if streams.files else None,
            known_for=None if first is not None else shelf.look_up,
            heads=tuple(one.metadata for one, _ in streams.played),
            stamp_for=_stamps(first),
            gym=gym,
            forward=streams.forward,
            in_step=first is not None and streams.pace is None,
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
        rates_hz = [one.rate_hz for one, _ in streams.played]
        if first is not None:
            source = play(first, streams.pace, stop, *streams.played[1:])
        elif phone is not None:
            source = listen(phone.events(stop))
        else:
            assert streams.options is not None
            source = listen(stream([one.name for one in streams.worn], streams.options, stop=stop))
        await session.run(source, rates_hz)
    _report(session, choices, said, on_screen, streams.files)
    if hurried.is_set():
        return 130
    if first is not None and not session.sets and not stop.is_set():
        return 6
    return 0


def _orders_of_pages(session: LiveSession) -> Callable[[str], None]:
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
            session.scoreboard.answer = error.message
        except (ValueError, RecursionError):
            session.scoreboard.answer = "that was no order"
        session.refresh()

    def take(text: str) -> None:
        with contextlib.suppress(RuntimeError):  # the session is over
            loop.call_soon_threadsafe(obey, text)

    return take


def _writer(streams: Streams, choices: Choices) -> Callable[[int, float, Metadata], RecordingWriter]:
    import uuid
    from dataclasses import replace
    from datetime import datetime

    from armarc.recording import RecordingWriter
    from armarc.recording.captures import CAPTURE, CHEST, FORWARD, PLACE

    shared = {CAPTURE: uuid.uuid4().hex} if len(streams.files) > 1 else {}

    def open_writer(number: int, rate_hz: float, head: Metadata) -> RecordingWriter:
        place = streams.worn[number].place
        other = head.other | shared | ({PLACE: place} if shared else {})
        metadata = replace(
            head, other=other, started_at=datetime.now().astimezone().isoformat(timespec="seconds")
        )
        if place == CHEST:
            metadata = replace(metadata, other=other | {FORWARD: streams.forward})
        else:
            metadata = replace(
                metadata,
                other=other | {"sensor_place": choices.exercise.sensor_place},
                exercise=choices.exercise.key,
                side=streams.worn[number].side or choices.side,
                load_kg=choices.load_kg,
                strap=choices.strap,
                hand_axis=choices.hand_axis,
            )
        return RecordingWriter(streams.files[number], metadata, rate_hz)

    return open_writer


def _stamps(recording: Recording | None) -> Callable[[float], str | None]:
    """Wall-clock stamps of signal times: the recording's own, or this machine's from now on."""
    from datetime import datetime, timedelta

    from armarc.quantities import read_date_time

    if recording is None:
        zero: datetime | None = datetime.now().astimezone()
    else:
        zero = read_date_time(recording.metadata.started_at or "")
    return lambda time_s: (
        None if zero is None else (zero + timedelta(seconds=time_s)).isoformat(timespec="milliseconds")
    )


def _stop_on_signals(stop: asyncio.Event, hurried: asyncio.Event, session: LiveSession) -> None:
    """First Ctrl-C: end in good order and keep the running set. Second: without waiting for hooks. Third: at once."""
    import asyncio
    import os

    from armarc.cli.keyboard import call_when_asked_to_stop

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
        session.scoreboard.stopping = True
        session.tell(
            "stopping, set saved"
            if session.scoreboard.rep and session.scoreboard.since_set_s is None
            else "stopping"
        )

    # The terminal may go away: the running set must not go with it.
    call_when_asked_to_stop(loop, ask, hang_up=True)


def _report(
    session: LiveSession, choices: Choices, said: list[str], on_screen: bool, files: Sequence[Path]
) -> None:
    """What stays on the terminal when the screen is gone."""
    from armarc.cli.log_options import say_cautions
    from armarc.cli.terminal import error_console

    talk = error_console()
    for text in dict.fromkeys([*choices.assumed, *said]):
        talk.print(f"armarc: {text}", markup=False, soft_wrap=True)
    for path in files:
        if path.exists():
            talk.print(f"armarc: raw stream: {path}", markup=False, soft_wrap=True)
    if not on_screen:
        return
    lines = [(line, side) for arm, side in session.shown_arms for line in arm.sets]
    for line, side in sorted(lines, key=lambda one: one[0].number):
        parts = [f"set {line.number}{side}: {line.reps} {'rep' if line.reps == 1 else 'reps'}"]
        if line.in_band is not None:
            parts.append(f"{line.in_band} inside the band")
        if line.mean_speed_deg_s is not None:
            parts.append(f"mean start {line.mean_speed_deg_s:.0f} °/s")
        parts.append(f"tempo {line.tempo}")
        if line.loss_pct is not None:
            parts.append(f"velocity loss {line.loss_pct:.0f} %")
        typer.echo(", ".join(parts))
    say_cautions({choices.exercise.key})


async def _open_web(
    stack: contextlib.AsyncExitStack, host: str, port: int, on_screen: bool, tell: Callable[[str], None]
) -> WebFace:
    """Serve the page of the scoreboards and say where it is."""
    import asyncio

    from armarc.live.web.access import open_access, own_address
    from armarc.live.web.face import PageProcess

    access = open_access(host, port)
    page = stack.enter_context(PageProcess(access))
    shown = own_address(host)
    shown = f"[{shown}]" if ":" in shown else shown
    query = f"/?token={access.token}" if access.token else "/"
    print(f"armarc: the page is at http://{shown}:{page.port}{query}", file=sys.stderr, flush=True)
    if on_screen:
        await asyncio.sleep(2.0)  # long enough to read it before the screen takes over
        tell(f"the page was at http://{shown}:{page.port}{query}")
    return page.face


def _open_sounds(sound: bool, say: bool, tell: Callable[[str], None]) -> list[Face]:
    """Tones and the spoken count, as far as this machine has them."""
    from armarc.live.faces import SoundFace, SpeechFace
    from armarc.live.tones import Speaker, find_speech, open_player

    faces: list[Face] = []
    if sound:
        player, problem = open_player()
        if player is None:
            tell(problem)
        else:
            faces.append(SoundFace(player))
    if say:
        command = find_speech()
        if command is None:
            tell("no speech: no speech command was found (install espeak-ng)")
        else:
            faces.append(SpeechFace(Speaker(command), tell))
    return faces
