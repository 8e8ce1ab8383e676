"""What a sensor on the chest said of a set, in a line."""

from __future__ import annotations

import math

from armarc.reps.summary import SetSummary


def trunk_line(summary: SetSummary) -> str:
    """Lean, travel and the parts of the swing; empty without a chest sensor."""
    means = summary.means
    lean, travel = means["trunk_lean_deg"], means["trunk_travel_deg"]
    if lean is None or travel is None:
        return ""
    said = f"leans {math.degrees(lean):.0f}° at the start, moves by {math.degrees(travel):.0f}° while raising"
    tipping, shifting = means["swing_tipping_cm"], means["swing_shifting_cm"]
    if tipping is not None and shifting is not None:
        said += f"; swing by tipping {100 * tipping:.1f} cm, by shifting {100 * shifting:.1f} cm"
    arm = means["elevation_to_trunk_deg"]
    return said if arm is None else f"{said}; arm against it {math.degrees(arm):.0f}° at the top"
