"""Options that say how a recording is read and measured, and what the shell offers for them."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armarc.cli.option_rows import OptionRow

if TYPE_CHECKING:
    from armarc.options import MeasuringOptions


def sides(incomplete: str) -> list[str]:
    """The two arms."""
    return _starting(incomplete, ("right", "left"))


def exercise_keys(incomplete: str) -> list[str]:
    """Keys of the catalogue, own entries among them."""
    from armarc.errors import ArmarcError
    from armarc.exercises import load_catalogue

    try:
        return _starting(incomplete, load_catalogue())
    except ArmarcError:
        return []


def mountings(incomplete: str) -> list[str]:
    """Ways to tell how the arm lies in the sensor."""
    from armarc.options import MOUNTINGS

    return _starting(incomplete, (*MOUNTINGS, "stated"))


def places(incomplete: str) -> list[str]:
    """Where on the arm a sensor may sit."""
    from armarc.exercises import SENSOR_PLACES

    return _starting(incomplete, (one.replace(" ", "-") for one in SENSOR_PLACES))


def straps(incomplete: str) -> list[str]:
    """Places on the wrist."""
    from armarc.options import STRAPS

    return _starting(incomplete, STRAPS)


def hand_axes(incomplete: str) -> list[str]:
    """Sensor axes that may point to the hand."""
    from armarc.options import HAND_AXES

    return _starting(incomplete, HAND_AXES)


def fusions(incomplete: str) -> list[str]:
    """The smoother and the textbook filters."""
    from armarc.options import FUSIONS

    return _starting(incomplete, FUSIONS)


def logged_measures(incomplete: str) -> list[str]:
    """Measures a trend can be drawn of, and its two other words."""
    from armarc.log.measures import MEASURES

    return _starting(incomplete, (*(one.key for one in MEASURES), "weeks", "bests"))


def lifters(incomplete: str) -> list[str]:
    """Names in the usual log; none where there is no log or it cannot be read."""
    from armarc.errors import ArmarcError
    from armarc.log.reading import list_lifters
    from armarc.log.store import open_log

    try:
        with open_log(create=False) as store:
            return _starting(incomplete, list_lifters(store))
    except ArmarcError:
        return []


def _starting(incomplete: str, values: Iterable[str]) -> list[str]:
    return [value for value in values if value.casefold().startswith(incomplete.casefold())]


LIFTED, ON_THE_ARM, READ, LOGGED = "What was lifted", "Sensor on the arm", "Reading the file", "Training log"


def _row(name: str, panel: str, text: str, kind: Any = str, **more: Any) -> OptionRow:
    return OptionRow(name=name, panel=panel, help=text, kind=kind, **more)


MEASURING = (
    _row("exercise", LIFTED, "See `armarc exercises`.", short="-e", complete=exercise_keys),
    _row("side", LIFTED, "right or left arm.", complete=sides),
    _row("load", LIFTED, "Load in the hand, such as 8kg or 17.5lb."),
    _row("lifter", LIFTED, "Who lifted; see `armarc lifter`.", metavar="NAME", complete=lifters),
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
    _row(
        "sensor_place",
        ON_THE_ARM,
        "wrist or upper-arm (just above the elbow), where it is not worn as the exercise says.",
        complete=places,
    ),
    _row("mounting", ON_THE_ARM, "auto, twist, lever_arm, hanging or stated.", complete=mountings),
    _row(
        "strap",
        ON_THE_ARM,
        "Where it sits on the wrist: back, inside, thumb or little-finger (its z axis points away from the skin).",
        complete=straps,
    ),
    _row(
        "hand_axis",
        ON_THE_ARM,
        "Sensor axis that points to the hand.",
        metavar="±x|±y|±z",
        complete=hand_axes,
    ),
    _row(
        "reach_cm",
        ON_THE_ARM,
        "Measured distance shoulder to sensor as the arm hangs; it shows how far the elbow bends.",
        float,
    ),
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
        complete=fusions,
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


def check_logged(*, log: bool, **labels: object) -> None:
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


def reading(**words: object) -> dict[str, object]:
    """Options of `armarc.read_csv` by their names there."""
    named = {"rate": "rate_hz", "gyroscope": "gyroscope_path"}
    return {named.get(word, word): value for word, value in words.items()}


def _place(word: str) -> str:
    """Where on the arm, as `armarc.exercises.SENSOR_PLACES` says it."""
    from armarc.errors import UsageError
    from armarc.exercises import SENSOR_PLACES

    place = word.strip().casefold().replace("-", " ")
    if place not in SENSOR_PLACES:
        known = ", ".join(one.replace(" ", "-") for one in SENSOR_PLACES)
        raise UsageError(f"{word!r} is no place of a sensor", f"one of {known}")
    return place


def stated(**words: Any) -> MeasuringOptions:
    """Options as they were typed, checked where text has to be read; ``load``, ``band``, ``gate``, ``loaded_range``,
    ``rest`` and ``sensor_place`` are as typed, the rest as `MeasuringOptions.of` takes it.

    Raises
    ------
    UsageError
        A text that cannot be read.
    """
    from armarc.options import MeasuringOptions
    from armarc.quantities import parse_load, parse_pair

    read: dict[str, tuple[str, Any]] = {
        "load": ("load_kg", parse_load),
        "band": ("band_deg_s", partial(parse_pair, of="--band")),
        "gate": ("gate_deg", partial(parse_pair, of="--gate", example="10-20")),
        "loaded_range": ("loaded_range_deg", partial(parse_pair, of="--loaded-range", example="30-60")),
        "rest": ("rest_s", float),
        "sensor_place": ("sensor_place", _place),
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
