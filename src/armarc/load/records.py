"""A set's load with the published keys: degrees, percent and SI units in the names."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from armarc.errors import ArmarcError, InputError
from armarc.load.lifter import Lifter
from armarc.load.measures import SwingShare
from armarc.load.set_load import RepLoad, SetLoad
from armarc.load.table import LOAD_CAUTIONS, SWINGS, LoadMeasures
from armarc.measures import columns, row_of
from armarc.recording import FloatArray
from armarc.reps.summary import full_reps

_OF_THEIR_OWN = {*SWINGS, "hold_moment_n_m", "least_held_with_load_share", "peak_moment_phase"}
ESTIMATES = tuple(each for each in columns(LoadMeasures) if each.field not in _OF_THEIR_OWN)
"""What is published with its standard error in every rep; the others are there only at times."""
DECIMALS = 3


def rounded(value: float | None) -> float | None:
    """A number for JSON; None for what is not one."""
    return None if value is None or not math.isfinite(value) else round(float(value), DECIMALS) + 0.0


def measures_record(measures: LoadMeasures, se: LoadMeasures | None = None) -> dict[str, object]:
    """Measures and, where given, their standard errors (``…_se``)."""
    out: dict[str, object] = {}
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
        found = load.swings[name]
        out[f"{key}_pct"] = _times(found.share, 100.0)
        out[f"{key}_pct_se"] = _times(found.se, 100.0)
        out[f"{key}_floor_pct"] = _times(found.floor, 100.0)
        out[key] = found.words
    return out


_OF_A_REP = frozenset(
    {f"{each.key}{end}" for each in ESTIMATES for end in ("", "_se")}
    | {f"{key}{end}" for key in SWINGS.values() for end in ("", "_pct", "_pct_se", "_floor_pct")}
    | {"peak_moment_phase", "hold_moment_n_m", "energy_residual_pct"}
    | {"least_held_with_load_pct", "least_held_with_load_pct_se"}
)


def without_load(record: Mapping[str, Any]) -> dict[str, Any]:
    """A published set as if no load had been stated."""
    reps = [{key: value for key, value in rep.items() if key not in _OF_A_REP} for rep in record["reps"]]
    return {key: value for key, value in record.items() if key != "load"} | {"reps": reps}


def load_record(load: SetLoad) -> dict[str, Any]:
    """A whole set but for its reps (see `rep_load_record`): summary, mean curves, assumptions, cautions.

    Returns
    -------
    dict
        ``body`` (see `Lifter.record`), ``resistance``, ``loaded_range_deg``, ``summary`` (means over the full
        reps, their spread ``…_sd`` and the error they share ``…_se``; of body swing work the mean over the reps it
        was detected in, full or not), ``curve`` (by whole degrees: mean moment and spread, raising and lowering),
        ``assumptions``, ``cautions``. No NaN anywhere: null instead.
    """
    reps = [rep_load_record(rep) for rep in load.reps]
    full = [rep_load_record(rep) for rep in full_reps(load.reps)]
    summary: dict[str, object] = {"reps": len(reps), "full_reps": len(full)}
    for key in (each.key for each in ESTIMATES):
        values = [rep[key] for rep in full if rep[key] is not None]
        errors = [rep[f"{key}_se"] for rep in full if rep[f"{key}_se"] is not None]
        summary[key] = rounded(float(np.mean(values))) if values else None
        summary[f"{key}_sd"] = rounded(float(np.std(values, ddof=1))) if len(values) > 1 else None
        # The error is shared by the reps: a mean does not make it smaller.
        summary[f"{key}_se"] = rounded(float(np.mean(errors))) if errors else None
    for key in SWINGS.values():
        found = [rep[f"{key}_pct"] for rep in reps if rep[f"{key}_pct"] is not None]
        summary[f"{key}_pct"] = rounded(float(np.mean(found))) if found else None
        errors = [rep[f"{key}_pct_se"] for rep in reps if rep[f"{key}_pct_se"] is not None]
        summary[f"{key}_pct_se"] = rounded(float(np.mean(errors))) if errors else None
        summary[f"{key}_reps"] = [rep["rep"] for rep in reps if rep[key] == "detected"]
        summary[f"{key}_measured"] = sum(rep[key] != "not measured" for rep in reps)
    phases = [phase for rep in full if (phase := rep["peak_moment_phase"]) is not None]
    summary["peak_moment_phase"] = max(phases, key=phases.count) if phases else None
    loaded = load.loaded_range_rad
    return {
        "body": load.lifter.record(),
        "resistance": load.resistance,
        "loaded_range_deg": None if loaded is None else [round(math.degrees(a), 3) for a in loaded],
        "summary": summary,
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


_REFERENCE_BODIES = {
    "body mass not given: reference 73 kg (de Leva 1996": Lifter(),
    "body mass not given: reference 61.9 kg (de Leva 1996": Lifter(sex="female"),
    "body mass not given: reference 73 kg (Dempster": Lifter(segment_table="winter"),
}
"""How results without a body say whose it was, where nobody had stated one."""


def body_of_load(load: object) -> Lifter | None:
    """The body of a set's ``load``; None where it does not tell.

    Results of older versions hold no body, but say when mass and stature were those of the reference body. A grip or a
    male sex that had been stated beside that is not told; both change nothing or next to nothing.
    """
    if not isinstance(load, Mapping):
        return None
    record = load.get("body")
    if isinstance(record, Mapping):
        try:
            return Lifter.from_record(record)
        except (ArmarcError, TypeError):
            return None
    said = load.get("assumptions")
    if not isinstance(said, list) or "arm lengths estimated from stature" not in said:
        return None
    lines = [line for line in said if isinstance(line, str)]
    if not any(line.startswith("stature not given") for line in lines):
        return None
    return next(
        (body for words, body in _REFERENCE_BODIES.items() if any(line.startswith(words) for line in lines)),
        None,
    )


def load_of(number: int, record: Mapping[str, Any], reps: Sequence[Mapping[str, Any]]) -> SetLoad:
    """A set's load read back from `load_record` and the records of its reps; their own curves are not published.

    Raises
    ------
    InputError
        The record is not whole.
    """
    try:
        loaded, curve = record["loaded_range_deg"], record["curve"]
        return SetLoad(
            set=number,
            lifter=body_of_load(record) or Lifter(),
            resistance=str(record["resistance"]),
            loaded_range_rad=None if loaded is None else (math.radians(loaded[0]), math.radians(loaded[1])),
            angle_rad=np.radians([float(angle) for angle in curve["angle_deg"]]),
            reps=tuple(_rep_load_of(rep) for rep in reps if "peak_moment_phase" in rep),
            concentric_mean_n_m=_curve(curve["concentric_n_m"]),
            concentric_sd_n_m=_curve(curve["concentric_sd_n_m"]),
            eccentric_mean_n_m=_curve(curve["eccentric_n_m"]),
            eccentric_sd_n_m=_curve(curve["eccentric_sd_n_m"]),
            notes=tuple(record["assumptions"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"the load of set {number} is not whole: {error}", "process the recording again"
        ) from None


def _rep_load_of(record: Mapping[str, Any]) -> RepLoad:
    residual = record["energy_residual_pct"]
    known = {key.removesuffix("_se"): value for key, value in record.items() if key.endswith("_se")}
    return RepLoad(
        rep=record["rep"],
        measures=row_of(LoadMeasures, record),
        se=row_of(LoadMeasures, {**known, "peak_moment_phase": record["peak_moment_phase"]}),
        concentric_n_m=np.empty(0),
        eccentric_n_m=np.empty(0),
        energy_residual=math.nan if residual is None else residual / 100,
        swings={
            name: SwingShare(
                words=record[key],
                share=_share(record[f"{key}_pct"]),
                se=_share(record[f"{key}_pct_se"]),
                floor=_share(record[f"{key}_floor_pct"]),
            )
            for name, key in SWINGS.items()
        },
        quality=tuple(record.get("quality") or ()),
    )


def _curve(values: Sequence[float | None]) -> FloatArray:
    return np.array([math.nan if value is None else float(value) for value in values])


def _share(percent: float | None) -> float | None:
    return None if percent is None else percent / 100


def series(values: FloatArray) -> list[float | None]:
    """A curve for JSON."""
    return [rounded(float(v)) for v in values]


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else rounded(value * factor)
