"""Cycles of a movement nobody named: one rep per cycle, however often its angle goes up and down within it.

A wrist that tilts once on the way up and once on the way down turns twice per rep, and one whose tilt is small or
grows over the set turns irregularly. What the sensor feels as a whole, turning and acceleration together, still
repeats with the reps: its autocorrelation tells how long a cycle lasts, and the phase of the component with that
period where each one lies.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import butter, find_peaks, hilbert, sosfiltfilt

from armarc.recording import BoolArray, FloatArray
from armarc.reps.movements import BEGUN_SHARE, FULL_SET, Movement
from armarc.reps.path import STILL_RAD_S

SHORTEST_CYCLE_S = 0.5
LONGEST_CYCLE_S = 12.0
STEADY = 0.4
"""Least autocorrelation at the period for a movement to have one."""
AS_STEADY = 0.8
"""The shortest lag that reaches this share of the best one is the period; the others are its multiples."""
BANDWIDTH_HZ = 5.0
AROUND_PERIOD = (0.55, 1.5)
"""Band of the component that tells the phase, in cycles per period."""
BINS = 16
PHASE_BINS = 36
AS_LOW = 0.25
"""Share of the range within which two bottoms of a cycle are equally low."""
ALIKE = 0.5
"""Least correlation of a cycle with the mean one, both as functions of phase."""
AS_STRONG = 3.0
"""A cycle moves at least a third and at most three times as much as the mean one."""
CYCLE_RANGE = (0.5, 1.8)
"""Shortest and longest cycle, in periods."""
MISCOUNTED = 0.05
"""The turns of the angle are believed unless more than this share of the cycles holds none or several."""
KNOWN = 0.2
"""Share of the cycles in which the turns must have shown a rep already: a few of many are walking."""
APART = 0.6
"""Tops of two reps lie at least this share of a cycle apart."""
RESTING, STAYS_RAD = 0.5, math.radians(5)
"""A cycle without a turn is a pause when the sensor is still for more than this share of it and stays where it is."""
COMES_BACK = 0.25
"""A cycle without a turn that comes back less than this share of its way is one way of a rep held for cycles."""
END_SHARE = 0.5
"""A cycle cut by an end of the recording counts when it shows this share of the typical range."""


Sets = tuple[tuple[Movement, ...], ...]
Cycle = tuple[int, int, bool]
"""First sample, the one after its last, and whether it is like the mean cycle and not only between two that are."""


def by_cycles(
    sets: Sets,
    angle_of: Callable[[int], FloatArray],
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
) -> Sets:
    """Count the sets again by their cycles where the turns of the angle do not follow these.

    Parameters
    ----------
    sets : tuple of tuple of Movement
        As the turns of the angle have it.
    angle_of : function of a set's place in `sets`
        The angle it was found on, shape (n,), rad: two sets may be two exercises.
    angular_velocity_rad_s, specific_force_m_s2 : ndarray, shape (n, 3)
        Sensor axes.
    rate_hz : float, Hz

    Returns
    -------
    tuple of tuple of Movement
        Sets without a steady period, and those whose cycles hold one turn each, are as they were.
    """
    felt = _felt(angular_velocity_rad_s, specific_force_m_s2, rate_hz)
    is_still = np.linalg.norm(angular_velocity_rad_s, axis=1) < STILL_RAD_S
    open_sets = list(sets)
    done: list[tuple[Movement, ...]] = []
    while open_sets:
        largest = max(open_sets, key=lambda group: group[-1].bottom_after - group[0].bottom)
        open_sets.remove(largest)
        if len(largest) < FULL_SET:  # walking has cycles, too: a movement or two make no set of them
            done.append(largest)
            continue
        angle_rad = angle_of(sets.index(largest))
        others = [*open_sets, *done]
        taken = [(group[0].bottom, group[-1].bottom_after) for group in done]
        cycles = _cycles(felt, angle_rad, largest, rate_hz)
        cycles = _without_rests(cycles, angle_rad, is_still, largest)
        # Beyond a set that has been counted its own cycles are another one's.
        since = max((last for _, last in taken if last <= largest[0].top), default=0)
        until = min((first for first, _ in taken if first >= largest[-1].top), default=len(felt))
        cycles = [c for c in cycles if since <= c[0] and c[1] <= until]
        if len(cycles) < FULL_SET:
            done.append(largest)
            continue
        first, last = cycles[0][0], cycles[-1][1]
        inside = [group for group in others if first <= group[len(group) // 2].top < last]
        tops = np.array(sorted(m.top for group in (largest, *inside) for m in group))
        # Where the turns follow the cycles they also tell best where the set ends: handling beside it may go on
        # at much the same pace.
        begins, ends = int(tops[0]), int(tops[-1])
        whole = [c for c in cycles if c[0] > 0 and c[1] < len(angle_rad) and c[0] <= ends and c[1] > begins]
        held = [int(np.count_nonzero((tops >= a) & (tops < b))) for a, b, _ in whole]
        seen = sum(bool(((tops >= a) & (tops < b)).any()) for a, b, _ in cycles)
        is_counted = miscounted(held, whole) <= MISCOUNTED * len(whole)
        if is_counted or seen < KNOWN * len(cycles):
            done.append(largest)
            continue
        movements = _movements(angle_rad, cycles)
        # What stands a cycle beside them was counted by its turns: a first rep from rest, a last one that fails.
        apart = APART * float(np.median([b - a for a, b, _ in cycles]))
        movements += [
            m
            for m in sorted((m for group in (largest, *inside) for m in group), key=lambda m: m.top)
            if not first <= m.top < last and all(abs(m.top - other.top) > apart for other in movements)
        ]
        movements.sort(key=lambda m: m.top)
        turns = [m for group in (largest, *inside) for m in group]
        is_fewer = len(movements) < len(turns)
        if len(movements) < FULL_SET or (is_fewer and not _repeat_better(felt, cycles, turns)):
            done.append(largest)
            continue
        open_sets = [group for group in open_sets if group not in inside]
        done.append(tuple(movements))
    done.sort(key=lambda group: group[0].top)
    return tuple(done)


def _repeat_better(felt: FloatArray, cycles: list[Cycle], turns: list[Movement]) -> bool:
    """Whether cycles are more alike, one by one, than the turns of which they would leave some out.

    Where a rep turns several times its turns are unlike one another; reps held for uneven times are unlike as cycles.
    """
    values = _scaled(felt, min(m.bottom for m in turns), max(m.bottom_after for m in turns))
    of_cycles = [_shape(values[a:b]) for a, b, _ in cycles]
    of_turns = [_shape(values[m.bottom : m.bottom_after]) for m in turns if m.bottom < m.bottom_after]
    return _likeness(of_cycles) > _likeness(of_turns)


def _likeness(shapes: list[FloatArray]) -> float:
    """Mean correlation of each shape with the mean of the others."""
    each = np.array(shapes)
    others = each.sum(axis=0) - each
    size = np.sqrt((each**2).sum(axis=1) * (others**2).sum(axis=1))
    return float(((each * others).sum(axis=1) / np.maximum(size, 1e-12)).mean())


def miscounted(held: list[int], cycles: list[Cycle]) -> int:
    """How many cycles hold no turn or several. An odd one tells nothing, nor a turn just beyond its cycle's cut."""
    beyond = [sorted(pair) == [0, 2] for pair in itertools.pairwise(held)]
    near = [a or b for a, b in itertools.pairwise([False, *beyond, False])]
    return sum(
        n != 1 and is_alike and not k for n, (_, _, is_alike), k in zip(held, cycles, near, strict=True)
    )


