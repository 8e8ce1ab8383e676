"""What a recording is measured with: options, the recording's own header, the settings file, the exercise's entry,
in this order."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from armarc.errors import UsageError
from armarc.exercises import DEFAULT_EXERCISE, GATES_FROM, SENSOR_PLACES, Band, Exercise, find_exercise
from armarc.load.lifter import REFERENCE_LIFTER, Lifter
from armarc.motion import Mounting, sensor_axis
from armarc.motion.tolerance import Tolerance
from armarc.options import OPTIONS, SIDES, MeasuringOptions
from armarc.quantities import clean_name
from armarc.recording import Metadata
from armarc.sensor.calibration.store import StoredMount
from armarc.settings import Settings

AXES = ("x", "y", "z")
WITNESSES = {
    "lever_arm": "lever arm",
    "twist": "twist",
    "hanging": "hanging pose",
    "stored": "kept mounting",
}
FAR_APART_DEG = 45.0
"""Beyond this another of the sensor's axes lies nearer to the arm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """Everything that decides how a recording is measured; angles in rad, lengths in m, loads in kg.

    ``exercise`` already carries the sensor's place, gate, band, loaded range and rest in force. ``side_said``
    tells a stated side from the right one that is assumed, ``hand_axis_said`` a hand axis stated for this recording
    from one of its header or the settings. ``resistance`` is what pulls besides or instead of the load, in words.
    ``assumed`` holds sentences about what nobody stated.
    """

    exercise: Exercise
    side: str = "right"
    side_said: bool = True
    load_kg: float | None = None
    resistance: tuple[str, ...] | None = None
    lifter: Lifter = REFERENCE_LIFTER
    fusion: str = "smoother"
    mounting: str = "auto"
    strap: str | None = None
    hand_axis: str | None = None
    hand_axis_said: bool = False
    reach_m: float | None = None
    sensor_height_m: float | None = None
    reference: str | None = None
    kept_mount: StoredMount | None = None
    tolerance: Tolerance | None = None
    assumed: tuple[str, ...] = ()

    def options(self) -> MeasuringOptions:
        """What is in force, as somebody would state it."""
        exercise, band = self.exercise, self.exercise.band
        return MeasuringOptions(
            exercise=exercise.key,
            side=self.side,
            load_kg=self.load_kg,
            resistance=self.resistance,
            lifter=self.lifter.name,
            band_rad_s=None if band is None else (band.low_rad_s, band.high_rad_s),
            band_basis=None if band is None else band.basis or None,
            gate_rad=exercise.gate_rad,
            gate_from=exercise.gate_from,
            loaded_range_rad=exercise.loaded_range_rad,
            smallest_rom_rad=exercise.smallest_rom_rad,
            swung_m=exercise.swung_m,
            dropped_share=exercise.dropped_share,
            rest_s=exercise.rest_s,
            fusion=self.fusion,
            mounting=self.mounting,
            sensor_place=exercise.sensor_place,
            strap=self.strap,
            hand_axis=self.hand_axis,
            reach_m=self.reach_m,
            sensor_height_m=self.sensor_height_m,
            reference=self.reference,
        )


def hand_axis_notes(choices: Choices, mounting: Mounting) -> tuple[str, ...]:
    """What became of a hand axis that somebody stated, where the arm's direction was taken from the recording.

    A strap sits some degrees askew, so the recording knows the arm better than a named axis does; an axis that lies
    far from what the recording shows means that one of the two is wrong.
    """
    stated = (choices.hand_axis or "").strip().lower()
    if stated.lstrip("+-") not in AXES or mounting.method not in WITNESSES:
        return ()
    along = float(mounting.arm_axis @ sensor_axis(stated))
    apart_deg = math.degrees(math.acos(max(-1.0, min(1.0, along))))
    shown = (
        f"the {WITNESSES[mounting.method]} shows the arm {apart_deg:.0f}° from the stated hand axis {stated}"
    )
    if apart_deg > FAR_APART_DEG:
        return (
            f"{shown}: one of them is wrong; the recording was believed. Correct --hand-axis (or "
            "--axes), or say --mounting stated to measure about the axis as stated",
        )
    if choices.hand_axis_said:
        return (
            f"{shown} and was used, since a strap sits askew; say --mounting stated to measure "
            "about the axis as stated",
        )
    return ()


def choose(
    metadata: Metadata,
    options: MeasuringOptions | None = None,
    *,
    settings: Settings | None = None,
    catalogue: Mapping[str, Exercise] | None = None,
) -> Choices:
    """Settle what a recording is measured with.

    Parameters
    ----------
    metadata : Metadata
        The recording's own header.
    options : MeasuringOptions or None
        What was stated for this recording.
    settings : Settings or None
        The lifter's settings file.
    catalogue : mapping or None
        Entries to choose from; None for the built-in and the user's own.

    Raises
    ------
    UsageError
        For a side, gate or name that makes no sense.
    """
    said, head = options or MeasuringOptions(), header_options(metadata)
    chosen = said.over(head).over((settings or Settings()).options)
    assumed: list[str] = []
    name = chosen.exercise
    if name is None:
        name = DEFAULT_EXERCISE
        assumed.append(f"no exercise was named: measured as {DEFAULT_EXERCISE}; name it with --exercise")
    entry = name if isinstance(name, Exercise) else find_exercise(name, catalogue)
    side = chosen.side
    if side is None:
        side = "right"
        assumed.append("the side was not stated: measured as the right arm")
    elif said.side is not None and head.side in SIDES and head.side != said.side:
        assumed.append(
            f"the recording says {head.side} arm, the option {said.side}: measured as the {said.side} arm"
        )
    if side not in SIDES:
        raise UsageError(f"{side!r} is not a side", "say right or left")
    if said.hand_axis is not None:
        sensor_axis(said.hand_axis)  # refuses what is no axis
    return Choices(
        exercise=_adjusted(entry, chosen),
        side=side,
        side_said=chosen.side is not None,
        load_kg=chosen.load_kg,
        resistance=chosen.resistance,
        fusion=chosen.fusion or OPTIONS["fusion"].default,
        mounting=chosen.mounting or OPTIONS["mounting"].default,
        strap=chosen.strap,
        hand_axis=chosen.hand_axis,
        hand_axis_said=said.hand_axis not in (None, head.hand_axis),
        reach_m=_within("the reach", chosen.reach_m, 0.15, 1.2, "m", "--reach-cm 55"),
        sensor_height_m=_within(
            "the sensor's height", chosen.sensor_height_m, -0.1, 0.15, "m", "--sensor-height-cm 2.5"
        ),
        reference=chosen.reference,
        assumed=tuple(assumed),
    )


def header_options(metadata: Metadata) -> MeasuringOptions:
    """What a recording's own header states."""
    said = metadata.other
    pulls, place = said.get("resistance"), said.get("sensor_place")
    return MeasuringOptions(
        exercise=metadata.exercise,
        side=metadata.side,
        load_kg=metadata.load_kg,
        resistance=tuple(map(str, pulls)) if isinstance(pulls, list) and pulls else None,
        lifter=header_name(said.get("lifter")),
        sensor_place=place if place in SENSOR_PLACES else None,
        strap=metadata.strap,
        hand_axis=metadata.hand_axis,
        sensor_height_m=said.get("sensor_height_m"),
        reference=said.get("reference"),
    )


