"""What a sensor on the chest said of a set, in a line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def trunk_line(summary: Mapping[str, Any]) -> str:
    """Lean, travel and the parts of the swing; empty without a chest sensor."""
    lean, travel = summary.get("mean_trunk_lean_deg"), summary.get("mean_trunk_travel_deg")
    if lean is None or travel is None:
        return ""
    said = f"leans {lean:.0f}° at the start, moves by {travel:.0f}° while raising"
    tipping, shifting = summary.get("mean_swing_tipping_cm"), summary.get("mean_swing_shifting_cm")
    if tipping is not None and shifting is not None:
        said += f"; swing by tipping {tipping:.1f} cm, by shifting {shifting:.1f} cm"
    arm = summary.get("mean_elevation_to_trunk_deg")
    return said if arm is None else f"{said}; arm against it {arm:.0f}° at the top"
