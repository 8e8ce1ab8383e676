"""A set's load with the published keys: degrees, percent and SI units in the names."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from armarc.load.set_load import RepLoad, SetLoad
from armarc.load.table import LOAD_CAUTIONS, LoadMeasures
from armarc.measures import columns
from armarc.recording import FloatArray

SWINGS = {"body_swing_work_share": "body_swing_work", "drive_swing_work_share": "drive_swing_work"}
"""Share of body swing work -> published stem: the first over the whole concentric, where up and back cancel, the
second over the drive, from rest at the bottom to the peak of the speed."""
_OF_THEIR_OWN = {*SWINGS, "hold_moment_n_m", "least_held_with_load_share", "peak_moment_phase"}
ESTIMATES = tuple(each for each in columns(LoadMeasures) if each.field not in _OF_THEIR_OWN)
"""What is published with its standard error in every rep; the others are there only at times."""
DECIMALS = 3


def rounded(value: float | None, digits: int = 3) -> float | None:
    """A number for JSON; None for what is not one."""
    return None if value is None or not math.isfinite(value) else round(float(value), digits) + 0.0


def measures_record(measures: LoadMeasures, se: LoadMeasures | None = None) -> dict[str, Any]:
    """Measures and, where given, their standard errors (``…_se``)."""
    out: dict[str, Any] = {}
    for each in ESTIMATES:
        out[each.key] = each.in_published_unit(each.value(measures), DECIMALS)
        if se is not None:
            out[f"{each.key}_se"] = each.in_published_unit(each.value(se), DECIMALS)
    return out


def rep_load_record(load: RepLoad) -> dict[str, Any]:
    """One rep. A share of body swing work below its floor is null, and said to be none detected."""
    out = {
        "rep": load.rep,
        **measures_record(load.measures, load.se),
        "peak_moment_phase": load.measures.peak_moment_phase,
        "hold_moment_n_m": rounded(load.measures.hold_moment_n_m),
        "energy_residual_pct": _times(load.energy_residual, 100.0),
    }
    if load.measures.least_held_with_load_share is not None:
        # Beside what the reach alone says, by which a rep is judged dropped.
        out["least_held_with_load_pct"] = _times(load.measures.least_held_with_load_share, 100.0)
        out["least_held_with_load_pct_se"] = _times(load.se.least_held_with_load_share, 100.0)
    for name, key in SWINGS.items():
        found = load.swing_found(name)
        out[f"{key}_pct"] = _times(found.share, 100.0)
        out[f"{key}_pct_se"] = _times(found.se, 100.0)
        out[f"{key}_floor_pct"] = _times(found.floor, 100.0)
        out[key] = found.words
    return out


def load_record(load: SetLoad) -> dict[str, Any]:
    """A whole set: summary, reps, mean curves, assumptions, cautions.

    Parameters
    ----------
    load : SetLoad

    Returns
    -------
    dict
        ``body`` (see `Lifter.record`), ``resistance``, ``loaded_range_deg``, ``summary`` (means over the reps,
        their spread ``…_sd`` and the error they share ``…_se``; of body swing work the mean over the reps it was
        detected in), ``reps``, ``curve`` (by whole degrees: mean moment and spread, raising and lowering),
        ``assumptions``, ``cautions``. No NaN anywhere: null instead.
    """
    reps = [rep_load_record(rep) for rep in load.reps]
    summary: dict[str, Any] = {"reps": len(reps)}
    for key in (each.key for each in ESTIMATES):
        values = [rep[key] for rep in reps if rep[key] is not None]
        errors = [rep[f"{key}_se"] for rep in reps if rep[f"{key}_se"] is not None]
        summary[key] = rounded(float(np.mean(values))) if values else None
        summary[f"{key}_sd"] = rounded(float(np.std(values, ddof=1))) if len(values) > 1 else None
        # The error is shared by the reps: a mean does not make it smaller.
        summary[f"{key}_se"] = rounded(float(np.mean(errors))) if errors else None
    for key in SWINGS.values():
        found = [rep[f"{key}_pct"] for rep in reps if rep[f"{key}_pct"] is not None]
        summary[f"{key}_pct"] = rounded(float(np.mean(found))) if found else None
        summary[f"{key}_reps"] = [rep["rep"] for rep in reps if rep[key] == "detected"]
        summary[f"{key}_measured"] = sum(rep[key] != "not measured" for rep in reps)
    phases = [rep["peak_moment_phase"] for rep in reps]
    summary["peak_moment_phase"] = max(phases, key=phases.count) if phases else None
    loaded = load.loaded_range_rad
    return {
        "body": load.lifter.record(),
        "resistance": load.resistance,
        "loaded_range_deg": None if loaded is None else [round(math.degrees(a), 3) for a in loaded],
        "summary": summary,
        "reps": reps,
        "curve": {
            "angle_deg": [round(float(a), 3) for a in np.degrees(load.angle_rad)],
            "concentric_n_m": series(load.concentric_mean_n_m),
            "concentric_sd_n_m": series(load.concentric_sd_n_m),
            "eccentric_n_m": series(load.eccentric_mean_n_m),
            "eccentric_sd_n_m": series(load.eccentric_sd_n_m),
        },
        "assumptions": list(load.notes),
        "cautions": list(LOAD_CAUTIONS),
    }


def series(values: FloatArray) -> list[float | None]:
    """A curve for JSON."""
    return [rounded(float(v)) for v in values]


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else rounded(value * factor)
