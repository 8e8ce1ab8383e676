"""What may be stated about how a recording is measured: every option once, in SI.

The command line, the settings file, a recording's header, the archive and the log all come to a `MeasuringOptions`.
Outside, angles are in degrees and lengths in cm, which their names say there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from armarc.errors import UsageError
from armarc.exercises import GATES_FROM, SENSOR_PLACES, Exercise
from armarc.load.lifter import Lifter
from armarc.quantities import HEAVIEST_LOAD_KG
from armarc.strict_toml import Check, number, one_of, rising_pair, suggestion, text

SIDES = ("right", "left")
MOUNTINGS = ("auto", "twist", "lever_arm", "hanging")
STRAPS = ("back", "inside", "thumb", "little-finger")
FUSIONS = ("smoother", "madgwick", "mahony", "ekf", "aqua")
HAND_AXES = ("+x", "-x", "+y", "-y", "+z", "-z")

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """An option beside its name and type inside.

    Parameters
    ----------
    outside : str
        Its name outside, which says the unit there.
    factor : float
        What it takes to come from there to SI.
    check : callable or None
        What a value in the settings file must be; None for what does not belong there.
    words : tuple of str
        The words it may be, where it is one of a few.
    default : object
        What is taken when neither anybody nor the exercise says anything.
    """

    outside: str
    factor: float = 1.0
    check: Check | None = None
    words: tuple[str, ...] = ()
    default: Any = None


def _as(
    outside: str,
    check: Check | None = None,
    factor: float = 1.0,
    words: tuple[str, ...] = (),
    default: Any = None,
) -> dict[str, Option]:
    return {"option": Option(outside=outside, factor=factor, check=check, words=words, default=default)}


_DEG, _CM = math.pi / 180, 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuringOptions:
    """How a recording is to be measured; None where nothing is stated.

    Parameters
    ----------
    exercise : str or Exercise or None
        Catalogue name (``armarc exercises``), or an entry of the caller's own.
    side : str or None
        ``"right"`` or ``"left"``.
    load_kg : float or None, kg
    resistance : tuple of str or None
        What resists, as ``armarc resist`` takes it; None takes the load as a dumbbell where the exercise is lifted
        with one.
    lifter : str or Lifter or None
        Whose body the shoulder's moment is for: a name of `armarc.load.Lifters`, or the body itself.
    band_rad_s : pair of float or None, rad/s
        Target band of the start velocity.
    band_basis : str or None
        What an own band rests on, as ``armarc band`` kept it; None for a working band.
    gate_rad : pair of float or None, rad
        Start gate above the bottom of the rep.
    gate_from : str or None
        ``"bottom"``, or ``"vertical"`` for a gate counted from straight down.
    loaded_range_rad : pair of float or None, rad
    smallest_rom_rad : float or None, rad
        What is smaller is no rep.
    swung_m : float or None, m
        A rep whose body swing is more is flagged ``swung``.
    dropped_share : float or None
        A rep that holds less of the static moment while lowering is flagged ``dropped``.
    rest_s : float or None, s
        A pause at the bottom this long ends a set.
    fusion : str or None
        One of ``armarc.motion.FUSION_METHODS``.
    mounting : str or None
        ``"auto"``, ``"twist"``, ``"lever_arm"``, ``"hanging"`` or ``"stated"``.
    sensor_place : str or None
        ``"wrist"`` or ``"upper arm"``, where it sits elsewhere than the exercise's entry wants it.
    strap, hand_axis : str or None
        Place of the strap and the sensor axis that points to the hand.
    reach_m, sensor_height_m : float or None, m
        Shoulder to sensor, and the sensor's height above the bone.
    reference : str or None
        ``"front-raise"``: the recording's first movement is a front raise that shows where the lifter faces.

    Examples
    --------
    >>> import armarc
    >>> options = armarc.MeasuringOptions.of({"band_deg_s": (45, 70), "reach_cm": 55})
    >>> round(options.reach_m, 3), round(options.band_rad_s[0], 3)
    (0.55, 0.785)
    """

    exercise: str | Exercise | None = field(default=None, metadata=_as("exercise", text(longest=80)))
    side: str | None = field(default=None, metadata=_as("side", one_of(SIDES), words=SIDES))
    load_kg: float | None = field(default=None, metadata=_as("load_kg", number(0, HEAVIEST_LOAD_KG, "kg")))
    resistance: tuple[str, ...] | None = field(default=None, metadata=_as("resistance"))
    lifter: str | Lifter | None = field(default=None, metadata=_as("lifter"))
    band_rad_s: Pair | None = field(
        default=None, metadata=_as("band_deg_s", rising_pair(0, 1000, "°/s", "[45, 70]"), _DEG)
    )
    band_basis: str | None = field(default=None, metadata=_as("band_basis"))
    gate_rad: Pair | None = field(
        default=None, metadata=_as("gate_deg", rising_pair(0, 90, "degrees", "[10, 20]"), _DEG)
    )
    gate_from: str | None = field(default=None, metadata=_as("gate_from", words=GATES_FROM))
    loaded_range_rad: Pair | None = field(
        default=None, metadata=_as("loaded_range_deg", rising_pair(-180, 360, "degrees", "[30, 60]"), _DEG)
    )
    smallest_rom_rad: float | None = field(
        default=None, metadata=_as("smallest_rom_deg", number(5, 180, "degrees"), _DEG)
    )
    swung_m: float | None = field(default=None, metadata=_as("swung_cm", number(0, 30, "cm"), _CM))
    dropped_share: float | None = field(
        default=None, metadata=_as("dropped_pct", number(-300, 100, "%"), 0.01)
    )
    rest_s: float | None = field(default=None, metadata=_as("rest_s", number(1, 600, "seconds")))
    fusion: str | None = field(
        default=None, metadata=_as("fusion", one_of(FUSIONS), words=FUSIONS, default="smoother")
    )
    mounting: str | None = field(
        default=None,
        metadata=_as("mounting", one_of(MOUNTINGS), words=(*MOUNTINGS, "stated"), default="auto"),
    )
    sensor_place: str | None = field(
        default=None, metadata=_as("sensor_place", one_of(SENSOR_PLACES), words=SENSOR_PLACES)
    )
    strap: str | None = field(default=None, metadata=_as("strap", one_of(STRAPS), words=STRAPS))
    hand_axis: str | None = field(default=None, metadata=_as("hand_axis", one_of(HAND_AXES), words=HAND_AXES))
    reach_m: float | None = field(default=None, metadata=_as("reach_cm", number(15, 120, "cm"), _CM))
    sensor_height_m: float | None = field(
        default=None, metadata=_as("sensor_height_cm", number(0, 15, "cm"), _CM)
    )
    reference: str | None = field(default=None, metadata=_as("reference", words=("front-raise",)))

    @classmethod
    def of(cls, named: Mapping[str, object]) -> MeasuringOptions:
        """Options by name, with the names and units of the outside or those of the inside; None states nothing.

        Raises
        ------
        UsageError
            There is no such option, or a value that has a unit is no number.
        """
        out: dict[str, Any] = {}
        for word, value in named.items():
            name = _INSIDE.get(word)
            if name is None:
                known = sorted({option.outside for option in OPTIONS.values()})
                raise UsageError(f"there is no option {word!r}", suggestion(word, known))
            if value is not None:
                factor = 1.0 if word in OPTIONS else OPTIONS[name].factor
                out[name] = _inside(value, factor, word)
                if _KINDS[name] == "Pair | None" and not isinstance(out[name], tuple):
                    raise UsageError(f"{word} is two numbers, got {value!r}")
        return cls(**out)

    @classmethod
    def of_record(cls, record: Mapping[str, object]) -> MeasuringOptions:
        """The options among the settings of a result; what else is there is left aside."""
        outside = {option.outside for option in OPTIONS.values()}
        return cls.of({key: value for key, value in record.items() if key in outside})

    def over(self, other: MeasuringOptions) -> MeasuringOptions:
        """These where stated, else the other's."""
        return MeasuringOptions(**{**other.stated(), **self.stated()})

    def stated(self) -> dict[str, Any]:
        """What is stated, by name, SI."""
        found = ((name, getattr(self, name)) for name in OPTIONS)
        return {name: value for name, value in found if value is not None}

    def record(self) -> dict[str, Any]:
        """What is stated, with the names and units of the outside, JSON-ready but for an exercise of one's own."""
        return {
            OPTIONS[name].outside: _outside(value, OPTIONS[name].factor)
            for name, value in self.stated().items()
        }