def _without_rests(
    cycles: list[Cycle], angle_rad: FloatArray, is_still: BoolArray, group: tuple[Movement, ...]
) -> list[Cycle]:
    """Cycles in which the sensor moves there and back: a pause or a hold within a set is no rep, and one beside it
    ends the set."""
    tops = np.array([m.top for m in group])
    rests = [
        (a, b)
        for a, b, _ in cycles
        if not ((tops >= a) & (tops < b)).any()
        and (
            (is_still[a:b].mean() > RESTING and np.ptp(angle_rad[a:b]) < STAYS_RAD)
            or (
                a > 0  # what the recording cuts goes one way, too
                and b < len(angle_rad)
                and abs(angle_rad[b - 1] - angle_rad[a]) > (1 - COMES_BACK) * np.ptp(angle_rad[a:b])
            )
        )
    ]
    since = max((b for _, b in rests if b <= tops[0]), default=0)
    until = min((a for a, _ in rests if a > tops[-1]), default=len(is_still))
    return [c for c in cycles if c[:2] not in rests and since <= c[0] and c[1] <= until]


def _felt(omega: FloatArray, force: FloatArray, rate_hz: float) -> FloatArray:
    """Turning and acceleration side by side, shape (n, 6), without what is slower or faster than reps."""
    top_hz = min(BANDWIDTH_HZ, 0.4 * rate_hz)
    band = butter(2, [0.5 / LONGEST_CYCLE_S, top_hz], "bandpass", fs=rate_hz, output="sos")
    pad = min(len(omega) - 1, round(2 * LONGEST_CYCLE_S * rate_hz))
    return np.hstack([sosfiltfilt(band, values, axis=0, padlen=pad) for values in (omega, force)])


