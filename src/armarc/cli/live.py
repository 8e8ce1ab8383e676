"""``armarc live``: reps, verdicts and sets while they are lifted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import measuring_options as measuring
from armarc.cli.phone import Phone, check_phone_alone

if TYPE_CHECKING:
    import asyncio
    from collections.abc import AsyncIterator, Callable

    from armarc.choices import Choices
    from armarc.live.session import Face, Session
    from armarc.live.source import Item
    from armarc.options import MeasuringOptions
    from armarc.recording import Metadata, Recording, RecordingWriter
    from armarc.sensor.link import StreamOptions

_FROM, _FACES, _AFTER = "Where the samples come from", "Faces", "After a set"


def live(
    sensor: Annotated[
        str,
        typer.Argument(
            metavar="SENSOR", help="Nickname, name or address; without it the one sensor in reach."
        ),
    ] = "",
    exercise: measuring.ExerciseName = None,
    side: measuring.Side = None,
    load: measuring.Load = None,
    resistance: measuring.Resistance = None,
    lifter: measuring.Lifter = None,
    band: measuring.Band = None,
    gate: measuring.Gate = None,
    rest: measuring.Rest = None,
    mounting: measuring.Mounting = None,
    strap: measuring.Strap = None,
    hand_axis: measuring.HandAxis = None,
    from_file: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FILE", help="Play a recording instead of a sensor.", rich_help_panel=_FROM
        ),
    ] = None,
    speed: Annotated[
        str, typer.Option(metavar="X|max", help="How fast to play it.", rich_help_panel=_FROM)
    ] = "1",
    phone: Phone = False,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="OUT.csv",
            help="File of the raw stream; with a sensor always written, named by date and time unless you say.",
            rich_help_panel=_FROM,
        ),
    ] = None,
    rate: Annotated[
        float | None,
        typer.Option(min=25, max=1000, help="Samples/s; 200 if not stated.", rich_help_panel=_FROM),
    ] = None,
    description: Annotated[
        list[Path] | None,
        typer.Option(
            "--description",
            "-d",
            help="Description (TOML) of a sensor that speaks otherwise.",
            rich_help_panel=_FROM,
        ),
    ] = None,
    json_: Annotated[
        bool,
        typer.Option(
            "--json",
            help="One JSON object per event on stdout (also when stdout is no terminal).",
            rich_help_panel=_FACES,
        ),
    ] = False,
    sound: Annotated[
        bool,
        typer.Option(
            "--sound",
            help="A tone per start: low below, middle inside, high twice above.",
            rich_help_panel=_FACES,
        ),
    ] = False,
    say: Annotated[bool, typer.Option("--say", help="Speak the rep count.", rich_help_panel=_FACES)] = False,
    web: Annotated[
        bool,
        typer.Option("--web", help="Show it on a page for a phone or tablet, too.", rich_help_panel=_FACES),
    ] = False,
    host: Annotated[
        str | None,
        typer.Option(
            help="Address the page listens on; 0.0.0.0 opens it to the network, behind a token; "
            "127.0.0.1 if not stated, 0.0.0.0 with --phone.",
            rich_help_panel=_FACES,
        ),
    ] = None,
    port: Annotated[
        int,
        typer.Option(min=0, max=65535, help="Port of the page; 0 takes a free one.", rich_help_panel=_FACES),
    ] = 8765,
    hook: Annotated[
        str | None,
        typer.Option(
            metavar="COMMAND",
            help="Run it after every set, the set as JSON on its stdin.",
            rich_help_panel=_AFTER,
        ),
    ] = None,
    log: Annotated[
        bool, typer.Option("--log", help="Write every set into the training log.", rich_help_panel=_AFTER)
    ] = False,
    log_file: Annotated[
        str | None, typer.Option(help="Another log than the usual one.", rich_help_panel=_AFTER)
    ] = None,
) -> None:
    """Lift and know: the start velocity against the band during the rep, reps and sets as they happen.

    Stand still for a moment with the arm hanging, then lift. Ctrl-C ends in good order and keeps the running set;
    a second one waits for no hook, a third for nothing. Try it without a sensor: armarc live --from FILE --speed 4.
    """
    import asyncio

    from armarc.errors import UsageError
    from armarc.live.after_set import parse_hook
    from armarc.live.session import After

    if phone:
        check_phone_alone(
            sensor=bool(sensor),
            file=from_file is not None,
            rate=rate is not None,
            description=bool(description),
        )
    if from_file is not None and sensor:
        raise UsageError("samples come from a sensor or from a file, not both", "leave one of them out")
    pace = _pace(speed)
    if pace != 1.0 and from_file is None:
        raise UsageError("--speed goes with --from FILE", "a sensor has its own speed")
    after = After(
        hook=None if hook is None else parse_hook(hook), log=log or log_file is not None, log_file=log_file
    )
    stated = measuring.stated(
        exercise=exercise,
        side=side,
        load=load,
        resistance=resistance,
        lifter=lifter,
        band=band,
        gate=gate,
        rest=rest,
        mounting=mounting,
        strap=strap,
        hand_axis=hand_axis,
    )
    recording: Recording | None = None
    options: StreamOptions | None = None
    if from_file is not None:
        from armarc.api import open_kept, read_csv

        kept = open_kept()
        recording, choices = kept.settle(read_csv(from_file, kept=kept), stated)
    else:
        options, choices, out = _sensor_plan(sensor, stated, rate, description, out, radio=not phone)
    faces = {"json": json_, "sound": sound, "say": say, "web": web, "host": host, "port": port}
    faces["phone"] = phone
    code = asyncio.run(_run(choices, recording, pace, sensor, options, out, faces, after))
    if code:
        raise typer.Exit(code)


def _pace(text: str) -> float | None:
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


def _sensor_plan(
    sensor: str,
    stated: MeasuringOptions,
    rate: float | None,
    description: list[Path] | None,
    out: Path | None,
    *,
    radio: bool,
) -> tuple[StreamOptions, Choices, Path]:
    from datetime import datetime

    from armarc.api import open_kept
    from armarc.errors import UsageError
    from armarc.recording import Metadata
    from armarc.sensor.describe import DescribedDialect, load_description, load_descriptions
    from armarc.sensor.link import StreamOptions
    from armarc.sensor.link.find import prepare_platform
    from armarc.sensor.remembered import load_known, recall
    from armarc.sensor.wire import SensorSettings

    described = [load_description(path) for path in description or []]
    options = StreamOptions(
        settings=SensorSettings(rate_hz=rate or 200.0, rate_is_asked=rate is not None),
        known=load_known(),
        descriptions=tuple(DescribedDialect(one) for one in (*described, *load_descriptions())),
    )
    known = recall(options.known, sensor) if sensor else None
    choices = open_kept().choices(Metadata(side=None if known is None else known.side), stated)
    path = out or Path(f"armarc-live-{datetime.now():%Y%m%d-%H%M%S}.csv")
    if path.exists():
        raise UsageError(
            f"there is a file {path} already, and recordings are never overwritten", "choose another --out"
        )
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}", "make it first")
    if radio:
        prepare_platform()
    return options, choices, path


async def _run(
    choices: Choices,
    recording: Recording | None,
    pace: float | None,
    sensor: str,
    options: StreamOptions | None,
    out: Path | None,
    wanted: dict[str, Any],
    after: Any,
) -> int:
    import asyncio
    import contextlib
    import sys
    from functools import partial

    from armarc.cli.live_faces import open_sounds, open_web
    from armarc.cli.phone import open_phone
    from armarc.cli.terminal import out_console
    from armarc.known_sensor import open_shelf
    from armarc.live.faces import JsonLines, TerminalFace
    from armarc.live.screen import Screen
    from armarc.live.session import Session
    from armarc.live.source import listen, play
    from armarc.outputs import let_go
    from armarc.sensor.link import stream

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
            known_for=None if recording is not None else partial(open_shelf().look_up, side=choices.side),
            head=None if recording is None else recording.metadata,
            stamp_for=_stamps(recording),
            in_step=recording is not None and pace is None,
        )
        _stop_on_signals(stop, hurried, session)
        if on_screen:
            if phone is not None:
                await phone.arrived(stop)  # the code to scan stays on the screen until then
            faces.append(TerminalFace(stack.enter_context(Screen(console))))
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
