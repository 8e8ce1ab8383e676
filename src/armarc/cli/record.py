"""`armarc record`: capture sensors into files."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import measuring_options as measuring
from armarc.cli.option_rows import only, taking, without
from armarc.cli.phone import (
    USUAL_PORT,
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
    from armarc.cli.places import Worn
    from armarc.options import MeasuringOptions


COMMAND = PhonesCommand


@taking(
    stated=(
        only(measuring.MEASURING, "exercise", "load", "resistance", "lifter", "sensor_place"),
        measuring.stated,
    ),
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
    trunk_forward: Annotated[
        str | None,
        typer.Option(
            metavar="AXIS",
            help="Axis of a chest sensor that faces away from the breastbone, for its file's head; +z if not stated.",
        ),
    ] = None,
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
    from armarc.cli.capture_progress import summary
    from armarc.cli.capturing import USUAL_RATE_HZ, captured, file_plans, set_watch, stream_options
    from armarc.cli.places import worn_sensors
    from armarc.log.labels import Labels
    from armarc.motion import sensor_axis
    from armarc.recording.captures import CHEST, WRIST

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
    if trunk_forward is not None:
        sensor_axis(trunk_forward)
        if not any(one.place == CHEST for one in sensors):
            raise UsageError("--trunk-forward is of a sensor on the chest", "add chest=NAME, or leave it out")
    options = stream_options(
        rate,
        description or (),
        accelerometer_range_g=accelerometer_range,
        gyroscope_range_deg_s=gyroscope_range,
        find_s=timeout,
        give_up_s=give_up,
    )
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
        "sensor_place": lifted.get("sensor_place"),
        "lifter": told.lifter,
        "variant": told.variant,
        "rir": told.rir,
        "tags": list(told.tags),
    }
    plans = file_plans(
        out,
        sensors,
        options,
        exercise=lifted.get("exercise"),
        side=side,
        load_kg=lifted.get("load_kg"),
        note=told.note,
        head={key: value for key, value in head.items() if value not in (None, "", [])},
        forward=trunk_forward,
    )
    report = captured(
        plans,
        [one.name for one in sensors if one not in phones],
        options,
        seconds,
        lambda: set_watch(plans, rate or USUAL_RATE_HZ) if until_set_ends else None,
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
