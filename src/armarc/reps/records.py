"""Reps and sets as the published keys, in degrees and centimetres: for JSON, tables and the log."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from armarc.reps.summary import summarise
from armarc.reps.types import MeasuredSet, Rep

if TYPE_CHECKING:
    import pandas as pd

_SECONDS, _DEGREES, _CENTIMETRES = 4, 3, 3


def deg(value_rad: float | None) -> float | None:
    """Radians as rounded degrees."""
    return None if value_rad is None else round(math.degrees(value_rad), _DEGREES) + 0.0


def seconds(value_s: float | None) -> float | None:
    """Seconds, rounded."""
    return None if value_s is None else round(value_s, _SECONDS) + 0.0


def cm(value_m: float | None) -> float | None:
    """Metres as rounded centimetres."""
    return None if value_m is None else round(100 * value_m, _CENTIMETRES)


def rep_record(rep: Rep) -> dict[str, Any]:
    """One rep with the published keys; None where a measure cannot be given."""
    return {
        "rep": rep.rep,
        "start_s": seconds(rep.phases.start_s),
        "top_start_s": seconds(rep.phases.top_start_s),
        "top_end_s": seconds(rep.phases.top_end_s),
        "end_s": seconds(rep.phases.end_s),
        "gate_s": seconds(rep.gate_s),
        "bottom_deg": deg(rep.bottom_rad),
        "bottom_deg_se": deg(rep.bottom_se_rad),
        "top_deg": deg(rep.top_rad),
        "top_deg_se": deg(rep.top_se_rad),
        "rom_deg": deg(rep.rom_rad),
        "rom_deg_se": deg(rep.rom_se_rad),
        "concentric_s": seconds(rep.concentric_s),
        "concentric_s_se": seconds(rep.concentric_se_s),
        "hold_s": seconds(rep.hold_s),
        "hold_s_se": seconds(rep.hold_se_s),
        "eccentric_s": seconds(rep.eccentric_s),
        "eccentric_s_se": seconds(rep.eccentric_se_s),
        "time_under_tension_s": seconds(rep.time_under_tension_s),
        "time_under_tension_s_se": seconds(rep.time_under_tension_se_s),
        "pause_s": seconds(rep.pause_s),
        "start_velocity_deg_s": deg(rep.start_velocity_rad_s),
        "start_velocity_deg_s_se": deg(rep.start_velocity_se_rad_s),
        "start_verdict": rep.start_verdict,
        "told_velocity_deg_s": deg(rep.told_velocity_rad_s),
        "mean_concentric_deg_s": deg(rep.mean_concentric_rad_s),
        "mean_concentric_deg_s_se": deg(rep.mean_concentric_se_rad_s),
        "mean_eccentric_deg_s": deg(rep.mean_eccentric_rad_s),
        "mean_eccentric_deg_s_se": deg(rep.mean_eccentric_se_rad_s),
        "peak_concentric_deg_s": deg(rep.peak_concentric_rad_s),
        "peak_concentric_deg_s_se": deg(rep.peak_concentric_se_rad_s),
        "peak_eccentric_deg_s": deg(rep.peak_eccentric_rad_s),
        "peak_eccentric_deg_s_se": deg(rep.peak_eccentric_se_rad_s),
        "peak_concentric_at_deg": deg(rep.peak_concentric_at_rad),
        "loaded_range_s": seconds(rep.loaded_range_s),
        "loaded_range_s_se": seconds(rep.loaded_range_se_s),
        "plane_deg": deg(rep.plane_rad),
        "plane_deg_se": deg(rep.plane_se_rad),
        "hand_rotation_deg": deg(rep.hand_rotation_rad),
        "hand_rotation_deg_se": deg(rep.hand_rotation_se_rad),
        "hand_rotation_change_deg": deg(rep.hand_rotation_change_rad),
        "smoothness_sparc": None if rep.smoothness_sparc is None else round(rep.smoothness_sparc, 4),
        "body_swing_cm": cm(rep.body_swing_m),
        "body_swing_cm_se": cm(rep.body_swing_se_m),
        "body_swing_reason": rep.body_swing_reason,
        "quality": list(rep.quality),
    }


def set_record(measured: MeasuredSet) -> dict[str, Any]:
    """One set: number, instants, summary and rep records."""
    reps = [rep_record(rep) for rep in measured.reps]
    return {
        "set": measured.set,
        "start_s": seconds(measured.start_s),
        "end_s": seconds(measured.end_s),
        "summary": summarise(reps, measured.start_s, measured.end_s, measured.band is not None),
        "reps": reps,
    }


def reps_frame(sets: Sequence[MeasuredSet]) -> pd.DataFrame:
    """All reps as one table: ``set`` and the published rep keys; `quality` as one text."""
    import pandas as pd

    rows = []
    for measured in sets:
        for rep in measured.reps:
            record = rep_record(rep)
            record["quality"] = " ".join(record["quality"])
            rows.append({"set": measured.set, **record})
    return pd.DataFrame(rows)
