"""Exercises as plain records in degrees, for JSON and tables; and a file to start an own entry from."""

from __future__ import annotations

import math
from typing import Any

from armarc.exercises.types import Exercise

_PLACES = {
    "wrist": "on the wrist like a watch, snug enough that it does not turn",
    "upper arm": "on the outside of the upper arm just above the elbow, because the elbow bends in this lift",
}
_COORDINATES = {
    "elevation": "elevation of the arm: 0° hanging, 90° level",
    "horizontal": "horizontal angle about the vertical axis; if the movement turns about another axis, "
    "the angle about that one",
    "movement": "angle of the movement about its own main axis",
}

TEMPLATE = """\
# Own exercises for armarc. Save under any name ending in .toml in the folder that
# `armarc exercises --folder` prints.
# One table per exercise, as many as you like. A key armarc already knows changes only what you write here.

[my-cable-raise]                       # the key you type: small letters, digits, hyphens
name = "Lateral raise, my cable"       # what tables and pictures show
based_on = "cable-lateral-raise"       # start from this entry; leave out to start from nothing
# aliases = ["blue cable raise"]       # other names you may type
# sensor_place = "wrist"               # "wrist" or "upper arm" (bent-elbow lifts)
# coordinate = "elevation"             # the angle that counts: "elevation", "horizontal" or "movement"
# gate_deg = [10, 20]                  # start gate: rise above the bottom of the rep, degrees
# band_deg_s = [45, 70]                # target band of the start velocity, °/s, or "none"
# loaded_range_deg = [30, 60]          # where the load should meet the muscle, degrees, or "none"
# smallest_rom_deg = 30                # anything smaller is not a rep, degrees
# swung_cm = 3                         # more body swing than this is flagged (our own working limit)
# dropped_pct = 50                     # less of the static moment held while lowering is flagged (the same)
# plane_deg = 0                        # plane the raise is meant in: 0 to the side, 90 forward, or "none"
# rest_s = 10                          # a pause at the bottom this long ends the set, seconds
# resistance = "cable"                 # "dumbbell", "cable", "machine", "band" or "any"
# caution = "..."                      # shown with the exercise
# note = "..."                         # what your numbers rest on
"""
"""Commented TOML to start an own entry from."""


def sensor_advice(exercise: Exercise) -> str:
    """Say where the sensor goes."""
    return _PLACES[exercise.sensor_place]


def coordinate_meaning(exercise: Exercise) -> str:
    """Say which angle counts."""
    return _COORDINATES[exercise.coordinate]


def exercise_record(exercise: Exercise) -> dict[str, Any]:
    """One entry in degrees, with the keys of a catalogue file."""
    band = exercise.band
    return {
        "key": exercise.key,
        "name": exercise.name,
        "aliases": list(exercise.aliases),
        "sensor_place": exercise.sensor_place,
        "coordinate": exercise.coordinate,
        "gate_deg": _degrees(exercise.gate_rad),
        "band_deg_s": _degrees((band.low_rad_s, band.high_rad_s)) if band else None,
        "loaded_range_deg": _degrees(exercise.loaded_range_rad) if exercise.loaded_range_rad else None,
        "smallest_rom_deg": round(math.degrees(exercise.smallest_rom_rad), 6),
        "swung_cm": round(100 * exercise.swung_m, 6),
        "dropped_pct": round(100 * exercise.dropped_share, 6),
        "plane_deg": None if exercise.plane_rad is None else round(math.degrees(exercise.plane_rad), 6),
        "rest_s": exercise.rest_s,
        "resistance": exercise.resistance,
        "note": exercise.note,
        "caution": exercise.caution,
        "source": exercise.source,
    }


def _degrees(pair: tuple[float, float]) -> list[float]:
    return [round(math.degrees(value), 6) for value in pair]