OPTIONS: dict[str, Option] = {one.name: one.metadata["option"] for one in fields(MeasuringOptions)}
"""Every option by its name inside."""

_KINDS = {one.name: str(one.type) for one in fields(MeasuringOptions)}
_INSIDE = {name: name for name in OPTIONS} | {option.outside: name for name, option in OPTIONS.items()}


def _inside(value: Any, factor: float, word: str) -> Any:
    if hasattr(value, "tolist"):  # NumPy's
        value = value.tolist()
    if isinstance(value, list | tuple) and _KINDS[_INSIDE[word]] != "float | None":
        items = tuple(_inside(one, factor, word) for one in value)
        if factor != 1.0 and len(items) != 2:
            raise UsageError(f"{word} is a number or two, got {value!r}")
        return items
    if factor == 1.0:
        return _fitting(value, word)
    try:
        return float(value) * factor
    except (TypeError, ValueError):
        raise UsageError(f"{word} is a number or two, got {value!r}") from None


def _fitting(value: Any, word: str) -> Any:
    """A value without a unit to turn, if it is of the option's kind: a number, or a word."""
    kind = _KINDS[_INSIDE[word]]
    if kind == "float | None":
        try:
            return float(value)
        except (TypeError, ValueError):
            raise UsageError(f"{word} is a number, got {value!r}") from None
    if kind.startswith("str") and isinstance(value, int | float):
        raise UsageError(f"{word} is a word, got {value!r}")
    return value


def _outside(value: Any, factor: float) -> Any:
    if isinstance(value, tuple):
        return [_outside(one, factor) for one in value]
    if isinstance(value, Lifter):
        return value.name
    return value if factor == 1.0 else round(value / factor, 6)
