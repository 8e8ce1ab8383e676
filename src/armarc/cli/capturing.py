"""Capturing sensors and phones into files: for ``armarc record``, and for commands that go on with a file."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from armarc.cli.phone import OpensPhone, open_phone

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from armarc.cli.places import Worn
    from armarc.sensor.capture import CaptureReport, FilePlan
    from armarc.sensor.capture.files import CaptureFiles
    from armarc.sensor.events import Event, Trouble
    from armarc.sensor.link import StreamOptions
    from armarc.sensor.remembered import Remembered

USUAL_RATE_HZ = 200.0


def _side_conflict(plan: FilePlan, event: Event, known: tuple[Remembered, ...]) -> Trouble | None:
    """A file marked with the other wrist than its sensor is remembered for mirrors plane and hand rotation."""
    from armarc.sensor.events import LinkUp, Trouble
    from armarc.sensor.remembered import recall

    if not isinstance(event, LinkUp) or event.again or plan.metadata.side is None:
        return None
    mine = recall(known, event.facts.serial) or recall(known, plan.metadata.sensor or "")
    if mine is None or mine.side in (None, plan.metadata.side):
        return None
    message = (
        f"warning: {mine.nickname} is remembered for the {mine.side} wrist, and this recording is marked "
        f"{plan.metadata.side}; a wrong side mirrors plane and hand rotation (armarc sensor remember changes it)"
    )
    return Trouble(sensor=event.sensor, time_s=event.time_s, message=message)


def captured_file(
    kind: str,
    out: Path | None,
    *,
    note: str,
    sensor: str = "",
    seconds: float | None = None,
    phone: OpensPhone | None = None,
) -> Path:
    """Capture one sensor into a file for a command that goes on with it; the file stays whatever comes of it.

    Parameters
    ----------
    kind : str
        Names the file where `out` is None.
    out : Path or None
    note : str
    sensor : str
    seconds : float or None, s
        None until Ctrl-C.
    phone : callable or None
        Opens the page, where a phone is the sensor.

    Raises
    ------
    SensorError
        No sensor, or one that was lost; everything before it is kept.
    typer.Exit
        With 130 where the capture was stopped before a sample came.
    """
    from datetime import datetime

    from armarc.cli.log_options import say
    from armarc.cli.places import Worn

    path = out or Path(f"armarc-{kind}-{datetime.now():%Y%m%d-%H%M%S}.csv")
    options = stream_options()
    plans = file_plans(
        path, [Worn(sensor, place=None)], options, exercise=None, side=None, load_kg=None, note=note
    )
    report = captured(plans, [] if phone else [sensor], options, seconds, lambda: None, phone)
    if report.fault is not None:
        raise report.fault
    if report.samples == 0:
        raise typer.Exit(130)
    say(f"raw stream: {path}")
    return path


def phone_file(task: str, guide: str, out: Path | None, host: str | None, port: int) -> Path:
    """Capture one phone until Ctrl-C, for a command that goes on with the file; as `captured_file`."""
    from armarc.cli.log_options import say

    # The steps, without what to type afterwards.
    say("\n".join(line for line in guide.splitlines() if "armarc sensor" not in line))
    say("With the phone: tap Start on it first. Ctrl-C here when all is done; the rest goes by itself.")
    return captured_file(task, out, note=f"sensor {task}", phone=partial(open_phone, host, port, task=task))


def captured(
    plans: list[FilePlan],
    sensors: list[str],
    options: StreamOptions,
    seconds: float | None,
    watch: Callable[[], Callable[[Event], bool] | None],
    phone: OpensPhone | None,
) -> CaptureReport:
    """Capture `sensors`, and the phones after them, until the time is up, Ctrl-C, or what `watch` makes says so.

    Parameters
    ----------
    plans : list of FilePlan
        A file for each of them, in their order.
    sensors : list of str
    options : StreamOptions
    seconds : float or None, s
    watch : callable
        Gives, once all is ready, what is asked after every event whether it is over; None asks nothing.
    phone : callable or None
        Opens the page, where phones are among them.

    Raises
    ------
    InputError
        A file that is there already, or cannot be written.
    typer.Exit
        With 130 after a second Ctrl-C.
    """
    import asyncio
    import contextlib

    from armarc.cli.capture_progress import Talk
    from armarc.sensor.capture import capture, check_targets
    from armarc.sensor.link import stream
    from armarc.sensor.link.find import prepare_platform
    from armarc.sensor.phone import together

    check_targets([plan.path for plan in plans])
    if sensors:
        prepare_platform()
    several = "s" if len(plans) > 1 else ""
    talk = Talk(len(plans), "" if sensors else f"waiting for the phone{several} …")
    set_over = watch()

    async def run() -> CaptureReport:
        stop = asyncio.Event()
        _stop_on_signals(stop)

        def hear(event: Event, files: CaptureFiles) -> None:
            talk.hear(event, files)
            conflict = _side_conflict(plans[event.sensor], event, options.known)
            if conflict is not None:
                files.put(conflict)
                talk.hear(conflict, files)
            if set_over is not None and not stop.is_set() and set_over(event):
                stop.set()

        async with contextlib.AsyncExitStack() as stack:
            streams = [(stream(sensors, options, stop=stop), 0)] if sensors else []
            if phone is not None:
                streams.append(((await stack.enter_async_context(phone())).events(stop), len(sensors)))
            events = streams[0][0] if len(streams) == 1 else together(streams, stop=stop)
            return await capture(plans, events, stop=stop, seconds=seconds, listen=hear)

    try:
        report = asyncio.run(run())
    except asyncio.CancelledError:
        # The second Ctrl-C: what was written stays, the sensor is not told any more.
        raise typer.Exit(130) from None
    talk.end(report)
    return report


def set_watch(plans: list[FilePlan], rate_hz: float) -> Callable[[Event], bool]:
    """Tell when every arm has lifted a set and rested from it."""
    from armarc.choices import choose
    from armarc.live.set_watch import SetEndWatch
    from armarc.recording.captures import CHEST, PLACE
    from armarc.sensor.events import Frames
    from armarc.settings import load_settings

    saved = load_settings()
    watches = {
        number: SetEndWatch(choose(plan.metadata, settings=saved), rate_hz)
        for number, plan in enumerate(plans)
        if plan.metadata.other.get(PLACE) != CHEST
    }

    def over(event: Event) -> bool:
        if isinstance(event, Frames) and event.sensor in watches:
            watches[event.sensor].feed(event.time_s, event.specific_force_m_s2, event.angular_velocity_rad_s)
        return all(watch.ended is not None for watch in watches.values())

    return over


def stream_options(
    rate_hz: float | None = None,
    files: Sequence[Path] = (),
    *,
    accelerometer_range_g: int = 8,
    gyroscope_range_deg_s: int = 1000,
    find_s: float = 15.0,
    give_up_s: float = 120.0,
) -> StreamOptions:
    """How sensors are listened to, those remembered and those of description files among them.

    Raises
    ------
    InputError
        A description cannot be read.
    """
    from armarc.sensor.describe import DescribedDialect, load_description, load_descriptions
    from armarc.sensor.link import StreamOptions
    from armarc.sensor.remembered import load_known
    from armarc.sensor.wire import SensorSettings

    described = [load_description(path) for path in files]
    return StreamOptions(
        settings=SensorSettings(
            rate_hz=rate_hz or USUAL_RATE_HZ,
            accelerometer_range_g=accelerometer_range_g,
            gyroscope_range_deg_s=gyroscope_range_deg_s,
            rate_is_asked=rate_hz is not None,
        ),
        find_s=find_s,
        give_up_s=give_up_s,
        known=load_known(),
        descriptions=tuple(DescribedDialect(one) for one in (*described, *load_descriptions())),
    )


def file_plans(
    out: Path,
    sensors: list[Worn],
    options: StreamOptions,
    *,
    exercise: str | None,
    side: str | None,
    load_kg: float | None,
    note: str | None,
    head: Mapping[str, object] | None = None,
    forward: str | None = None,
) -> list[FilePlan]:
    """What goes into which file, and its head.

    Parameters
    ----------
    out : Path
        Of several sensors each gets its place, arm or nickname behind the name.
    sensors : list of Worn
    options : StreamOptions
        With the sensors remembered, whose arm and nickname are taken.
    exercise, side, note : str or None
    load_kg : float or None, kg
    head : mapping or None
        More keys of the head.
    forward : str or None
        Axis of a chest sensor that faces forward, where it was stated.
    """
    import uuid
    from dataclasses import replace
    from datetime import UTC, datetime

    from armarc.cli.places import files_of, known_side
    from armarc.recording import Metadata
    from armarc.recording.captures import CAPTURE, CHEST, FORWARD, PLACE
    from armarc.sensor.capture import FilePlan
    from armarc.sensor.remembered import recall

    now = datetime.now(UTC)
    shared = {CAPTURE: uuid.uuid4().hex}  # the same in both files of two sensors
    plans = []
    placed = [
        one if one.place == CHEST else replace(one, side=one.side or side or known_side(one, options.known))
        for one in sensors
    ]
    for worn, path in zip(placed, files_of(out, placed, options.known), strict=True):
        known = recall(options.known, worn.name) if worn.name else None
        faced = {FORWARD: forward} if forward and worn.place == CHEST else {}
        metadata = Metadata(
            exercise=exercise,
            side=worn.side,
            load_kg=load_kg,
            sensor=known.nickname if known else None,
            note=note,
            started_at=now.astimezone().isoformat(timespec="seconds"),
            other=shared | ({PLACE: worn.place} if worn.place else {}) | faced | dict(head or {}),
        )
        plans.append(FilePlan(path=path, metadata=metadata))
    return plans


def _stop_on_signals(stop: object) -> None:
    """First Ctrl-C: end in good order. Second: at once."""
    import asyncio

    from armarc.cli.keyboard import call_when_asked_to_stop

    assert isinstance(stop, asyncio.Event)
    loop = asyncio.get_running_loop()
    task = asyncio.current_task()
    assert task is not None

    def ask() -> None:
        if stop.is_set():
            task.cancel()
        stop.set()

    call_when_asked_to_stop(loop, ask)
