"""Words for pictures and tables: trade terms, flags, how a set was measured, the caution."""

from __future__ import annotations

import math

from armarc.errors import ArmarcError
from armarc.exercises import Exercise, find_exercise
from armarc.motion import ArmMotion
from armarc.reps.types import MeasuredSet

CAUTION = (
    "Training log and measurement aid, not a medical device. Stop at pain, numbness, instability or "
    "dizziness and see a licensed practitioner. Never chase the number."
)

FLAGS = {
    "gap": "samples are missing",
    "clipped": "the sensor was at the end of its range",
    "partial": "less than 70 % of the set's median range of motion",
    "no_gate": "no start velocity: the start gate was not crossed cleanly",
    "coarse": "crossed the start gate within few samples",
    "open_end": "the recording ends inside the rep",
    "stall": "came to a stop on the way up",
    "bounce": "bounced out of the bottom",
    "unsteady_sensor": "the strap moved on the arm",
}
"""What the flags of a rep mean; an unknown one is shown by its name."""

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


_SUPERSCRIPTS = "ᵃᵇᶜᵈᵉᶠᵍʰⁱʲᵏˡᵐⁿᵒᵖʳˢᵗᵘᵛʷ"


def flag_words(flag: str) -> str:
    """Say what a flag means."""
    return FLAGS.get(flag, flag.replace("_", " "))


def flag_letters(reps: list[tuple[str, ...]]) -> dict[str, str]:
    """Give each flag that occurs a raised letter, in order of first use."""
    seen = dict.fromkeys(flag for flags in reps for flag in flags)
    return {flag: _SUPERSCRIPTS[min(i, len(_SUPERSCRIPTS) - 1)] for i, flag in enumerate(seen)}


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
        fusion += f", tilt ±{math.degrees(tilt):.1f}°"
    return f"Measured on the {place} at {motion.rate_hz:.0f} Hz; arm line from {direction}{sure}; {fusion}."


def counted(n: int, word: str) -> str:
    """``1 rep``, ``12 reps``."""
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def set_facts(measured: MeasuredSet) -> str:
    """Side, load, reps and duration in one line."""
    facts = [f"{measured.side} arm"] if measured.side else []
    if measured.load_kg is not None:
        facts.append(f"{measured.load_kg:g} kg" if measured.load_kg < 10 else f"{measured.load_kg:.4g} kg")
    facts.append(counted(len(measured.reps), "rep"))
    facts.append(f"{measured.end_s - measured.start_s:.0f} s")
    return "  ·  ".join(facts)
