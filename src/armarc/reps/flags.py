"""What is to be known of a rep, as flags of its ``quality``, in words."""

from __future__ import annotations

FLAGS = {
    "gap": "samples are missing",
    "clipped": "the sensor was at the end of its range",
    "swung": "the body swung by more than the exercise's limit",
    "dropped": "less was held while lowering than the exercise's limit: the weight dropped",
    "partial": "less than 70 % of the set's median range of motion",
    "no_gate": "no start velocity: the start gate was not crossed cleanly",
    "near_edge": "the start lies within its standard error of an edge of the band: it may belong on the other side",
    "coarse": "crossed the start gate within few samples",
    "open_end": "the recording, or what followed, cuts the rep off before the arm is down again: no number of what "
    "was not seen",
    "open_start": "the recording begins inside the rep: no number of what came before",
    "perhaps_no_rep": "counted, but may be picking up, putting down or reaching at an end of the set",
    "another_exercise": "its set turns about another joint than the raises beside it, or hardly raises the arm: none "
    "of its numbers is one of the exercise",
    "stall": "came to a stop on the way up",
    "creeping": "the arm crept where a phase begins or ends, as in a hold that sinks: that instant may lie 0.25 s "
    "away and more, times and mean speeds with it",
    "overhead": "the arm may have passed the vertical overhead, behind which elevation falls again: top, range and "
    "hold are less certain",
    "bounce": "bounced out of the bottom",
    "unsteady_sensor": "the strap moved on the arm",
    "loose_strap": "the strap wobbled: smoothed below the wobble",
    "bent_elbow": "the elbow bent on the way: range and speeds were corrected for it and are less certain",
    "trunk_moved": "the trunk moved with the arm: the start is less certain",
}
"""What the flags of a rep mean; an unknown one is shown by its name."""
