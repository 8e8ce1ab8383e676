"""Options that say how a recording is read and measured; shared by the commands that measure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import completion

if TYPE_CHECKING:
    from armarc.options import MeasuringOptions

LIFTED, ON_THE_ARM, READING = "What was lifted", "Sensor on the arm", "Reading the file"

ExerciseName = Annotated[
    str | None,
    typer.Option(
        "--exercise",
        "-e",
        help="See `armarc exercises`.",
        rich_help_panel=LIFTED,
        autocompletion=completion.exercise_keys,
    ),
]
Side = Annotated[
    str | None,
    typer.Option(
        "--side", help="right or left arm.", rich_help_panel=LIFTED, autocompletion=completion.sides
    ),
]
Load = Annotated[
    str | None,
    typer.Option("--load", help="Load in the hand, such as 8kg or 17.5lb.", rich_help_panel=LIFTED),
]
Lifter = Annotated[
    str | None,
    typer.Option(
        "--lifter",
        metavar="NAME",
        help="Who lifted; see `armarc lifter`.",
        rich_help_panel=LIFTED,
        autocompletion=completion.lifters,
    ),
]
Resistance = Annotated[
    list[str] | None,
    typer.Option(
        "--resistance",
        metavar="SPEC",
        help="What resists, for shoulder moments: 'cable:20kg,pulley=-0.6/-0.9/0', 'band:…', 'machine:…' or a "
        ".toml; `armarc resist --help` tells how. Repeat it to combine.",
        rich_help_panel=LIFTED,
    ),
]
Band = Annotated[
    str | None,
    typer.Option(
        "--band", metavar="LOW-HIGH", help="Target band of the start velocity, °/s.", rich_help_panel=LIFTED
    ),
]
Gate = Annotated[
    str | None,
    typer.Option(
        "--gate", metavar="LOW-HIGH", help="Start gate above the bottom, degrees.", rich_help_panel=LIFTED
    ),
]
GateFrom = Annotated[
    str | None,
    typer.Option(
        "--gate-from",
        help="Where the gate counts from: bottom of each rep, or vertical (say --gate 20-30 then) for a bottom that "
        "varies.",
        rich_help_panel=LIFTED,
    ),
]
LoadedRange = Annotated[
    str | None,
    typer.Option("--loaded-range", metavar="LOW-HIGH", help="Loaded range, degrees.", rich_help_panel=LIFTED),
]
Rest = Annotated[
    float | None,
    typer.Option(
        "--rest",
        metavar="SECONDS",
        help="A pause at the bottom this long ends a set.",
        rich_help_panel=LIFTED,
    ),
]
Mounting = Annotated[
    str | None,
    typer.Option(
        "--mounting",
        help="auto, twist, lever_arm, hanging or stated.",
        rich_help_panel=ON_THE_ARM,
        autocompletion=completion.mountings,
    ),
]
Strap = Annotated[
    str | None,
    typer.Option(
        "--strap",
        help="Where it sits on the wrist: back, inside, thumb or little-finger (its z axis points away from the "
        "skin).",
        rich_help_panel=ON_THE_ARM,
        autocompletion=completion.straps,
    ),
]
HandAxis = Annotated[
    str | None,
    typer.Option(
        "--hand-axis",
        metavar="±x|±y|±z",
        help="Sensor axis that points to the hand.",
        rich_help_panel=ON_THE_ARM,
        autocompletion=completion.hand_axes,
    ),
]
ReachCm = Annotated[
    float | None,
    typer.Option("--reach-cm", help="Measured distance shoulder to sensor.", rich_help_panel=ON_THE_ARM),
]
SensorHeightCm = Annotated[
    float | None,
    typer.Option(
        "--sensor-height-cm", help="Height of the sensor above the bone.", rich_help_panel=ON_THE_ARM
    ),
]
Reference = Annotated[
    str | None,
    typer.Option(
        "--reference",
        metavar="front-raise",
        help="The first movement is a front raise that shows where you face.",
        rich_help_panel=ON_THE_ARM,
    ),
]
Fusion = Annotated[
    str | None,
    typer.Option(
        "--fusion",
        help="smoother (default), or a textbook filter to compare: madgwick, mahony, ekf, aqua.",
        rich_help_panel=ON_THE_ARM,
        autocompletion=completion.fusions,
    ),
]
Rate = Annotated[
    float | None,
    typer.Option(
        "--rate",
        metavar="HZ",
        help="Sampling rate of a file without time stamps.",
        rich_help_panel=READING,
    ),
]
Gyroscope = Annotated[
    Path | None,
    typer.Option("--gyroscope", metavar="FILE", help="Gyroscope in a second file.", rich_help_panel=READING),
]
Columns = Annotated[
    str | None,
    typer.Option(
        "--columns",
        metavar="ROLE=NAME,…",
        help="Name columns: time, ax … gz (names or numbers).",
        rich_help_panel=READING,
    ),
]
Units = Annotated[
    str | None,
    typer.Option(
        "--units", metavar="WHAT=UNIT,…", help="Such as gyroscope=deg/s,time=ms.", rich_help_panel=READING
    ),
]
Axes = Annotated[
    str | None,
    typer.Option(
        "--axes",
        metavar="X,Y,Z",
        help="Sensor axes in the file's, such as +y,-x,+z.",
        rich_help_panel=READING,
    ),
]
GravitySign = Annotated[
    str | None,
    typer.Option(
        "--gravity-sign",
        help="reaction (at rest reads +g upward) or gravity (reads it downward).",
        rich_help_panel=READING,
    ),
]
LOGGED = "Training log"
Variant = Annotated[
    str | None, typer.Option("--variant", help="Variant, your words.", rich_help_panel=LOGGED)
]
Rir = Annotated[float | None, typer.Option("--rir", help="Reps in reserve.", rich_help_panel=LOGGED)]
Note = Annotated[str | None, typer.Option("--note", help="Free note.", rich_help_panel=LOGGED)]
Tag = Annotated[list[str] | None, typer.Option("--tag", help="Tag; repeat it.", rich_help_panel=LOGGED)]


def check_logged(*, log: bool, **labels: Any) -> None:
    """Refuse labels that would go nowhere.

    Raises
    ------
    UsageError
        Something was said about the sets that only the training log keeps, and they do not go into it.
    """
    from armarc.errors import UsageError

    said = [name for name, value in labels.items() if value not in (None, [], ())]
    if said and not log:
        raise UsageError(f"--{said[0]} is kept in the training log only", "add --log")


def stated(**words: Any) -> MeasuringOptions:
    """Options as they were typed, checked where text has to be read; ``load``, ``band``, ``gate``, ``loaded_range``
    and ``rest`` are text or numbers, the rest as `MeasuringOptions.of` takes it.

    Raises
    ------
    UsageError
        A text that cannot be read.
    """
    from armarc.options import MeasuringOptions
    from armarc.quantities import parse_load, parse_pair

    read: dict[str, tuple[str, Any]] = {
        "load": ("load_kg", parse_load),
        "band": ("band_deg_s", parse_pair),
        "gate": ("gate_deg", parse_pair),
        "loaded_range": ("loaded_range_deg", parse_pair),
        "rest": ("rest_s", float),
    }
    named = {}
    for word, value in words.items():
        if value is not None:
            name, take = read.get(word, (word, None))
            named[name] = value if take is None else take(value)
    resistance = named.get("resistance")
    if resistance:
        from armarc.load import parse_all

        parse_all(resistance)  # refuses what is none before anything is read
    named["resistance"] = tuple(resistance) if resistance else None
    return MeasuringOptions.of(named)
