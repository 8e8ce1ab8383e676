"""Words for pictures and tables: trade terms, how a set was measured, the caution."""

from __future__ import annotations

import math
from collections.abc import Collection

from armarc.errors import ArmarcError
from armarc.exercises import Exercise, find_exercise, load_catalogue
from armarc.motion import ArmMotion
from armarc.quantities import counted
from armarc.reps.types import MeasuredSet

HEIGHT_CAUTION = (
    "If a movement hurts, high up, with the little finger up or anywhere, stop, lower the range, move forward of the "
    "side, turn the thumb up, or change exercise; if it stays, see a licensed practitioner. `armarc exercises KEY` "
    "has the caution of each exercise."
)
"""For several exercises together, where each one's own caution would be too many."""

CAUTION = (
    "Training log and measurement aid, not a medical device. Stop at pain, numbness, instability or "
    "dizziness and see a licensed practitioner. Never chase the number."
)

COORDINATES = {
    "elevation": "Elevation of the arm",
    "horizontal": "Horizontal angle of the arm",
    "movement": "Movement angle",
}

MOUNTINGS = {
    "twist": "a twist of the forearm",
    "lever_arm": "the set itself",
    "hanging": "the hanging arm",
    "stated": "what was stated",
}


def cautions_for(exercises: Collection[str]) -> list[str]:
    """What belongs under numbers of height, hand rotation, moments and loads: of up to two exercises their own."""
    catalogue = load_catalogue()
    own = [catalogue[name].caution for name in sorted(exercises) if name in catalogue]
    return list(dict.fromkeys([*(own if own and len(exercises) <= 2 else [HEIGHT_CAUTION]), CAUTION]))


def exercise_of(measured: MeasuredSet) -> Exercise:
    """The catalogue's entry of a measured set, or one made up from what the set says."""
    try:
        return find_exercise(measured.exercise)
    except ArmarcError:
        return Exercise(key="unknown", name=measured.exercise, band=measured.band)


def measured_how(motion: ArmMotion, place: str = "wrist") -> str:
    """Say in one line how the angles were made and how sure they are."""
    mounting = motion.mounting
    direction = MOUNTINGS.get(mounting.method, mounting.method.replace("_", " "))
    sure = (
        f" ±{math.degrees(mounting.uncertainty_rad):.1f}°" if math.isfinite(mounting.uncertainty_rad) else ""
    )
    fusion = f"orientation by {motion.orientation.method}"
    tilt = motion.orientation.tilt_se_rad
    if math.isfinite(tilt):
        fusion += f", tilt\u00a0±{math.degrees(tilt):.1f}°"
    return f"Measured on the {place} at {motion.rate_hz:.0f} Hz; arm line from {direction}{sure}; {fusion}."


def set_facts(measured: MeasuredSet) -> str:
    """Side, load, reps and duration in one line."""
    facts = [f"{measured.side} arm"] if measured.side else []
    if measured.load_kg is not None:
        facts.append(f"{measured.load_kg:g} kg" if measured.load_kg < 10 else f"{measured.load_kg:.4g} kg")
    facts.append(counted(len(measured.reps), "rep"))
    facts.append(f"{measured.end_s - measured.start_s:.0f} s")
    return "  ·  ".join(facts)