def _scaled(felt: FloatArray, first: int, stop: int) -> FloatArray:
    """Both kinds with the same power inside a stretch, whatever their units."""
    power = (felt[first:stop] ** 2).mean(axis=0)
    turning, moving = max(float(power[:3].sum()), 1e-12), max(float(power[3:].sum()), 1e-12)
    return np.asarray(felt / np.sqrt([turning] * 3 + [moving] * 3))


def find_period(values: FloatArray, rate_hz: float) -> float | None:
    """Find how long a cycle lasts.

    Parameters
    ----------
    values : ndarray, shape (n, k)
        Of mean zero.
    rate_hz : float, Hz

    Returns
    -------
    float or None, samples
        None when nothing repeats.
    """
    n = len(values)
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(values, size, axis=0)
    products = np.fft.irfft((np.abs(spectrum) ** 2).sum(axis=1), size)[:n]
    power = np.concatenate([[0.0], np.cumsum((values**2).sum(axis=1))])
    lags = np.arange(min(n // 2, round(LONGEST_CYCLE_S * rate_hz)) + 1)
    overlapping = np.sqrt(power[n - lags] * (power[n] - power[lags]))
    likeness = products[lags] / np.maximum(overlapping, 1e-12)
    apart = np.flatnonzero(likeness < 0.5 * STEADY)
    if len(apart) == 0:
        return None
    peaks, _ = find_peaks(likeness)
    peaks = peaks[peaks >= max(apart[0], round(SHORTEST_CYCLE_S * rate_hz))]
    if len(peaks) == 0 or likeness[peaks].max() < STEADY:
        return None
    return float(peaks[np.argmax(likeness[peaks] >= AS_STEADY * likeness[peaks].max())])


def _cycles(
    felt: FloatArray, angle_rad: FloatArray, group: tuple[Movement, ...], rate_hz: float
) -> list[Cycle]:
    """Cycles of the movement of a group, and on to both sides while it goes on."""
    first, stop = group[0].bottom, group[-1].bottom_after
    values = _scaled(felt, first, stop)
    period = find_period(values[first:stop], rate_hz)
    if period is None or stop - first < 2.5 * period:
        return []
    low, high = (share * rate_hz / period for share in AROUND_PERIOD)
    band = butter(2, [low, min(high, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    slow = sosfiltfilt(band, values, axis=0, padlen=min(len(values) - 1, round(3 * period)))
    _, axes = np.linalg.eigh(slow[first:stop].T @ slow[first:stop])
    phase = np.unwrap(np.angle(hilbert(slow @ axes[:, -1])))
    phase = np.maximum.accumulate(phase)
    # The cuts lie where the angle is lowest on average.
    lowest = _lowest_at(angle_rad, phase, group, period)
    begins = lowest + 2 * np.pi * np.floor((phase[0] - lowest) / (2 * np.pi))
    levels = np.arange(begins, phase[-1] + 2 * np.pi, 2 * np.pi)
    cuts = np.searchsorted(phase, levels)
    cuts = np.unique(np.clip(cuts, 0, len(values)))
    pieces = list(zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True))
    return _alike(values, pieces, first, stop, period)


def _lowest_at(angle_rad: FloatArray, phase: FloatArray, group: tuple[Movement, ...], period: float) -> float:
    """Phase of the bottom: where the angle is lowest on average, its slow drift left out.

    Of two that are about as low, the one before the first top.
    """
    first, top, stop = group[0].bottom, group[0].top, group[-1].bottom_after
    level = uniform_filter1d(angle_rad, max(round(period), 1), mode="nearest")
    bins = ((phase[first:stop] / (2 * np.pi)) % 1 * PHASE_BINS).astype(int) % PHASE_BINS
    total = np.bincount(bins, (angle_rad - level)[first:stop], PHASE_BINS)
    mean = total / np.maximum(np.bincount(bins, minlength=PHASE_BINS), 1)
    mean = uniform_filter1d(mean, 5, mode="wrap")
    is_low = (mean <= np.roll(mean, 1)) & (mean <= np.roll(mean, -1))
    is_low &= mean <= mean.min() + AS_LOW * np.ptp(mean)
    lows = (np.flatnonzero(is_low) + 0.5) / PHASE_BINS * 2 * np.pi
    return float(lows[np.argmin((phase[top] - lows) % (2 * np.pi))])


def _alike(
    values: FloatArray, pieces: list[tuple[int, int]], first: int, stop: int, period: float
) -> list[Cycle]:
    """Pieces like the mean one, from the stretch outward."""
    within = [CYCLE_RANGE[0] * period <= b - a <= CYCLE_RANGE[1] * period for a, b in pieces]
    shapes = np.array([_shape(values[a:b]) for a, b in pieces])
    known = np.array(
        [ok and a >= first - 1 and b <= stop + 1 for ok, (a, b) in zip(within, pieces, strict=True)]
    )
    if known.sum() < 2:
        return []
    mean = shapes[known].mean(axis=0)
    size = np.sqrt((shapes**2).sum(axis=1))
    likeness = shapes @ mean / np.maximum(size * np.sqrt(mean @ mean), 1e-12)
    typical = float(np.median(size[known]))
    strong = (size > typical / AS_STRONG) & (size < typical * AS_STRONG)
    belongs = (likeness > ALIKE) & strong & np.array(within)
    is_alike = belongs.copy()
    # The ends of the recording cut cycles, and one odd cycle between two good ones is a poor rep.
    belongs[1:-1] |= belongs[:-2] & belongs[2:] & strong[1:-1]
    belongs[0] |= belongs[1] and strong[0] and pieces[0][0] == 0
    belongs[-1] |= belongs[-2] and strong[-1] and pieces[-1][1] == len(values)
    middle = int(np.flatnonzero(known)[known.sum() // 2])
    if not belongs[middle]:
        return []
    a = b = middle
    while a > 0 and belongs[a - 1]:
        a -= 1
    while b + 1 < len(pieces) and belongs[b + 1]:
        b += 1
    return [
        (*piece, bool(alike)) for piece, alike in zip(pieces[a : b + 1], is_alike[a : b + 1], strict=True)
    ]


def _shape(values: FloatArray) -> FloatArray:
    at = np.linspace(0, len(values) - 1, BINS)
    index = np.arange(len(values))
    return np.concatenate([np.interp(at, index, column) for column in values.T])


def _movements(angle_rad: FloatArray, cycles: list[Cycle]) -> list[Movement]:
    """One movement per cycle: its highest angle, and the lowest ones between that and its neighbours'."""
    tops = [a + int(angle_rad[a:b].argmax()) for a, b, _ in cycles]
    n = len(angle_rad)
    edges = [cycles[0][0], *tops, min(cycles[-1][1], n - 1)]
    bottoms = [a + int(angle_rad[a : b + 1].argmin()) for a, b in itertools.pairwise(edges)]
    movements = []
    for k, top in enumerate(tops):
        before, after = bottoms[k], bottoms[k + 1]
        rise, fall = (float(angle_rad[top] - angle_rad[at]) for at in (before, after))
        movements.append(
            Movement(
                bottom=before,
                top=top,
                bottom_after=after,
                earliest=tops[k - 1] if k else cycles[0][0],
                latest=tops[k + 1] if k + 1 < len(tops) else edges[-1],
                rise_rad=rise,
                fall_rad=fall,
            )
        )
    typical = float(np.median([m.rise_rad for m in movements]))
    first, last = movements[0], movements[-1]
    if last.bottom_after >= n - 2 and last.fall_rad < END_SHARE * last.rise_rad:
        movements[-1] = replace(last, is_open=True)
    if first.bottom <= 1 and first.rise_rad < BEGUN_SHARE * first.fall_rad:
        movements[0] = replace(first, is_begun=True, rise_rad=first.fall_rad)
    least = np.full(len(movements), 1e-6)
    least[[0, -1]] = END_SHARE * typical
    return [m for m, enough in zip(movements, least, strict=True) if m.rise_rad >= enough]
