"""``armarc process``: the main job, from raw recordings to measured sets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

_WHAT, _SENSOR, _READ, _OUT = "What was lifted", "Sensor on the arm", "Reading the file", "Results"
_LOG = "Training log"


def process(
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE…", help="Recordings (CSV), or folders of them.")
    ],
    exercise: Annotated[
        str | None, typer.Option("--exercise", "-e", help="See `armarc exercises`.", rich_help_panel=_WHAT)
    ] = None,
    side: Annotated[str | None, typer.Option(help="right or left arm.", rich_help_panel=_WHAT)] = None,
    load: Annotated[
        str | None, typer.Option(help="Load in the hand, such as 8kg or 17.5lb.", rich_help_panel=_WHAT)
    ] = None,
    resistance: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SPEC",
            help="What resists, for shoulder moments: 'cable:20kg,pulley=0.6/-0.9/0', 'band:…', 'machine:…' or a "
            ".toml; `armarc resist --help` tells how. Repeat it to combine.",
            rich_help_panel=_WHAT,
        ),
    ] = None,
    band: Annotated[
        str | None,
        typer.Option(
            metavar="LOW-HIGH", help="Target band of the start velocity, °/s.", rich_help_panel=_WHAT
        ),
    ] = None,
    gate: Annotated[
        str | None,
        typer.Option(metavar="LOW-HIGH", help="Start gate above the bottom, degrees.", rich_help_panel=_WHAT),
    ] = None,
    loaded_range: Annotated[
        str | None, typer.Option(metavar="LOW-HIGH", help="Loaded range, degrees.", rich_help_panel=_WHAT)
    ] = None,
    rest: Annotated[
        float | None,
        typer.Option(
            metavar="SECONDS", help="A pause at the bottom this long ends a set.", rich_help_panel=_WHAT
        ),
    ] = None,
    mounting: Annotated[
        str | None,
        typer.Option(help="auto, twist, lever_arm, hanging or stated.", rich_help_panel=_SENSOR),
    ] = None,
    strap: Annotated[
        str | None,
        typer.Option(
            help="Where it sits on the wrist: back, inside, thumb or little-finger (its z axis points away "
            "from the skin).",
            rich_help_panel=_SENSOR,
        ),
    ] = None,
    hand_axis: Annotated[
        str | None,
        typer.Option(
            metavar="±x|±y|±z", help="Sensor axis that points to the hand.", rich_help_panel=_SENSOR
        ),
    ] = None,
    reach_cm: Annotated[
        float | None, typer.Option(help="Measured distance shoulder to sensor.", rich_help_panel=_SENSOR)
    ] = None,
    sensor_height_cm: Annotated[
        float | None, typer.Option(help="Height of the sensor above the bone.", rich_help_panel=_SENSOR)
    ] = None,
    reference: Annotated[
        str | None,
        typer.Option(
            metavar="front-raise",
            help="The first movement is a front raise that shows where you face.",
            rich_help_panel=_SENSOR,
        ),
    ] = None,
    fusion: Annotated[
        str | None,
        typer.Option(
            help="smoother (default), or a textbook filter to compare: madgwick, mahony, ekf, aqua.",
            rich_help_panel=_SENSOR,
        ),
    ] = None,
    rate: Annotated[
        float | None,
        typer.Option(
            metavar="HZ", help="Sampling rate of a file without time stamps.", rich_help_panel=_READ
        ),
    ] = None,
    gyroscope: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Gyroscope in a second file.", rich_help_panel=_READ)
    ] = None,
    columns: Annotated[
        str | None,
        typer.Option(
            metavar="ROLE=NAME,…",
            help="Name columns: time, ax … gz (names or numbers).",
            rich_help_panel=_READ,
        ),
    ] = None,
    units: Annotated[
        str | None,
        typer.Option(metavar="WHAT=UNIT,…", help="Such as gyroscope=deg/s,time=ms.", rich_help_panel=_READ),
    ] = None,
    axes: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y,Z", help="Sensor axes in the file's, such as +y,-x,+z.", rich_help_panel=_READ
        ),
    ] = None,
    gravity_sign: Annotated[
        str | None,
        typer.Option(
            help="reaction (at rest reads +g upward) or gravity (reads it downward).", rich_help_panel=_READ
        ),
    ] = None,
    json_: Annotated[
        bool, typer.Option("--json", help="One JSON object per file on stdout.", rich_help_panel=_OUT)
    ] = False,
    csv: Annotated[
        Path | None, typer.Option(metavar="OUT.csv", help="All reps as one table.", rich_help_panel=_OUT)
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(
            metavar="OUT.png", help="Picture (.png, .svg or .pdf) of the set.", rich_help_panel=_OUT
        ),
    ] = None,
    dark: Annotated[
        bool, typer.Option("--dark", help="Picture light on dark.", rich_help_panel=_OUT)
    ] = False,
    log: Annotated[
        bool, typer.Option("--log", help="Write every set into the training log.", rich_help_panel=_LOG)
    ] = False,
    log_file: Annotated[
        str | None,
        typer.Option(
            metavar="FILE", help="Log to use instead of your own [env: ARMARC_LOG].", rich_help_panel=_LOG
        ),
    ] = None,
    lifter: Annotated[str | None, typer.Option(help="Who lifted.", rich_help_panel=_LOG)] = None,
    variant: Annotated[str | None, typer.Option(help="Variant, your words.", rich_help_panel=_LOG)] = None,
    rir: Annotated[float | None, typer.Option(help="Reps in reserve.", rich_help_panel=_LOG)] = None,
    rpe: Annotated[
        float | None, typer.Option(help="Perceived exertion, 0 to 10.", rich_help_panel=_LOG)
    ] = None,
    note: Annotated[str | None, typer.Option(help="Free note.", rich_help_panel=_LOG)] = None,
    tag: Annotated[list[str] | None, typer.Option(help="Tag; repeat it.", rich_help_panel=_LOG)] = None,
) -> None:
    """Find and measure the sets and reps of recordings.

    No questions asked: columns and units are recognised and reported, sets and reps found, the arm's direction
    in the sensor worked out from the set itself. Options beat the recording's own header, which beats your
    settings file, which beats the exercise's entry.
    """
    from armarc.cli.batch import LogEntry, Outputs, run

    entry = LogEntry(
        file=log_file,
        labels={
            "lifter": lifter,
            "variant": variant,
            "rir": rir,
            "rpe": rpe,
            "note": note,
            "tags": tuple(tag or ()),
        },
    )
    run(
        files,
        reading={
            "rate_hz": rate,
            "gyroscope_path": gyroscope,
            "columns": columns,
            "units": units,
            "axes": axes,
            "gravity_sign": gravity_sign,
        },
        measuring={
            "exercise": exercise,
            "side": side,
            "load": load,
            "band": band,
            "gate": gate,
            "loaded_range": loaded_range,
            "rest_s": rest,
            "mounting": mounting,
            "strap": strap,
            "hand_axis": hand_axis,
            "reach_cm": reach_cm,
            "sensor_height_cm": sensor_height_cm,
            "reference": reference,
            "fusion": fusion,
        },
        resistances=resistance or [],
        outputs=Outputs(json=json_, csv=csv, plot=plot, dark=dark, log=entry if log or log_file else None),
    )
