"""Where a curve comes to rest on both sides of its tops, and when it passes a level there, for all tops at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armarc.recording import FloatArray
from armarc.reps.phases import DOWN_SHARE, ON_RATE_RAD_S, SETTLE_S

Samples = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Laid:
    """Stretches of a curve from a bottom over a top to a bottom, laid one behind another.

    The last sample of each is left out; ``edges`` are the places of bottom, top, bottom, top, … and the end of all,
    ``shift`` leads from the places of a stretch to its samples.
    """

    curve: FloatArray
    edges: Samples
    shift: Samples

    @classmethod
    def of(cls, curve: FloatArray, bottom: Samples, top: Samples, after: Samples) -> Laid:
        edges = np.zeros(2 * len(top) + 1, dtype=np.intp)
        edges[1::2], edges[2::2] = top - bottom, after - top
        np.cumsum(edges, out=edges)
        shift = bottom - edges[:-1:2]
        return cls(curve[np.arange(edges[-1]) + np.repeat(shift, after - bottom)], edges, shift)

    def not_above(self, up: FloatArray, down: FloatArray) -> tuple[Samples, Samples]:
        """Last sample before each top, and first one from it on, at which the curve is not above a level.

        `up` are the levels of the way up, `down` those of the way down; where there is none, the stretch's ends.
        """
        levels = np.empty(2 * len(up))
        levels[::2], levels[1::2] = up, down
        low = (self.curve <= np.repeat(levels, self.edges[1:] - self.edges[:-1])).nonzero()[0]
        start, top, stop = self.edges[:-1:2], self.edges[1::2], self.edges[2::2]
        at = np.empty(len(low) + 2, dtype=np.intp)
        at[0], at[1:-1], at[-1] = -1, low, len(self.curve)
        here = np.searchsorted(low, top)
        return np.maximum(at[here], start) + self.shift, np.minimum(at[here + 1], stop) + self.shift

    def above(self, level: FloatArray, begin: Samples) -> Samples:
        """First sample from `begin` on at which the curve is not below a level; where there is none, one beyond."""
        high = (self.curve >= np.repeat(level, self.edges[2::2] - self.edges[:-1:2])).nonzero()[0]
        at = np.concatenate([high, [len(self.curve)]])
        return np.asarray(at[np.searchsorted(high, begin - self.shift)] + self.shift)


def settled(
    curve: FloatArray, rate_hz: float, before: Samples, top: Samples, turn: Samples
) -> tuple[tuple[Samples, Samples], tuple[Samples, Samples]]:
    """Where the arm comes to rest on both sides of every top: what it does later in a rest belongs to no rep.

    That is where it stops near the lowest place, or further up where it stays.

    Parameters
    ----------
    curve : ndarray, shape (m,), rad
    rate_hz : float, Hz
    before, top, turn : ndarray of int, shape (n,)
        Turns: bottom, top and bottom.

    Returns
    -------
    settled : (bottom, after), ndarray of int, shape (n,) each
    lowest : the same where it stops near the lowest place, wherever it stays on the way.
    """
    step, on, stay = curve[1:] - curve[:-1], ON_RATE_RAD_S / rate_hz, math.ceil(SETTLE_S * rate_hz)
    not_down, not_up = step >= -on, step <= on
    still = np.concatenate([[0], np.cumsum(not_down & not_up)])
    # Windows in which it stays; one place before or behind all lets every search find something.
    stays = np.concatenate([[-1], (still[stay:] - still[:-stay] >= stay).nonzero()[0], [len(curve)]])
    window = np.arange(stay + 1)
    laid = Laid.of(curve, before, top, turn)
    high = curve[top]
    down, down_after = DOWN_SHARE * (high - curve[before]), DOWN_SHARE * (high - curve[turn])
    set_off, arrived = laid.not_above(curve[before] + down, curve[turn] + down_after)
    rose, left = laid.not_above(high - down, high - down_after)

    slow = np.concatenate([not_down.nonzero()[0], [len(curve)]])
    rest = np.minimum(slow[np.searchsorted(slow, arrived)], turn)
    stayed = stays[np.searchsorted(stays, left)]
    lowest_after = rest + curve[np.minimum(rest[:, None] + window, turn[:, None])].argmin(axis=1)
    after = np.where((rest - left > stay) & (stayed + stay <= rest), stayed, lowest_after)

    # The same from the top backwards.
    slow = np.concatenate([[-1], not_up.nonzero()[0] + 1])
    rest = np.maximum(slow[np.searchsorted(slow, set_off, side="right") - 1], before)
    stayed = stays[np.searchsorted(stays, rose - stay, side="right") - 1]
    lowest = rest - curve[np.maximum(rest[:, None] - window, before[:, None])].argmin(axis=1)
    bottom = np.where((rose - rest > stay) & (stayed >= rest), stayed + stay, lowest)
    return (bottom, after), (lowest, lowest_after)
