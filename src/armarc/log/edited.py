"""What was corrected about sets after they were measured and decides how they are measured: exercise and arm."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from armarc.errors import UsageError
from armarc.exercises import Exercise, exercise_record, find_exercise

_OF_THE_EXERCISE = (
    *("band_deg_s", "gate_deg", "loaded_range_deg", "smallest_rom_deg", "swung_cm", "dropped_pct", "rest_s"),
    "sensor_place",
)


def settings_as_edited(
    settings: Mapping[str, Any], exercises: Collection[str], sides: Collection[str | None]
) -> dict[str, Any]:
    """Settings of a recording with the exercise and the arm its sets have in the log.

    Where its sets differ, no settings are those of all of them, and a name that is not in the catalogue says nothing
    of how to measure: these stay as they were. What an exercise brings along (band, gate, loaded range)
    goes with it, unless another value was stated; a lifter's own band is of one exercise.
    """
    out = dict(settings)
    (side, *other_sides) = set(sides) or {None}
    if side in ("left", "right") and not other_sides:
        out["side"] = side
    (name, *other_names) = set(exercises) or {""}
    was, now = _of_catalogue(settings.get("exercise")), _of_catalogue(name)
    if was is None or now is None or other_names or was.key == now.key:
        return out
    usual = exercise_record(was)
    for key in _OF_THE_EXERCISE:
        if out.get(key) == usual[key]:
            out.pop(key, None)
    if out.pop("band_basis", None) is not None:
        out.pop("band_deg_s", None)
    return out | {"exercise": now.key}


def _of_catalogue(name: object) -> Exercise | None:
    try:
        return find_exercise(str(name))
    except UsageError:
        return None
