"""Time stamps made usable: order, duplicates, clock resets, bursts, quantised stamps, gaps.

A sensor samples with its own steady clock; what a file shows is often that clock rounded to milliseconds, or
the moments at which packets arrived. Where the stamps are compatible with a steady clock, samples get the
times of that clock (the line through the stamps, sample by sample); where they are not, the stamps are
believed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from armarc.errors import TimingError
from armarc.recording.stamps import those, typical_step, usual_step
from armarc.recording.types import BoolArray, FloatArray, Gap

SHORTEST_GAP_S = 0.05
RESET_PAUSE_S = 5.0
"""Length given to a pause whose true length a restarted clock hides; longer than any gap that is filled."""
LONGEST_PAUSE_S = 86400.0
MOST_RESETS = 200
"""A strap is switched on and off a few times in a session; a column that starts again more often is no clock."""

_DRIFT_KNOT_S = 30.0
_FOLLOWED = 0.01
"""Share of a period by which stamps may be off an even clock and stay as they are; its drift is not looked for."""


@dataclass(slots=True, kw_only=True)
class SampleTimes:
    """Clean times of the rows that were kept.

    ``rows`` indexes the original rows in the order of ``time_s``; ``time_s`` rises strictly on the original
    clock.
    """

    time_s: FloatArray
    rows: NDArray[np.intp]
    period_s: float
    jitter_s: float
    steady: bool
    duplicates: int = 0
    inferences: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def select(self, values: FloatArray) -> FloatArray:
        """Rows of `values` that were kept, in the order of time."""
        untouched = len(self.rows) == len(values) and bool((self.rows[1:] > self.rows[:-1]).all())
        return values if untouched else values[self.rows]


def clean_time(seconds: FloatArray, quantum_s: float, *values: FloatArray, file: str = "") -> SampleTimes:
    """Order the stamps and give every sample the time its clock says.

    Parameters
    ----------
    seconds : ndarray, shape (n,), s
        Stamps as read, finite.
    quantum_s : float, s
        Finest step of the stamps.
    *values : ndarray, shape (n, k)
        Samples, to tell a row that was written twice from two samples with one stamp.
    file : str

    Raises
    ------
    TimingError
        Fewer than three stamps, or a clock that jumps back all the time.
    """
    timeline = SampleTimes(
        time_s=seconds.copy(), rows=np.arange(len(seconds)), period_s=0.0, jitter_s=0.0, steady=False
    )
    if len(seconds) < 3:
        raise TimingError("fewer than three samples", "record for longer", file=file)
    _restore_order(timeline, file)
    _drop_duplicates(timeline, values)
    t = timeline.time_s
    steps = np.diff(t)
    if len(t) < 3 or not steps.max() > 0:
        raise TimingError("the time stamps never rise", "give the rate instead: --rate HZ", file=file)
    period = typical_step(t)
    if not period > 0:
        raise TimingError(
            "most of the time stamps do not rise", "give the rate instead: --rate HZ", file=file
        )
    near = steps < max(0.2 * period, 1e-12)
    if (steps <= 0).any() or near.mean() > 0.02:
        _spread_bursts(timeline, period, near, quantum_s)
    else:
        _follow_clock(timeline, quantum_s)
    return timeline


def find_gaps(time_s: FloatArray, period_s: float) -> tuple[Gap, ...]:
    """Stretches longer than 50 ms and longer than 1.5 periods without samples."""
    steps = np.diff(time_s)
    places = np.flatnonzero(steps > max(SHORTEST_GAP_S, 1.5 * period_s) * (1 + 1e-9))
    return tuple(
        Gap(
            start_s=float(time_s[i]),
            end_s=float(time_s[i + 1]),
            missing_samples=max(1, round(float(steps[i]) / period_s) - 1),
        )
        for i in places
    )


def _restore_order(timeline: SampleTimes, file: str) -> None:
    t, rows = timeline.time_s, timeline.rows
    jump = np.diff(t)
    # A clock that is set right after the first sample; a pause of more than a day is none.
    late = bool(jump[0] > LONGEST_PAUSE_S and jump[1] < 1.0)
    if not ((jump < 0).any() or late):
        return
    spike = np.zeros(len(t), bool)
    across = t[2:] - t[:-2]
    # One stamp far off, before and behind which the clock simply goes on.
    spike[1:-1] = (np.abs(jump[:-1]) > 1.0) & (np.abs(jump[1:]) > 1.0) & (across > 0) & (across < 1.0)
    spike[0] = late or (jump[0] < -1.0 and 0 < jump[1] < 1.0)
    if spike.any():
        timeline.warnings.append(
            f"{int(spike.sum())} row(s) with a time far from their neighbours' were left out"
        )
        t, rows = t[~spike].copy(), rows[~spike]
    resets, most = 0, max(3, min(len(t) // 100, MOST_RESETS))
    back = np.flatnonzero(np.diff(t) < -1.0)
    shifted = t.copy()
    for i in back:
        behind = shifted[i + 1 : i + 40]
        if (behind < shifted[i]).mean() > 0.8 and not _fills_hole(shifted, int(i)):
            shifted[i + 1 :] += shifted[i] + RESET_PAUSE_S - shifted[i + 1]
            resets += 1
        if resets > most:
            raise TimingError(
                f"the clock jumps back more than {most} times",
                "check that the column really is time: --columns time=NAME",
                file=file,
            )
    if resets:
        timeline.warnings.append(
            f"the clock started again {resets} time(s); the length of such a pause is unknown and was taken "
            f"as {RESET_PAUSE_S:g} s, so that nothing is measured across it"
        )
    t = shifted
    displaced = int((t < np.maximum.accumulate(t)).sum())
    if 2 * displaced > len(t):
        raise TimingError(
            f"{displaced} of {len(t)} rows are out of order: the column starts again and again",
            "if it is a part of the time, beside seconds, join the two into one column; else name the time: --columns "
            "time=NAME",
            file=file,
        )
    if displaced:
        order = np.argsort(t, kind="stable")
        t, rows = t[order], rows[order]
        timeline.warnings.append(f"{displaced} row(s) were out of order and were sorted by time")
    timeline.time_s, timeline.rows = t, rows


def _fills_hole(t: FloatArray, i: int) -> bool:
    """Whether the rows after `i` belong into a hole that the stamps before left open (a late packet)."""
    value = t[i + 1]
    before = t[max(0, i - 5000) : i + 1]  # not all: every reset would cost a walk through the recording
    later = before[before > value]
    return bool(len(later) <= 200 and i + 41 < len(t) and t[i + 1 : i + 201].max() > before.max())


def _drop_duplicates(timeline: SampleTimes, values: tuple[FloatArray, ...]) -> None:
    equal = np.diff(timeline.time_s) == 0
    if not equal.any():
        return
    places = np.flatnonzero(equal)
    rows = timeline.rows
    a = np.concatenate([part[rows[places]] for part in values], axis=1)
    b = np.concatenate([part[rows[places + 1]] for part in values], axis=1)
    same = ((a == b) | (np.isnan(a) & np.isnan(b))).all(axis=1)
    drop = np.zeros(len(rows), bool)
    if same.mean() > 0.5 or equal.mean() < 0.02:
        drop[places[same] + 1] = True
    lone = places[~same]
    if equal.mean() < 0.02 and len(lone):
        moved = _into_holes(timeline.time_s, lone)
        drop[lone[~moved] + 1] = True
        timeline.warnings.append(
            f"{len(lone)} row(s) had the time of the row before but other values; {int(moved.sum())} got the free "
            f"place beside it, {int((~moved).sum())} were left out"
        )
    if drop[places[same] + 1].any():
        timeline.warnings.append(f"{int(drop[places[same] + 1].sum())} duplicate row(s) were dropped")
    timeline.duplicates = int(drop.sum())
    timeline.time_s, timeline.rows = timeline.time_s[~drop], rows[~drop]


def _into_holes(t: FloatArray, places: NDArray[np.intp]) -> BoolArray:
    """Move one of two equal stamps into the hole before or behind the pair, in place, where there is one."""
    step = typical_step(t)
    moved = np.zeros(len(places), bool)
    for k, i in enumerate(places.tolist()):
        if i + 2 < len(t) and t[i + 2] - t[i] > 1.5 * step:
            t[i + 1] = t[i] + min(step, 0.5 * (t[i + 2] - t[i]))
            moved[k] = True
        elif i > 0 and t[i] - t[i - 1] > 1.5 * step:
            t[i] = t[i + 1] - min(step, 0.5 * (t[i + 1] - t[i - 1]))
            moved[k] = True
    return moved


def _spread_bursts(timeline: SampleTimes, period: float, near: BoolArray, quantum_s: float) -> None:
    """Stamps are arrival times of packets: lay each run without loss on a line through its stamps."""
    t = timeline.time_s
    index = np.arange(len(t), dtype=float)
    steps = np.diff(t)
    packet = float(np.median(steps[~near]))
    breaks = np.flatnonzero(steps > max(SHORTEST_GAP_S, 1.8 * packet, 1.5 * period)) + 1
    bounds = np.concatenate([[0], breaks, [len(t)]])
    # Only the last sample of a burst is as old as its stamp says, or at least as old as any other burst's last one.
    last = np.append(~near, False)
    last[-1] = not last[bounds[-2] :].any()
    runs = np.searchsorted(np.flatnonzero(last), bounds)
    slope = _pooled_slope(t[last], index[last], runs, period)
    behind = (t - slope * index)[last]
    offsets = [float(behind[a:b].mean()) for a, b in pairwise(runs.tolist())]
    out = np.empty_like(t)
    offset, weight, previous = offsets[0], bounds[1] - bounds[0], 0
    groups: list[tuple[int, int, float]] = []
    for j in range(1, len(offsets)):
        size = bounds[j + 1] - bounds[j]
        if offsets[j] - offset < 0.5 * max(packet, 2.0 * slope):
            offset = (offset * weight + offsets[j] * size) / (weight + size)
            weight += size
        else:
            groups.append((previous, int(bounds[j]), offset))
            previous, offset, weight = int(bounds[j]), offsets[j], size
    groups.append((previous, len(t), offset))
    end = -np.inf
    for a, b, group_offset in groups:
        out[a:b] = group_offset + slope * index[a:b]
        if out[a] < end + slope:
            out[a:b] += end + slope - out[a]
        out[a:b] += _slow_drift(t[a:b] - out[a:b], slope)
        end = float(out[b - 1])
    timeline.jitter_s = float(np.std(t - out))
    timeline.time_s, timeline.period_s, timeline.steady = out, slope, True
    per_packet = len(t) / (1.0 + float((~near).sum()))
    if packet < 1.5 * quantum_s:
        said = f"stamps are coarser ({1000 * quantum_s:.3g} ms) than the sampling"
    elif per_packet > 1.5:
        said = f"stamps come in bursts of about {per_packet:.0f} every {1000 * packet:.0f} ms: they are arrival times"
    else:
        said = "some stamps follow the one before within a fifth of a period: they are arrival times"
    timeline.inferences.append(f"{said}; the samples were spread evenly along a line through them")


def _follow_clock(timeline: SampleTimes, quantum_s: float) -> None:
    """One stamp per sample: use the clock behind them if it is steady, or else the stamps as they are."""
    t = timeline.time_s
    steps = np.diff(t)
    period = usual_step(steps)
    period = float(those(steps, steps < 1.9 * period).mean())
    period = float(those(steps, steps < 1.5 * period + min(quantum_s, 0.4 * period)).mean())
    usual = those(steps, steps < 1.5 * period)
    timeline.jitter_s = float(np.std(usual)) if len(usual) else 0.0
    counts = np.maximum(1.0, np.round(steps / period))
    index = np.concatenate([[0.0], np.cumsum(counts)])
    breaks = np.flatnonzero(steps > max(SHORTEST_GAP_S, 1.5 * period)) + 1
    bounds = np.concatenate([[0], breaks, [len(t)]])
    slope = _pooled_slope(t, index, bounds, period)
    line = np.empty_like(t)
    for a, b in pairwise(bounds.tolist()):
        even = slope * index[a:b]
        line[a:b] = float((t[a:b] - even).mean()) + even
    off = np.abs(t - line)
    if float(off.max()) > _FOLLOWED * slope:
        for a, b in pairwise(bounds.tolist()):
            line[a:b] += _slow_drift(t[a:b] - line[a:b], slope)
        off = np.abs(t - line)
    tolerance = max(1.05 * min(quantum_s, slope), 0.1 * slope)
    rises = bool((np.diff(line) > 0.5 * slope).all())
    farthest = float(off.max())
    steady = rises and farthest <= 0.75 * slope + quantum_s
    if steady and farthest > tolerance:
        steady = float(np.quantile(off, 0.99)) <= tolerance
    timeline.steady = steady
    timeline.period_s = slope if steady else period
    if not steady:
        timeline.inferences.append(
            f"samples are uneven in time ({1000 * timeline.jitter_s:.2g} ms standard deviation); the stamps "
            "were believed"
        )
        return
    if farthest > _FOLLOWED * slope:
        timeline.inferences.append(
            f"stamps differ by up to {1000 * farthest:.2g} ms from a steady clock of "
            f"{1 / slope:.6g} Hz; the steady clock was used"
        )
        timeline.time_s = line


def _pooled_slope(t: FloatArray, index: FloatArray, bounds: NDArray[np.intp], fallback: float) -> float:
    """Common least-squares slope of several runs that each have their own offset, s per sample."""
    starts = bounds[:-1]
    sizes = np.diff(bounds).astype(float)
    t_mean = np.add.reduceat(t, starts) / sizes
    i_mean = np.add.reduceat(index, starts) / sizes
    sizes_int = np.diff(bounds)
    di = index - np.repeat(i_mean, sizes_int)
    dt = t - np.repeat(t_mean, sizes_int)
    power = float((di**2).sum())
    slope = float((di * dt).sum()) / power if power > 0 else fallback
    return slope if 0.5 * fallback < slope < 2.0 * fallback else fallback


def _slow_drift(residual: FloatArray, period: float) -> FloatArray:
    """Slow wander of a clock about its mean rate: averages over 30 s joined by lines; none in short runs."""
    block = max(10, round(_DRIFT_KNOT_S / period))
    count = len(residual) // block
    if count < 3:
        return np.zeros_like(residual)
    means = residual[: count * block].reshape(count, block).mean(axis=1)
    middles = (np.arange(count) + 0.5) * block - 0.5
    place = np.arange(len(residual), dtype=float)
    drift = np.interp(place, middles, means)
    first, last = (means[1] - means[0]) / block, (means[-1] - means[-2]) / block
    early, late = place < middles[0], place > middles[-1]
    drift[early] = means[0] + first * (place[early] - middles[0])
    drift[late] = means[-1] + last * (place[late] - middles[-1])
    return np.asarray(drift, dtype=float)
