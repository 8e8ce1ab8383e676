"""What the quality flags of a rep mean, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

FLAGS = {
    "gap": "samples are missing",
    "clipped": "the sensor was at the end of its range",
    "swung": "the body swung by more than the exercise's limit",
    "dropped": "less was held while lowering than the exercise's limit: the weight dropped",
    "partial": "less than 70 % of the set's median range of motion",
    "no_gate": "no start velocity: the start gate was not crossed cleanly",
    "near_edge": "the start lies within its standard error of an edge of the band: it may belong on the other side",
    "coarse": "crossed the start gate within few samples",
    "open_end": "the recording ends inside the rep",
    "open_start": "the recording begins inside the rep",
    "perhaps_no_rep": "counted, but may be picking up, putting down or reaching at an end of the set",
    "stall": "came to a stop on the way up",
    "bounce": "bounced out of the bottom",
    "unsteady_sensor": "the strap moved on the arm",
    "loose_strap": "the strap wobbled: smoothed below the wobble",
    "bent_elbow": "the elbow bent on the way: range and speeds were corrected for it and are less certain",
    "trunk_moved": "the trunk moved while the arm was raised: the start is less certain",
}
"""What the flags of a rep mean; an unknown one is shown by its name."""

_SUPERSCRIPTS = "ᵃᵇᶜᵈᵉᶠᵍʰⁱʲᵏˡᵐⁿᵒᵖʳˢᵗᵘᵛʷ"


def flag_words(flag: str) -> str:
    """Say what a flag means."""
    return FLAGS.get(flag, flag.replace("_", " "))


def flag_letters(reps: Sequence[Sequence[str]]) -> dict[str, str]:
    """Give each flag that occurs a raised letter, in order of first use."""
    seen = dict.fromkeys(flag for flags in reps for flag in flags)
    return {flag: _SUPERSCRIPTS[min(i, len(_SUPERSCRIPTS) - 1)] for i, flag in enumerate(seen)}