def header_name(value: object) -> str | None:
    """A name that a recording's header states; None for what cannot be one, which must not stop the measuring."""
    if not isinstance(value, str):
        return None
    try:
        return clean_name(value, "name") or None
    except UsageError:
        return None


def _adjusted(entry: Exercise, chosen: MeasuringOptions) -> Exercise:
    """The exercise's entry with the sensor's place, gate, band, ranges and rest that were stated."""
    gate = chosen.gate_rad or entry.gate_rad
    if not 0 <= gate[0] < gate[1] <= math.pi / 2:
        raise UsageError(
            "a start gate needs two rising angles from 0 to 90° above the bottom", "for example --gate 10-20"
        )
    gate_from = chosen.gate_from or entry.gate_from
    if gate_from not in GATES_FROM:
        raise UsageError(f"a start gate does not count from {gate_from!r}", f"one of {', '.join(GATES_FROM)}")
    if gate_from == "vertical" and entry.coordinate != "elevation":
        raise UsageError(
            f"{entry.name} has no angle from the vertical", "leave --gate-from vertical to arm raises"
        )
    place = chosen.sensor_place or entry.sensor_place
    if place not in SENSOR_PLACES:
        raise UsageError(f"{place!r} is no place of a sensor", f"one of {', '.join(SENSOR_PLACES)}")
    loaded = chosen.loaded_range_rad or entry.loaded_range_rad
    if loaded is not None and not -math.pi <= loaded[0] < loaded[1] <= 2 * math.pi:
        raise UsageError("a loaded range needs two rising angles", "for example --loaded-range 30-60")
    smallest, rest = chosen.smallest_rom_rad, chosen.rest_s
    return replace(
        entry,
        sensor_place=place,
        gate_rad=gate,
        gate_from=gate_from,
        band=Band(*chosen.band_rad_s, chosen.band_basis or "") if chosen.band_rad_s else entry.band,
        loaded_range_rad=loaded,
        smallest_rom_rad=entry.smallest_rom_rad if smallest is None else smallest,
        swung_m=entry.swung_m if chosen.swung_m is None else chosen.swung_m,
        dropped_share=entry.dropped_share if chosen.dropped_share is None else chosen.dropped_share,
        rest_s=_within("a rest", entry.rest_s if rest is None else rest, 1, 600, "s", "--rest 10"),
    )


def _within(what: str, value: Any, low: float, high: float, unit: str, example: str) -> Any:
    """Pass on a number that makes sense, or None."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise UsageError(
            f"{what} must lie between {low:g} and {high:g} {unit}, got {value!r}", f"for example {example}"
        )
    return value
