"""Options that say how a recording is read and measured; shared by the commands that measure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from armarc.cli import completion
from armarc.cli.option_rows import OptionRow

if TYPE_CHECKING:
    from armarc.options import MeasuringOptions

LIFTED, ON_THE_ARM, READ, LOGGED = "What was lifted", "Sensor on the arm", "Reading the file", "Training log"


def _row(name: str, panel: str, text: str, kind: Any = str, **more: Any) -> OptionRow:
    return OptionRow(name=name, panel=panel, help=text, kind=kind, **more)


MEASURING = (
    _row("exercise", LIFTED, "See `armarc exercises`.", short="-e", complete=completion.exercise_keys),
    _row("side", LIFTED, "right or left arm.", complete=completion.sides),
    _row("load", LIFTED, "Load in the hand, such as 8kg or 17.5lb."),
    _row("lifter", LIFTED, "Who lifted; see `armarc lifter`.", metavar="NAME", complete=completion.lifters),
    _row(
        "resistance",
        LIFTED,
        "What resists, for shoulder moments: 'cable:20kg,pulley=-0.6/-0.9/0', 'band:…', 'machine:…' or a "
        ".toml; `armarc resist --help` tells how. Repeat it to combine.",
        list[str],
        metavar="SPEC",
    ),
    _row("band", LIFTED, "Target band of the start velocity, °/s.", metavar="LOW-HIGH"),
    _row("gate", LIFTED, "Start gate above the bottom, degrees.", metavar="LOW-HIGH"),
    _row(
        "gate_from",
        LIFTED,
        "Where the gate counts from: bottom of each rep, or vertical (say --gate 20-30 then) for a bottom that "
        "varies.",
    ),
    _row("loaded_range", LIFTED, "Loaded range, degrees.", metavar="LOW-HIGH"),
    _row("rest", LIFTED, "A pause at the bottom this long ends a set.", float, metavar="SECONDS"),
    _row("mounting", ON_THE_ARM, "auto, twist, lever_arm, hanging or stated.", complete=completion.mountings),
    _row(
        "strap",
        ON_THE_ARM,
        "Where it sits on the wrist: back, inside, thumb or little-finger (its z axis points away from the skin).",
        complete=completion.straps,
    ),
    _row(
        "hand_axis",
        ON_THE_ARM,
        "Sensor axis that points to the hand.",
        metavar="±x|±y|±z",
        complete=completion.hand_axes,
    ),
    _row("reach_cm", ON_THE_ARM, "Measured distance shoulder to sensor.", float),
    _row("sensor_height_cm", ON_THE_ARM, "Height of the sensor above the bone.", float),
    _row(
        "reference",
        ON_THE_ARM,
        "The first movement is a front raise that shows where you face.",
        metavar="front-raise",
    ),
    _row(
        "fusion",
        ON_THE_ARM,
        "smoother (default), or a textbook filter to compare: madgwick, mahony, ekf, aqua.",
        complete=completion.fusions,
    ),
)
"""What `armarc.options.MeasuringOptions` takes; `stated` reads it."""

READING = (
    _row("rate", READ, "Sampling rate of a file without time stamps.", float, metavar="HZ"),
    _row("gyroscope", READ, "Gyroscope in a second file.", Path, metavar="FILE"),
    _row("columns", READ, "Name columns: time, ax … gz (names or numbers).", metavar="ROLE=NAME,…"),
    _row("units", READ, "Such as gyroscope=deg/s,time=ms.", metavar="WHAT=UNIT,…"),
    _row("axes", READ, "Sensor axes in the file's, such as +y,-x,+z.", metavar="X,Y,Z"),
    _row("gravity_sign", READ, "reaction (at rest reads +g upward) or gravity (reads it downward)."),
)
"""How a file is to be read; `reading` takes it."""

LABELS = (
    _row("variant", LOGGED, "Variant, your words."),
    _row("rir", LOGGED, "Reps in reserve.", float),
    _row("rpe", LOGGED, "Perceived exertion, 0 to 10.", float),
    _row("note", LOGGED, "Free note."),
    _row("tag", LOGGED, "Tag; repeat it.", list[str]),
)
"""What is said about the sets of a recording, for the training log."""


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


def reading(**words: Any) -> dict[str, Any]:
    """Options of `armarc.read_csv` by their names there."""
    named = {"rate": "rate_hz", "gyroscope": "gyroscope_path"}
    return {named.get(word, word): value for word, value in words.items()}


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
