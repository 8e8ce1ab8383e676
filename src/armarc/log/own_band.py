"""A lifter's own band of the start velocity: what their clean reps did, beside a smooth rep of their range and tempo.

Both are descriptions of how this lifter moves when a rep is clean; neither says which start is good.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from armarc.log.reading import LoggedSet
from armarc.measures import column
from armarc.recording import FloatArray
from armarc.reps.momentum import smooth_duration_s, smooth_gate_velocity_rad_s
from armarc.reps.summary import is_clean
from armarc.reps.types import Rep

FEWEST_SESSIONS = 3
FEWEST_REPS = 30
SHARE = 0.8
RULE = (
    f"Rule (our own, no source): the middle {100 * SHARE:.0f} % of the start velocities of clean reps, errors of "
    f"measuring taken out, from {FEWEST_SESSIONS} sessions and {FEWEST_REPS} clean reps on. ± is the standard error "
    "of an edge, from drawing the sessions again. It says how this lifter starts a clean rep, not how one should."
)
_DRAWS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """A proposed band, °/s, with the standard errors of its edges."""

    low_deg_s: float
    high_deg_s: float
    low_se_deg_s: float
    high_se_deg_s: float

    @property
    def whole_deg_s(self) -> tuple[float, float]:
        """The band in whole degrees per second, which is all its errors allow; at least one wide."""
        low = float(round(self.low_deg_s))
        return low, max(float(round(self.high_deg_s)), low + 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnBand:
    """What the sets of one lifter and exercise say about a band.

    Parameters
    ----------
    lifter, exercise : str
    reps, sessions : int
        Clean reps with a start velocity, and the sessions they come from.
    from_clean : Edges or None
        None with too few of either.
    from_smooth : Edges or None
        Starts of smooth (minimum-jerk) raises of the same ranges and concentric times.
    bottom_deg, top_deg, concentric_s, hold_s, eccentric_s : float or None
        Medians of the clean reps: the rep a paced plan is made for.
    load_kg : float or None
        The newest load.
    """

    lifter: str
    exercise: str
    reps: int
    sessions: int
    from_clean: Edges | None
    from_smooth: Edges | None
    bottom_deg: float | None
    top_deg: float | None
    concentric_s: float | None
    hold_s: float | None
    eccentric_s: float | None
    load_kg: float | None

    @property
    def basis(self) -> str:
        """What a band from the clean reps rests on, as it stands behind it wherever it is printed."""
        return f"from {self.reps} clean reps in {self.sessions} sessions"

    @property
    def smooth_basis(self) -> str:
        """The same for a band from smooth reps."""
        return f"from smooth reps at the range and tempo of {self.reps} clean ones"

    @property
    def missing(self) -> str:
        """What a proposal lacks; empty with one."""
        if self.from_clean is not None:
            return ""
        return (
            f"{self.reps} clean reps in {self.sessions} session{'s' * (self.sessions != 1)}; {FEWEST_REPS} in "
            f"{FEWEST_SESSIONS} are needed"
        )


def own_band(
    entries: Sequence[LoggedSet],
    reps: Mapping[int, Sequence[Rep]],
    gate_rad: tuple[float, float],
) -> OwnBand:
    """Propose a band from the sets of one lifter and exercise.

    Parameters
    ----------
    entries : sequence of LoggedSet
        Oldest first; at least one.
    reps : mapping
        Reps by set number.
    gate_rad : tuple of float, rad
        Start gate as rise above the bottom.
    """
    clean: list[Rep] = []
    session: list[int] = []
    for entry in entries:
        for rep in reps.get(entry.id, ()):
            if rep.start_velocity_rad_s is not None and is_clean(rep.quality):
                clean.append(rep)
                session.append(entry.session_id)
    sessions = np.array(session, np.int64)
    count = len(np.unique(sessions))
    enough = count >= FEWEST_SESSIONS and len(clean) >= FEWEST_REPS
    start = _column(clean, "start_velocity_deg_s")
    noise = (
        float(np.nanmean(np.append(_column(clean, "start_velocity_deg_s_se") ** 2, 0.0))) if enough else 0.0
    )
    smooth = np.array([_smooth_deg_s(rep, gate_rad) for rep in clean])
    loads = [entry.load_kg for entry in entries if entry.load_kg is not None]
    return OwnBand(
        lifter=entries[-1].lifter,
        exercise=entries[-1].exercise,
        reps=len(clean),
        sessions=count,
        from_clean=_edges(start, sessions, noise) if enough else None,
        from_smooth=_edges(smooth, sessions, 0.0) if enough and np.isfinite(smooth).any() else None,
        load_kg=loads[-1] if loads else None,
        **{
            key: float(np.nanmedian(values)) if np.isfinite(values := _column(clean, key)).any() else None
            for key in ("bottom_deg", "top_deg", "concentric_s", "hold_s", "eccentric_s")
        },
    )


def _column(reps: Sequence[Rep], key: str) -> FloatArray:
    return np.array([column(Rep, key).published(rep) for rep in reps], float)


def _smooth_deg_s(rep: Rep, gate_rad: tuple[float, float]) -> float:
    if rep.rom_rad is None or rep.concentric_s is None:
        return math.nan
    duration_s = smooth_duration_s(rep.rom_rad, rep.concentric_s)
    smooth = None if duration_s is None else smooth_gate_velocity_rad_s(rep.rom_rad, duration_s, gate_rad)
    return math.nan if smooth is None else math.degrees(smooth)


def _edges(values: FloatArray, session: np.ndarray[Any, np.dtype[np.int64]], noise: float) -> Edges:
    """Edges of the middle share, the spread freed of the variance that measuring adds; errors by drawing sessions."""
    known = np.isfinite(values)
    values, session = values[known], session[known]

    def edges(drawn: FloatArray) -> FloatArray:
        spread, last = float(np.var(drawn)), len(drawn) - 1
        kept = math.sqrt(max(spread - noise, 0.0) / spread) if spread > 0 else 0.0
        # Quantiles with straight lines between the values, as numpy.quantile has them, at a tenth of its time.
        at = [last * share for share in ((1 - SHARE) / 2, 0.5, (1 + SHARE) / 2)]
        low, middle, high = np.interp(at, np.arange(len(drawn)), np.sort(drawn))
        return middle + kept * (np.array([low, high]) - middle)

    parts = [values[session == one] for one in np.unique(session)]
    rng = np.random.default_rng(1)
    drawn = [
        edges(np.concatenate([parts[i] for i in rng.integers(len(parts), size=len(parts))]))
        for _ in range(_DRAWS)
    ]
    low, high = edges(values)
    # Sessions drawn again vary less than new ones would, by (k − 1) / k.
    low_se, high_se = np.std(drawn, axis=0, ddof=1) * math.sqrt(len(parts) / max(len(parts) - 1, 1))
    return Edges(
        low_deg_s=float(low), high_deg_s=float(high), low_se_deg_s=float(low_se), high_se_deg_s=float(high_se)
    )
