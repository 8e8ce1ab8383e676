"""Even pieces of a recording: what orientation and reps are computed on."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from armarc.recording.lost import carry_over
from armarc.recording.recording import Recording
from armarc.recording.types import BoolArray, FloatArray, Piece

SHORTEST_PIECE_S = 1.0
_STEADY = 0.02


def uniform_pieces(
    recording: Recording, *, longest_bridge_s: float = 0.05, longest_gap_s: float = 2.0
) -> tuple[Piece, ...]:
    """Lay a recording on an even grid, splitting it at long gaps.

    A recording with a steady clock keeps its samples untouched; missing ones are filled in. Uneven stamps are
    interpolated by local cubics: a straight line between samples of 100 Hz would take 1.2 % off a movement
    component of 5 Hz halfway between two samples, (π f / rate)² / 2, a cubic well under a tenth of that. Next
    to a gap, and over one, the interpolation is a straight line; where the turning is lost in it, the shortest way
    to what gravity shows after it (`recording.lost`).

    Parameters
    ----------
    recording : Recording
    longest_bridge_s : float, s
        A stretch between samples up to this long is bridged without a mark.
    longest_gap_s : float, s
        Longer gaps split the recording.

    Returns
    -------
    tuple of Piece
        At least 1 s each. ``missing`` marks every sample that was filled in over a gap. Stretches shorter
        than 1 s are left out.
    """
    # Rates that only rounding tells apart are one: what is a whole and a half sample long would round either way.
    rate = float(f"{recording.rate_hz:.9g}")
    pieces = []
    for start, end in _stretches(recording, longest_gap_s):
        if _long_enough(recording, start, end):
            pieces.append(_piece(recording, start, end, rate, longest_bridge_s))
    return tuple(pieces)


def _stretches(recording: Recording, longest_gap_s: float) -> list[tuple[int, int]]:
    breaks = np.flatnonzero(np.diff(recording.time_s) > longest_gap_s) + 1
    bounds = [0, *breaks.tolist(), len(recording.time_s)]
    return list(pairwise(bounds))


def _long_enough(recording: Recording, start: int, end: int) -> bool:
    if end - start < 3:
        return False
    span = float(recording.time_s[end - 1] - recording.time_s[start])
    return span + 1.0 / recording.rate_hz >= SHORTEST_PIECE_S


def _piece(recording: Recording, start: int, end: int, rate: float, longest_bridge_s: float) -> Piece:
    t = recording.time_s[start:end] - recording.time_s[start]
    force, turning = recording.specific_force_m_s2[start:end], recording.angular_velocity_rad_s[start:end]
    clipped = recording.is_clipped[start:end]
    steps = np.diff(t) * rate
    counts = np.maximum(1.0, np.round(steps))
    # The last few microseconds of a stamp are rounding, not unevenness.
    loose = np.maximum(_STEADY * counts, 2e-6 * rate)
    bridge_s = max(longest_bridge_s, 1.5 / rate)
    long = steps > bridge_s * rate * (1 + 1e-9)
    if not bool((np.abs(steps - counts)[~long] <= loose[~long]).all()):
        force, turning, clipped, missing = _interpolated(t, force, turning, clipped, rate, bridge_s)
    elif counts.max() > 1.0:
        index = _places(t, rate, counts, long)
        force, turning, clipped, missing = _filled(index, force, turning, clipped, long)
    else:
        missing = np.zeros(len(t), bool)
    if missing.any():
        carry_over(force, turning, missing, rate)
    return Piece(
        start_s=float(recording.time_s[start]),
        rate_hz=rate,
        specific_force_m_s2=force,
        angular_velocity_rad_s=turning,
        missing=missing,
        clipped=clipped,
    )


_Columns = tuple[FloatArray, FloatArray, BoolArray, BoolArray]


def _places(t: FloatArray, rate: float, counts: FloatArray, long: BoolArray) -> NDArray[np.intp]:
    """Grid index of each sample: counted inside runs, rounded from the clock after each gap, lest errors add up."""
    index = np.concatenate([[0.0], np.cumsum(counts)])
    starts = np.flatnonzero(long) + 1
    if len(starts):
        bounds = np.append(starts, len(t))
        end = index[starts[0] - 1]
        for a, b in pairwise(bounds.tolist()):
            place = max(end + 1.0, float(np.round(t[a] * rate)))
            index[a:b] += place - index[a]
            end = index[b - 1]
    return index.astype(np.intp)


def _filled(
    index: NDArray[np.intp], force: FloatArray, turning: FloatArray, clipped: BoolArray, long: BoolArray
) -> _Columns:
    """Spread samples over the grid; join neighbours by straight lines where it is empty; mark the long gaps."""
    n = int(index[-1]) + 1
    empty = np.ones(n, bool)
    empty[index] = False
    holes = np.flatnonzero(empty)
    out = []
    for values in (force, turning):
        grid = np.empty((n, 3))
        grid[index] = values
        for axis in range(3):
            grid[holes, axis] = np.interp(holes, index, values[:, axis])
        out.append(grid)
    grid_clipped = np.zeros(n, bool)
    grid_clipped[index] = clipped
    missing = np.zeros(n, bool)
    for i in np.flatnonzero(long).tolist():
        missing[index[i] + 1 : index[i + 1]] = True
    return out[0], out[1], grid_clipped, missing


def _interpolated(
    t: FloatArray, force: FloatArray, turning: FloatArray, clipped: BoolArray, rate: float, bridge_s: float
) -> _Columns:
    """Values on an even grid between uneven stamps."""
    grid = np.arange(int(np.floor(t[-1] * rate + 1e-6)) + 1) / rate
    values = _interpolate(t, np.concatenate([force, turning], axis=1), grid, bridge_s)
    right = np.clip(np.searchsorted(t, grid, side="left"), 1, len(t) - 1)
    interval = t[right] - t[right - 1]
    on_sample = np.minimum(np.abs(t[right] - grid), np.abs(grid - t[right - 1])) < 0.25 / rate
    missing = (interval > bridge_s * (1 + 1e-9)) & ~on_sample
    return (
        np.ascontiguousarray(values[:, :3]),
        np.ascontiguousarray(values[:, 3:]),
        clipped[right] | clipped[right - 1],
        missing,
    )


def _interpolate(t: FloatArray, values: FloatArray, grid: FloatArray, longest_bridge_s: float) -> FloatArray:
    """Cubic through two samples on each side (Lagrange); straight lines at the ends and next to gaps."""
    n = len(t)
    left = np.clip(np.searchsorted(t, grid, side="right") - 1, 0, n - 2)
    fraction = ((grid - t[left]) / (t[left + 1] - t[left]))[:, None]
    out = values[left] * (1.0 - fraction) + values[left + 1] * fraction
    step = np.diff(t)
    typical = float(np.median(step))
    even = (step <= longest_bridge_s) & (step >= 0.2 * typical)
    inner = (left >= 1) & (left <= n - 3)
    inner[inner] = even[left[inner] - 1] & even[left[inner]] & even[left[inner] + 1]
    places = np.flatnonzero(inner)
    if len(places):
        x = grid[places]
        knots = [t[left[places] + k] for k in (-1, 0, 1, 2)]
        total = np.zeros((len(places), values.shape[1]))
        for j in range(4):
            weight = np.ones(len(places))
            for k in range(4):
                if k != j:
                    weight *= (x - knots[k]) / (knots[j] - knots[k])
            total += weight[:, None] * values[left[places] + j - 1]
        out[places] = total
    return np.asarray(out, dtype=float)
