"""What may be stated about how a recording is measured: every option once, in SI.

The command line, the settings file, a recording's header, the archive and the log all come to a `MeasuringOptions`.
Outside, angles are in degrees and lengths in cm, which their names say there (`EDGES`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from armarc.errors import UsageError
from armarc.exercises import Exercise
from armarc.load.lifter import Lifter
from armarc.strict_toml import suggestion

_DEG = math.pi / 180

EDGES: dict[str, tuple[str, float]] = {
    "band_rad_s": ("band_deg_s", _DEG),
    "gate_rad": ("gate_deg", _DEG),
    "loaded_range_rad": ("loaded_range_deg", _DEG),
    "smallest_rom_rad": ("smallest_rom_deg", _DEG),
    "swung_m": ("swung_cm", 0.01),
    "dropped_share": ("dropped_pct", 0.01),
    "reach_m": ("reach_cm", 0.01),
    "sensor_height_m": ("sensor_height_cm", 0.01),
}
"""Options whose unit outside is another: their name there, and what it takes to come to SI."""

_INSIDE = {outside: (name, factor) for name, (outside, factor) in EDGES.items()}

Pair = tuple[float, float]


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
    gate_rad : pair of float or None, rad
        Start gate above the bottom of the rep.
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
    strap, hand_axis : str or None
        Place of the strap and the sensor axis that points to the hand.
    reach_m, sensor_height_m : float or None, m
        Shoulder to sensor, and the sensor's height above the bone.
    reference : str or None
        ``"front-raise"``: the recording's first movement is a front raise that shows where the lifter faces.
    """

    exercise: str | Exercise | None = None
    side: str | None = None
    load_kg: float | None = None
    resistance: tuple[str, ...] | None = None
    lifter: str | Lifter | None = None
    band_rad_s: Pair | None = None
    gate_rad: Pair | None = None
    loaded_range_rad: Pair | None = None
    smallest_rom_rad: float | None = None
    swung_m: float | None = None
    dropped_share: float | None = None
    rest_s: float | None = None
    fusion: str | None = None
    mounting: str | None = None
    strap: str | None = None
    hand_axis: str | None = None
    reach_m: float | None = None
    sensor_height_m: float | None = None
    reference: str | None = None

    @classmethod
    def of(cls, named: Mapping[str, Any]) -> MeasuringOptions:
        """Options by name, with the names and units of the outside or those of the inside; None states nothing.

        Raises
        ------
        UsageError
            There is no such option, or a value that has a unit is no number.
        """
        known = {field.name for field in fields(cls)}
        out: dict[str, Any] = {}
        for word, value in named.items():
            name, factor = _INSIDE.get(word, (word, 1.0))
            if name not in known:
                raise UsageError(f"there is no option {word!r}", suggestion(word, sorted({*known, *_INSIDE})))
            if value is not None:
                out[name] = _times(value, factor, word) if word in _INSIDE else value
        return cls(**out)

    def over(self, other: MeasuringOptions) -> MeasuringOptions:
        """These where stated, else the other's."""
        return MeasuringOptions(**{**other.stated(), **self.stated()})

    def stated(self) -> dict[str, Any]:
        """What is stated, by name, SI."""
        found = ((field.name, getattr(self, field.name)) for field in fields(self))
        return {name: value for name, value in found if value is not None}

    def record(self) -> dict[str, Any]:
        """What is stated, with the names and units of the outside, JSON-ready but for an exercise of one's own."""
        out = {}
        for name, value in self.stated().items():
            outside, factor = EDGES.get(name, (name, 1.0))
            if name in EDGES:
                pair = isinstance(value, tuple)
                value = [round(v / factor, 9) for v in value] if pair else round(value / factor, 9)
            elif isinstance(value, Lifter):
                value = value.record()
            out[outside] = list(value) if isinstance(value, tuple) else value
        return out


def _times(value: Any, factor: float, word: str) -> Any:
    try:
        if isinstance(value, list | tuple):
            low, high = value
            return float(low) * factor, float(high) * factor
        return float(value) * factor
    except (TypeError, ValueError):
        raise UsageError(f"{word} is a number or two, got {value!r}") from None
