"""`armarc record`: capture one or two sensors into files."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import measuring_options as measuring
from armarc.cli.option_rows import only, taking, without
from armarc.cli.phone import (
    USUAL_PORT,
    OpensPhone,
    PhoneHost,
    PhonePort,
    Phones,
    PhonesCommand,
    check_phone_alone,
    open_phone,
    phone_places,
    phones_worn,
)
from armarc.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from armarc.cli.places import Worn
    from armarc.options import MeasuringOptions
    from armarc.sensor.capture import CaptureReport, FilePlan
    from armarc.sensor.capture.files import CaptureFiles
    from armarc.sensor.events import Event, Trouble
    from armarc.sensor.link import StreamOptions
    from armarc.sensor.remembered import Remembered


COMMAND = PhonesCommand
USUAL_RATE_HZ = 200.0


@taking(
    stated=(only(measuring.MEASURING, "exercise", "load", "resistance", "lifter"), measuring.stated),
    labels=(without(measuring.LABELS, "rpe"), dict),
)
def record(
    out: Annotated[Path, typer.Argument(metavar="OUT.csv", help="File to write; never overwritten.")],
    *,
    sensor: Annotated[
        list[str] | None,
        typer.Option(
            "--sensor",
            "-s",
            metavar="[PLACE=]NAME",
            help="Nickname, name, address or serial number; again for each further one: left=NAME right=NAME, "
            "wrist=NAME chest=NAME. Without it: the one sensor in reach.",
        ),
    ] = None,
    phone: Phones = None,
    host: PhoneHost = None,
    port: PhonePort = USUAL_PORT,
    seconds: Annotated[
        float | None, typer.Option("--seconds", min=0.1, help="Stop after so many seconds of samples.")
    ] = None,
    until_set_ends: Annotated[
        bool,
        typer.Option("--until-set-ends", help="Stop by itself once a set was lifted and rested from."),
    ] = False,
    rate: Annotated[
        float | None, typer.Option("--rate", min=10, max=1000, help="Samples per second; 200 if not stated.")
    ] = None,
    accelerometer_range: Annotated[
        int, typer.Option("--acc-range", min=2, max=64, help="Range of the accelerometer, ± g.")
    ] = 8,
    gyroscope_range: Annotated[
        int, typer.Option("--gyr-range", min=125, max=8000, help="Range of the gyroscope, ± °/s.")
    ] = 1000,
    description: Annotated[
        list[Path] | None,
        typer.Option("--description", "-d", help="Description (TOML) of a sensor that speaks otherwise."),
    ] = None,
    side: Annotated[
        str | None, typer.Option("--side", help="left or right; taken from the nickname otherwise.")
    ] = None,
    stated: MeasuringOptions,
    labels: dict[str, Any],
    timeout: Annotated[
        float, typer.Option("--timeout", min=1, help="How long to look for the sensor, s.")
    ] = 15.0,
    give_up: Annotated[
        float, typer.Option("--give-up", min=1, help="How long to wait for a lost sensor, s.")
    ] = 120.0,
    as_json: Annotated[bool, typer.Option("--json", help="Print a summary as JSON on stdout.")] = False,
) -> None:
    """Capture a sensor into a file. Ctrl-C ends the capture; everything received is kept.

    What was lifted, by whom and how is written into the file, and taken from there by `armarc process --log`.
    """
    from armarc.cli.capture_talk import summary
    from armarc.cli.places import worn_sensors
    from armarc.log.labels import Labels
    from armarc.recording.head import CHEST, WRIST

    phones: list[Worn] = []
    if sensor and phone == CHEST:  # a strap on the wrist, a phone in the chest pocket
        sensors = worn_sensors([*sensor, "chest=chest phone"])
        phones = sensors[-1:]
    elif phone:
        check_phone_alone(sensor=bool(sensor), rate=rate is not None, description=bool(description))
        sensors = phones = phones_worn(phone)
    else:
        sensors = worn_sensors(sensor or [""])
    if side not in (None, "left", "right"):
        raise UsageError(f"--side {side}: expected left or right")
    if side is not None and (any(w.side for w in sensors) or sum(w.place == WRIST for w in sensors) > 1):
        raise UsageError("--side goes with one wrist of which nothing is said", "say left=NAME right=NAME")
    options = _options(rate, accelerometer_range, gyroscope_range, description, timeout, give_up)
    lifted = stated.record()
    told = Labels(
        lifter=lifted.get("lifter"),
        variant=labels["variant"],
        rir=labels["rir"],
        note=labels["note"],
        tags=tuple(labels["tag"] or ()),
    ).checked()
    head = {
        "resistance": lifted.get("resistance"),
        "lifter": told.lifter,
        "variant": told.variant,
        "rir": told.rir,
        "tags": list(told.tags),
    }
    plans = _plans(
        out,
        sensors,
        options,
        exercise=lifted.get("exercise"),
        side=side,
        load_kg=lifted.get("load_kg"),
        note=told.note,
        head={key: value for key, value in head.items() if value not in (None, "", [])},
    )
    report = _captured(
        plans,
        [one.name for one in sensors if one not in phones],
        options,
        seconds,
        lambda: _set_watch(plans, rate or USUAL_RATE_HZ) if until_set_ends else None,
        partial(open_phone, host, port, task="record", places=phone_places(phones)) if phones else None,
    )
    if as_json:
        typer.echo(summary(report))
    else:
        for one in report.files:
            if one.samples:
                typer.echo(str(one.path))
    if report.fault is not None:
        raise report.fault
    if report.samples == 0:
        raise typer.Exit(130)


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
    options = _options(None, 8, 1000, None, 15.0, 120.0)
    plans = _plans(
        path, [Worn(sensor, place=None)], options, exercise=None, side=None, load_kg=None, note=note
    )
    report = _captured(plans, [] if phone else [sensor], options, seconds, lambda: None, phone)
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


def _captured(
    plans: list[FilePlan],
    sensors: list[str],
    options: StreamOptions,
    seconds: float | None,
    watch: Callable[[], Callable[[Event], bool] | None],
    phone: OpensPhone | None,
) -> CaptureReport:
    """Capture `sensors`, and the phones after them, until the time is up, Ctrl-C, or what `watch` makes says so."""
    import asyncio
    import contextlib

    from armarc.cli.capture_talk import Talk
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


def _set_watch(plans: list[FilePlan], rate_hz: float) -> Callable[[Event], bool]:
    """Tell when every arm has lifted a set and rested from it."""
    from armarc.choices import choose
    from armarc.live.set_watch import SetEndWatch
    from armarc.recording.head import CHEST, PLACE
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


def _options(
    rate_hz: float | None,
    acc_g: int,
    gyr_deg_s: int,
    files: list[Path] | None,
    find_s: float,
    give_up_s: float,
) -> StreamOptions:
    from armarc.sensor.describe import DescribedDialect, load_description, load_descriptions
    from armarc.sensor.link import StreamOptions
    from armarc.sensor.remembered import load_known
    from armarc.sensor.wire import SensorSettings

    described = [load_description(path) for path in files or []]
    return StreamOptions(
        settings=SensorSettings(
            rate_hz=rate_hz or USUAL_RATE_HZ,
            accelerometer_range_g=acc_g,
            gyroscope_range_deg_s=gyr_deg_s,
            rate_is_asked=rate_hz is not None,
        ),
        find_s=find_s,
        give_up_s=give_up_s,
        known=load_known(),
        descriptions=tuple(DescribedDialect(one) for one in (*described, *load_descriptions())),
    )


def _plans(
    out: Path,
    sensors: list[Worn],
    options: StreamOptions,
    *,
    exercise: str | None,
    side: str | None,
    load_kg: float | None,
    note: str | None,
    head: Mapping[str, Any] | None = None,
) -> list[FilePlan]:
    import uuid
    from dataclasses import replace
    from datetime import UTC, datetime

    from armarc.cli.places import files_of
    from armarc.recording import Metadata
    from armarc.recording.head import CAPTURE, PLACE
    from armarc.sensor.capture import FilePlan
    from armarc.sensor.remembered import recall

    now = datetime.now(UTC)
    shared = {CAPTURE: uuid.uuid4().hex}  # the same in both files of two sensors
    plans = []
    placed = [replace(one, side=_side_of(one, side, options.known)) for one in sensors]
    for worn, path in zip(placed, files_of(out, placed, options.known), strict=True):
        known = recall(options.known, worn.name) if worn.name else None
        metadata = Metadata(
            exercise=exercise,
            side=worn.side,
            load_kg=load_kg,
            sensor=known.nickname if known else None,
            note=note,
            started_at=now.astimezone().isoformat(timespec="seconds"),
            other=shared | ({PLACE: worn.place} if worn.place else {}) | dict(head or {}),
        )
        plans.append(FilePlan(path=path, metadata=metadata))
    return plans


def _side_of(worn: Worn, side: str | None, known: tuple[Remembered, ...]) -> str | None:
    """The arm of a sensor, as far as it is known; a chest has none."""
    from armarc.recording.head import CHEST
    from armarc.sensor.remembered import recall

    strapped = recall(known, worn.name) if worn.name else None
    if worn.place == CHEST:
        return None
    return worn.side or side or (strapped.side if strapped else None)


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
