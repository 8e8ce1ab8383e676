"""``armarc process``: the main job, from raw recordings to measured sets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import measuring_options as measuring
from armarc.cli.option_rows import taking
from armarc.cli.outputs import Force, check_size

if TYPE_CHECKING:
    from armarc.options import MeasuringOptions

_OUT = "Results"
_LOG = measuring.LOGGED


@taking(
    options=(measuring.MEASURING, measuring.stated),
    reading=(measuring.READING, measuring.reading),
    labels=(measuring.LABELS, dict),
)
def process(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE…", help="Recordings (CSV), folders of them, or - for standard input."),
    ],
    *,
    options: MeasuringOptions,
    trunk: Annotated[
        Path | None,
        typer.Option(
            metavar="CHEST.csv",
            help="Recording of a second sensor on the chest: measures how the trunk leans and swings. Files of "
            "record --sensor wrist=…,chest=… find each other without it.",
            rich_help_panel=measuring.ON_THE_ARM,
        ),
    ] = None,
    trunk_clock: Annotated[
        str,
        typer.Option(
            help="How the two files lie over each other: same (one clock), jolt (a blow both felt) or auto.",
            rich_help_panel=measuring.ON_THE_ARM,
        ),
    ] = "auto",
    trunk_forward: Annotated[
        str | None,
        typer.Option(
            metavar="±AXIS",
            help="Axis of the chest sensor that faces away from the breastbone; as its file says, else +z.",
            rich_help_panel=measuring.ON_THE_ARM,
        ),
    ] = None,
    reading: dict[str, object],
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
    steps: Annotated[
        int | None,
        typer.Option(
            metavar="REP",
            min=1,
            help="Draw this rep of each set step by step into the --plot picture, for explaining.",
            rich_help_panel=_OUT,
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
    began: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="When the recording began, such as 2026-03-01T17:30, instead of what it says or its file's date.",
            rich_help_panel=_LOG,
        ),
    ] = None,
    labels: dict[str, Any],
) -> None:
    """Find and measure the sets and reps of recordings.

    No questions asked: columns and units are recognised and reported, sets and reps found, the arm's direction
    in the sensor worked out from the set itself. Options beat the recording's own header, which beats your
    settings file, which beats the exercise's entry.
    """
    from armarc.cli.batch import run
    from armarc.cli.recording_outputs import LogEntry, Outputs, TrunkFile, VideoClock
    from armarc.errors import UsageError
    from armarc.quantities import check_past, read_date_time

    if markers is None and (clap is not None or offset is not None):
        raise UsageError("--clap and --offset place markers", "add --markers reps.srt")

    measuring.check_logged(log=log or bool(log_file), began=began, **labels)
    when = None if began is None else read_date_time(began)
    if began is not None and when is None:
        raise UsageError(f"{began!r} is no day with a time", "write it as 2026-03-01T17:30")
    if began is not None and when is not None:
        check_past(when, began)
    tags = tuple(labels.pop("tag") or ())
    entry = LogEntry(file=log_file, labels={"lifter": options.lifter, **labels, "tags": tags}, began=when)
    run(
        files,
        reading=reading,
        options=options,
        trunk=TrunkFile(trunk, trunk_clock, trunk_forward),
        outputs=Outputs(
            json=json_,
            csv=csv,
            samples=samples,
            markers=markers,
            video=VideoClock(offset_s=offset, clap_s=clap),
            plot=plot,
            steps=steps,
            dark=dark,
            size=size,
            force=force,
            log=entry if log or log_file else None,
        ),
    )
