"""What a set comes to: sums, means, spread, losses, tempo."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

AVERAGED = (
    "bottom_deg",
    "top_deg",
    "rom_deg",
    "concentric_s",
    "hold_s",
    "eccentric_s",
    "pause_s",
    "time_under_tension_s",
    "start_velocity_deg_s",
    "mean_concentric_deg_s",
    "mean_eccentric_deg_s",
    "peak_concentric_deg_s",
    "peak_eccentric_deg_s",
    "peak_concentric_at_deg",
    "loaded_range_s",
    "hand_rotation_deg",
    "hand_rotation_change_deg",
    "smoothness_sparc",
    "body_swing_cm",
)
"""Measures a set gives a mean and a coefficient of variation of; the plane is averaged as a direction."""
WITHOUT_CV = frozenset(
    {
        "bottom_deg",
        "hand_rotation_deg",
        "hand_rotation_change_deg",
        "peak_concentric_at_deg",
        "pause_s",
        "hold_s",
        "body_swing_cm",
    }
)
"""Their zero is arbitrary or they are often near zero, so a coefficient of variation would say nothing."""

CUT = frozenset({"open_start", "open_end"})
"""Flags of reps the recording holds only in part: they count and add up, but spoil no mean and no loss."""


def summarise(
    reps: Sequence[Mapping[str, Any]], start_s: float, end_s: float, has_band: bool
) -> dict[str, Any]:
    """Sum up a set from its rep records.

    Parameters
    ----------
    reps : sequence of mapping
        Rep records with the contract's keys.
    start_s, end_s : float, s
    has_band : bool
        Whether the exercise has a target band.

    Returns
    -------
    dict
        ``reps``, ``duration_s``, ``time_under_tension_s`` and ``loaded_range_s`` (sums; None where the exercise
        has no loaded range), ``mean_<measure>``,
        ``cv_<measure>_pct`` (100·SD/|mean|, SD with n − 1), ``tempo``, ``velocity_loss_pct``,
        ``rom_loss_pct``, ``in_band``.
    """
    whole = [r for r in reps if not CUT.intersection(r["quality"])] or list(reps)
    summary: dict[str, Any] = {
        "reps": len(reps),
        "duration_s": round(end_s - start_s, 4),
        "time_under_tension_s": round(sum(r["time_under_tension_s"] for r in reps), 4),
        "loaded_range_s": _sum(reps, "loaded_range_s"),
        "tempo": tempo(whole),
        "velocity_loss_pct": _loss(whole, "mean_concentric_deg_s"),
        "rom_loss_pct": _loss(whole, "rom_deg"),
        "in_band": None,
    }
    if has_band:
        judged = [r["start_verdict"] for r in reps if r["start_verdict"] is not None]
        inside = sum(verdict == "inside" for verdict in judged)
        summary["in_band"] = {"count": inside, "share": round(inside / len(judged), 4) if judged else None}
    for key in AVERAGED:
        values = [float(r[key]) for r in whole if r[key] is not None]
        mean = sum(values) / len(values) if values else None
        name = key if key.startswith("mean_") else f"mean_{key}"
        summary[name] = None if mean is None else round(mean, 4)
        if key in WITHOUT_CV:
            continue
        spread = None
        if mean and len(values) > 1:
            variance = sum((v - mean) ** 2 for v in values) / (len(values) - 1)
            spread = round(100 * math.sqrt(variance) / abs(mean), 2)
        summary[f"cv_{key}_pct"] = spread
    planes = [math.radians(r["plane_deg"]) for r in reps if r["plane_deg"] is not None]
    summary["mean_plane_deg"] = (
        round(math.degrees(math.atan2(sum(map(math.sin, planes)), sum(map(math.cos, planes)))), 2)
        if planes
        else None
    )
    return summary


def tempo(reps: Sequence[Mapping[str, Any]]) -> str:
    """Tempo in the trade's order: eccentric / pause at the bottom / concentric / hold at the top, whole seconds.

    Wilk et al. 2018, J Hum Kinet (PMC6006544): the eccentric comes first even when the lift starts with the
    concentric. Medians over the set, so that one long rest does not show.
    """

    def median(key: str) -> float:
        values = sorted(float(r[key]) for r in reps if r[key] is not None)
        if not values:
            return 0.0
        middle = len(values) // 2
        return values[middle] if len(values) % 2 else (values[middle - 1] + values[middle]) / 2

    keys = ("eccentric_s", "pause_s", "concentric_s", "hold_s")
    return "/".join(str(math.floor(median(key) + 0.5)) for key in keys)


def _sum(reps: Sequence[Mapping[str, Any]], key: str) -> float | None:
    values = [float(r[key]) for r in reps if r[key] is not None]
    return round(sum(values), 4) if values else None


def _loss(reps: Sequence[Mapping[str, Any]], key: str) -> float | None:
    """100·(best − last)/best."""
    values = [float(r[key]) for r in reps if r[key] is not None]
    if not values or max(values) <= 0:
        return None
    return round(100 * (max(values) - values[-1]) / max(values), 2)
