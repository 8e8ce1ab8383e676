"""Difference between left and right as one number."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.log import special
from armarc.recording import FloatArray

DEFINITION = "symmetry index = 100·(right − left) / ((right + left)/2); + means more on the right"
CAUTION = (
    "No border separates good from bad: the often quoted 15 % is an older convention with little support "
    "(Bishop et al. 2018, Strength Cond J 40(4):1-6)."
)


def symmetry_index(left: float, right: float) -> float:
    """100·(R − L)/(½(R + L)), in % (Robinson et al. 1987, J Manipulative Physiol Ther 10:172, from memory)."""
    return 100 * (right - left) / (0.5 * (right + left))


@dataclass(frozen=True, slots=True, kw_only=True)
class Asymmetry:
    """Symmetry index over repeated sessions.

    Parameters
    ----------
    sessions : int
    index_pct : float
        Mean of the sessions' indices.
    low_pct, high_pct : float or None
        95 % interval; None with fewer than three sessions.
    """

    sessions: int
    index_pct: float
    low_pct: float | None
    high_pct: float | None

    def words(self) -> str:
        """The same for a lifter."""
        more = "right" if self.index_pct > 0 else "left"
        text = f"{abs(self.index_pct):.1f} % more on the {more}"
        if self.low_pct is None or self.high_pct is None:
            return f"{text}, from {self.sessions} session{'s' * (self.sessions != 1)}: too few to trust"
        if self.low_pct <= 0 <= self.high_pct:
            return f"no clear difference ({self.low_pct:+.1f} to {self.high_pct:+.1f} %)"
        return f"{text} ({self.low_pct:+.1f} to {self.high_pct:+.1f} %)"


def asymmetry(left: Sequence[float] | FloatArray, right: Sequence[float] | FloatArray) -> Asymmetry | None:
    """Symmetry index of paired sessions.

    Parameters
    ----------
    left, right : array_like, shape (n,)
        Session by session. Pairs that are not both above zero are left out: the index has no meaning there.

    Returns
    -------
    Asymmetry or None
        None without a usable pair.
    """
    a, b = np.asarray(left, float), np.asarray(right, float)
    usable = (a > 0) & (b > 0)
    if not usable.any():
        return None
    index = 100 * (b[usable] - a[usable]) / (0.5 * (b[usable] + a[usable]))
    n, mean = len(index), float(index.mean())
    if n < 3:
        return Asymmetry(sessions=n, index_pct=mean, low_pct=None, high_pct=None)
    half = float(special.stdtrit(n - 1, 0.975)) * float(index.std(ddof=1)) / math.sqrt(n)
    return Asymmetry(sessions=n, index_pct=mean, low_pct=mean - half, high_pct=mean + half)
