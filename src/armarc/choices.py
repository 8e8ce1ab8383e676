"""What a recording is measured with: options, the recording's own header, the settings file, the exercise's entry,
in this order."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from armarc.errors import UsageError
from armarc.exercises import DEFAULT_EXERCISE, Band, Exercise, find_exercise
from armarc.motion import Mounting, sensor_axis
from armarc.motion.tolerance import Tolerance
from armarc.recording import Metadata
from armarc.sensor.calibration.mounts import StoredMount
from armarc.settings import Settings

SIDES = ("right", "left")
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

    ``exercise`` already carries the gate, band, loaded range and rest in force. ``hand_axis_said`` tells a hand axis
    stated for this recording from one of a header or the settings. ``assumed`` holds sentences about
    what nobody stated.
    """

    exercise: Exercise
    side: str = "right"
    load_kg: float | None = None
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
    settings: Settings | None = None,
    *,
    exercise: str | Exercise | None = None,
    side: str | None = None,
    band_rad_s: tuple[float, float] | None = None,
    gate_rad: tuple[float, float] | None = None,
    loaded_range_rad: tuple[float, float] | None = None,
    rest_s: float | None = None,
    load_kg: float | None = None,
    fusion: str | None = None,
    mounting: str | None = None,
    strap: str | None = None,
    hand_axis: str | None = None,
    reach_m: float | None = None,
    sensor_height_m: float | None = None,
    reference: str | None = None,
    kept_mount: StoredMount | None = None,
    tolerance: Tolerance | None = None,
    catalogue: Mapping[str, Exercise] | None = None,
) -> Choices:
    """Settle what a recording is measured with.

    Parameters
    ----------
    metadata : Metadata
        The recording's own header.
    settings : Settings or None
        The lifter's settings file.
    exercise : str or Exercise or None
        Catalogue name, or an entry of the caller's own.
    band_rad_s, gate_rad, loaded_range_rad : pair of float or None
    reference : str or None
        ``"front-raise"``: the first movement of the recording is a front raise that shows where the lifter faces.
    kept_mount : StoredMount or None
        From ``armarc sensor mount``.
    tolerance : Tolerance or None
        Scale errors of a calibrated sensor; None tells them by the recording's noise.
    catalogue : mapping or None
        Entries to choose from; None for the built-in and the user's own.

    Raises
    ------
    UsageError
        For a side, gate or name that makes no sense.
    """
    saved = settings or Settings()
    assumed: list[str] = []

    def first(*values: Any) -> Any:
        return next((value for value in values if value is not None), None)

    name = first(exercise, metadata.exercise, saved.exercise)
    if name is None:
        name = DEFAULT_EXERCISE
        assumed.append(f"no exercise was named: measured as {DEFAULT_EXERCISE}; name it with --exercise")
    entry = name if isinstance(name, Exercise) else find_exercise(name, catalogue)
    gate = first(gate_rad, saved.gate_rad, entry.gate_rad)
    if not 0 <= gate[0] < gate[1] <= math.pi / 2:
        raise UsageError(
            "a start gate needs two rising angles from 0 to 90° above the bottom", "for example --gate 10-20"
        )
    loaded = first(loaded_range_rad, saved.loaded_range_rad, entry.loaded_range_rad)
    if loaded is not None and not -math.pi <= loaded[0] < loaded[1] <= 2 * math.pi:
        raise UsageError("a loaded range needs two rising angles", "for example --loaded-range 30-60")
    band = first(band_rad_s and Band(*band_rad_s), saved.band, entry.band)
    entry = replace(
        entry,
        gate_rad=gate,
        band=band,
        loaded_range_rad=loaded,
        smallest_rom_rad=first(saved.smallest_rom_rad, entry.smallest_rom_rad),
        swung_m=first(saved.swung_m, entry.swung_m),
        dropped_share=first(saved.dropped_share, entry.dropped_share),
        rest_s=_within("a rest", first(rest_s, saved.rest_s, entry.rest_s), 1, 600, "s", "--rest 10"),
    )
    if hand_axis is not None:
        sensor_axis(hand_axis)  # refuses what is no axis
    reach = first(reach_m, saved.reach_m)
    height = first(sensor_height_m, metadata.other.get("sensor_height_m"), saved.sensor_height_m)
    chosen_side = first(side, metadata.side, saved.side)
    if chosen_side is None:
        chosen_side = "right"
        assumed.append("the side was not stated: measured as the right arm")
    elif side is not None and metadata.side in SIDES and metadata.side != side:
        assumed.append(
            f"the recording says {metadata.side} arm, the option {side}: measured as the {side} arm"
        )
    if chosen_side not in SIDES:
        raise UsageError(f"{chosen_side!r} is not a side", "say right or left")
    return Choices(
        exercise=entry,
        side=chosen_side,
        load_kg=first(load_kg, metadata.load_kg, saved.load_kg),
        fusion=first(fusion, saved.fusion, "smoother"),
        mounting=first(mounting, saved.mounting, "auto"),
        strap=first(strap, metadata.strap, saved.strap),
        hand_axis=first(hand_axis, metadata.hand_axis, saved.hand_axis),
        hand_axis_said=hand_axis is not None,
        reach_m=_within("the reach", reach, 0.15, 1.2, "m", "--reach-cm 55"),
        sensor_height_m=_within("the sensor's height", height, -0.1, 0.15, "m", "--sensor-height-cm 2.5"),
        reference=first(reference, metadata.other.get("reference")),
        kept_mount=kept_mount,
        tolerance=tolerance,
        assumed=tuple(assumed),
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
