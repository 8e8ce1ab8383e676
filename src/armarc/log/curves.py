"""Mean curves of a logged set, worked out from its raw recording: elevation, velocity, moment by angle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import sqlalchemy as sa

from armarc.errors import LogError
from armarc.log import schema
from armarc.log.measuring import chest_of, measure_session
from armarc.log.reading import LoggedSet, recording_of
from armarc.log.store import Store
from armarc.log.writing import match_by_overlap
from armarc.recording import FloatArray
from armarc.reps.summary import is_full

if TYPE_CHECKING:
    from armarc.load.lifter import Lifter
    from armarc.load.set_load import SetLoad
    from armarc.motion import ArmMotion
    from armarc.pipeline import Session
    from armarc.reps import MeasuredSet

PHASE_POINTS = 51


@dataclass(frozen=True, slots=True, kw_only=True)
class SetCurves:
    """Mean over the full reps of a set, with spread; or over the sets of a group.

    Parameters
    ----------
    set_ids : tuple of int
    progress : ndarray, shape (m,)
        0 at the start of a rep, 1 at the top, 2 at its end: raising and lowering each stretched to 1.
    angle_deg, angle_sd_deg : ndarray, shape (m,)
    speed_angle_deg : ndarray, shape (k,)
        Whole degrees that every rep passed.
    speed_deg_s : ndarray, shape (k,)
        Velocity while raising, at these angles.
    moment_angle_deg, moment_n_m : ndarray, or None
        Net shoulder moment while raising, by angle; None without a load.
    """

    set_ids: tuple[int, ...]
    progress: FloatArray
    angle_deg: FloatArray
    angle_sd_deg: FloatArray
    speed_angle_deg: FloatArray
    speed_deg_s: FloatArray
    moment_angle_deg: FloatArray | None
    moment_n_m: FloatArray | None


def remeasured_set(store: Store, entry: LoggedSet) -> tuple[Session, int]:
    """The recording of a logged set measured again, and the place of the set in it.

    Raises
    ------
    LogError
        If the recording is not there, or the set is not found in it any more.
    """
    file_name, content, settings = recording_of(store, entry.id)
    if content is None:
        raise LogError(
            f"the raw recording of set {entry.id} was not kept", "curves need it; numbers are still there"
        )
    current: dict[str, object] = {**settings, "side": entry.side or settings.get("side")}
    if entry.load_kg is not None:
        current["load_kg"] = entry.load_kg
    if entry.load_kg not in (None, settings.get("load_kg")):
        # A load that was changed in the log speaks louder than the resistance stated when it was measured.
        current["resistance"] = None
    session = measure_session(content, file_name, current, _body(store, entry), chest_of(store, settings))
    pairs = match_by_overlap([(entry.start_s, entry.end_s)], [(s.start_s, s.end_s) for s in session.sets])
    if not pairs:
        raise LogError(f"set {entry.id} is not found in its recording any more", "see armarc log reprocess")
    return session, pairs[0][1]


def set_curves(store: Store, entry: LoggedSet) -> SetCurves:
    """Mean curves of one logged set.

    Raises
    ------
    LogError
        See `remeasured_set`.
    """
    session, place = remeasured_set(store, entry)
    motion = session.motions[session.motion_of_set[place]]
    load = session.loads[place] if session.loads and motion.coordinate == "elevation" else None
    return curves_of(entry.id, session.sets[place], motion, load)


def curves_of(
    set_id: int, measured: MeasuredSet, motion: ArmMotion, load: SetLoad | None = None
) -> SetCurves:
    """Mean curves of a measured set; `load` is what the shoulder did, where it is known."""
    angles, speeds, low, high = [], [], -math.inf, math.inf
    angle, rate = np.degrees(motion.angle_rad), np.degrees(motion.angle_rate_rad_s)
    full = [rep for rep in measured.reps if is_full(rep.quality)]
    for rep in full or measured.reps:
        p = rep.phases
        half = np.linspace(0, 1, PHASE_POINTS)
        up = p.start_s + half * (p.top_start_s - p.start_s)
        down = p.top_end_s + half * (p.end_s - p.top_end_s)
        when = np.concatenate([up, down[1:]])
        angles.append(np.interp(when, motion.time_s, angle))
        use = (motion.time_s >= p.start_s) & (motion.time_s <= p.top_start_s)
        a, v = angle[use], rate[use]
        if len(a) < 2:
            continue
        rising = np.maximum.accumulate(a)
        new = np.concatenate([[True], rising[1:] > rising[:-1]])
        speeds.append((a[new], v[new]))
        low, high = max(low, float(a[new][0])), min(high, float(a[new][-1]))
    grid = np.arange(math.ceil(low), math.floor(high) + 1.0) if high > low else np.empty(0)
    by_angle = np.array([np.interp(grid, a, v) for a, v in speeds]).reshape(len(speeds), len(grid))
    table = np.array(angles)
    moment = None if load is None else _moment(load, low, high)
    return SetCurves(
        set_ids=(set_id,),
        progress=np.linspace(0, 2, 2 * PHASE_POINTS - 1),
        angle_deg=table.mean(axis=0),
        angle_sd_deg=_spread(table),
        speed_angle_deg=grid,
        speed_deg_s=by_angle.mean(axis=0) if len(speeds) else grid,
        moment_angle_deg=None if moment is None else moment[0],
        moment_n_m=None if moment is None else moment[1],
    )


def mean_of_sets(curves: Sequence[SetCurves]) -> SetCurves:
    """Mean of the sets of a group, each counting once, with the spread between them; one set stays itself.

    Parameters
    ----------
    curves : sequence of SetCurves
        At least one.
    """
    if len(curves) == 1:
        return curves[0]
    angle = np.array([curve.angle_deg for curve in curves])
    grid, speed = _shared([(curve.speed_angle_deg, curve.speed_deg_s) for curve in curves])
    moments = [
        (curve.moment_angle_deg, curve.moment_n_m)
        for curve in curves
        if curve.moment_angle_deg is not None and curve.moment_n_m is not None
    ]
    moment_grid, moment = _shared(moments) if len(moments) == len(curves) else (None, None)
    return SetCurves(
        set_ids=tuple(number for curve in curves for number in curve.set_ids),
        progress=curves[0].progress,
        angle_deg=angle.mean(axis=0),
        angle_sd_deg=_spread(angle),
        speed_angle_deg=grid,
        speed_deg_s=speed.mean(axis=0),
        moment_angle_deg=moment_grid,
        moment_n_m=None if moment is None else moment.mean(axis=0),
    )


def _shared(courses: Sequence[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    """The whole degrees that all courses have, shape (k,), and each course there, shape (n, k)."""
    grid = courses[0][0]
    for angle, _ in courses[1:]:
        grid = np.intersect1d(grid, angle)
    return grid, np.array([values[np.isin(angle, grid)] for angle, values in courses])


def curves_record(curves: Sequence[SetCurves]) -> list[dict[str, object]]:
    """JSON-ready curves."""

    def plain(values: FloatArray | None) -> list[float] | None:
        return None if values is None else [round(float(v), 3) for v in values]

    return [
        {
            "set_id": c.set_ids[0],
            "progress": plain(c.progress),
            "angle_deg": plain(c.angle_deg),
            "speed_angle_deg": plain(c.speed_angle_deg),
            "speed_deg_s": plain(c.speed_deg_s),
            "moment_angle_deg": plain(c.moment_angle_deg),
            "moment_n_m": plain(c.moment_n_m),
        }
        for c in curves
    ]


def _body(store: Store, entry: LoggedSet) -> Lifter:
    """The body the set's moments were worked out for, else the one kept of its lifter."""
    from armarc.load.lifter import load_lifters
    from armarc.load.records import body_of_load

    table = schema.training_set
    with store.reading() as connection:
        other = connection.execute(sa.select(table.c.other).where(table.c.id == entry.id)).scalar_one()
    stored = body_of_load(other.get("load")) if isinstance(other, dict) else None
    return load_lifters().find(entry.lifter) if stored is None else stored


def _moment(load: SetLoad, low_deg: float, high_deg: float) -> tuple[FloatArray, FloatArray] | None:
    angle = np.degrees(load.angle_rad)
    # At the ends only some reps passed, and a mean of fewer of them would jump.
    known = np.isfinite(load.concentric_mean_n_m) & (angle >= low_deg) & (angle <= high_deg)
    if not known.any():
        return None
    return angle[known], load.concentric_mean_n_m[known]


def _spread(table: FloatArray) -> FloatArray:
    return table.std(axis=0, ddof=1) if len(table) > 1 else np.zeros(table.shape[1])
