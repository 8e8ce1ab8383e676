"""``armarc process``: the main job, from raw recordings to measured sets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from armarc.cli import measuring_options as options
from armarc.cli.outputs import Force, check_size

_OUT = "Results"
_LOG = options.LOGGED


def process(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE…", help="Recordings (CSV), folders of them, or - for standard input."),
    ],
    exercise: options.ExerciseName = None,
    side: options.Side = None,
    load: options.Load = None,
    resistance: options.Resistance = None,
    lifter: options.Lifter = None,
    band: options.Band = None,
    gate: options.Gate = None,
    gate_from: options.GateFrom = None,
    loaded_range: options.LoadedRange = None,
    rest: options.Rest = None,
    mounting: options.Mounting = None,
    strap: options.Strap = None,
    hand_axis: options.HandAxis = None,
    reach_cm: options.ReachCm = None,
    sensor_height_cm: options.SensorHeightCm = None,
    reference: options.Reference = None,
    fusion: options.Fusion = None,
    trunk: Annotated[
        Path | None,
        typer.Option(
            metavar="CHEST.csv",
            help="Recording of a second sensor on the chest: measures how the trunk leans and swings. Files of "
            "record --sensor wrist=…,chest=… find each other without it.",
            rich_help_panel=options.ON_THE_ARM,
        ),
    ] = None,
    trunk_clock: Annotated[
        str,
        typer.Option(
            help="How the two files lie over each other: same (one clock), jolt (a blow both felt) or auto.",
            rich_help_panel=options.ON_THE_ARM,
        ),
    ] = "auto",
    trunk_forward: Annotated[
        str | None,
        typer.Option(
            metavar="±AXIS",
            help="Axis of the chest sensor that faces away from the breastbone; as its file says, else +z.",
            rich_help_panel=options.ON_THE_ARM,
        ),
    ] = None,
    rate: options.Rate = None,
    gyroscope: options.Gyroscope = None,
    columns: options.Columns = None,
    units: options.Units = None,
    axes: options.Axes = None,
    gravity_sign: options.GravitySign = None,
    json_: Annotated[
        bool, typer.Option("--json", help="One JSON object per file on stdout.", rich_help_panel=_OUT)
    ] = False,
    csv: Annotated[
        Path | None, typer.Option(metavar="OUT.csv", help="All reps as one table.", rich_help_panel=_OUT)
    ] = None,
    samples: Annotated[
        Path | None,
        typer.Option(
            metavar="OUT.csv|.parquet",
            help="Angle, rate, orientation and phase of every sample, a file per recording.",
            rich_help_panel=_OUT,
        ),
    ] = None,
    markers: Annotated[
        Path | None,
        typer.Option(
            metavar="OUT.srt|.vtt|.csv",
            help="Reps as subtitles or a table of times for a video, a file per recording.",
            rich_help_panel=_OUT,
        ),
    ] = None,
    clap: Annotated[
        float | None,
        typer.Option(
            metavar="SECONDS",
            min=0,
            help="Where in the video a clap of the sensor's hand is seen; it is found in the recording.",
            rich_help_panel=_OUT,
        ),
    ] = None,
    offset: Annotated[
        float | None,
        typer.Option(
            metavar="SECONDS",
            help="Where in the video the recording begins (negative: before it), instead of a clap.",
            rich_help_panel=_OUT,
        ),
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
    size: Annotated[
        str,
        typer.Option(
            "--size",
            callback=check_size,
            help="Of the picture: wide, or square or tall with a message as its title.",
            rich_help_panel=_OUT,
        ),
    ] = "wide",
    force: Force = False,
    log: Annotated[
        bool, typer.Option("--log", help="Write every set into the training log.", rich_help_panel=_LOG)
    ] = False,
    log_file: Annotated[
        str | None,
        typer.Option(
            metavar="FILE", help="Log to use instead of your own (or set ARMARC_LOG).", rich_help_panel=_LOG
        ),
    ] = None,
    variant: options.Variant = None,
    rir: options.Rir = None,
    rpe: Annotated[
        float | None, typer.Option(help="Perceived exertion, 0 to 10.", rich_help_panel=_LOG)
    ] = None,
    note: options.Note = None,
    tag: options.Tag = None,
) -> None:
    """Find and measure the sets and reps of recordings.

    No questions asked: columns and units are recognised and reported, sets and reps found, the arm's direction
    in the sensor worked out from the set itself. Options beat the recording's own header, which beats your
    settings file, which beats the exercise's entry.
    """
    from armarc.cli.batch import LogEntry, Outputs, TrunkFile, run
    from armarc.cli.recording_outputs import VideoClock
    from armarc.errors import UsageError

    if markers is None and (clap is not None or offset is not None):
        raise UsageError("--clap and --offset place markers", "add --markers reps.srt")

    options.check_logged(log=log or bool(log_file), variant=variant, rir=rir, rpe=rpe, note=note, tag=tag)
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
        options=options.stated(
            exercise=exercise,
            side=side,
            load=load,
            resistance=resistance,
            lifter=lifter,
            band=band,
            gate=gate,
            gate_from=gate_from,
            loaded_range=loaded_range,
            rest=rest,
            mounting=mounting,
            strap=strap,
            hand_axis=hand_axis,
            reach_cm=reach_cm,
            sensor_height_cm=sensor_height_cm,
            reference=reference,
            fusion=fusion,
        ),
        trunk=TrunkFile(trunk, trunk_clock, trunk_forward),
        outputs=Outputs(
            json=json_,
            csv=csv,
            samples=samples,
            markers=markers,
            video=VideoClock(offset_s=offset, clap_s=clap),
            plot=plot,
            dark=dark,
            size=size,
            force=force,
            log=entry if log or log_file else None,
        ),
    )
