"""Candidates for reps: every up-and-down of a curve, with what tells one kind of movement from another."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armarc.recording import BoolArray, FloatArray
from armarc.reps.movements import BEGUN_SHARE, Movement
from armarc.reps.path import SensorPath
from armarc.reps.phases import DOWN_SHARE, ON_RATE_RAD_S, SETTLE_S
from armarc.reps.turning import Turn, turning_points

SLOWEST_RAD_S = math.radians(0.1)
WENT_ON = math.exp(0.35)
"""A movement that goes down this many times as far as it came up, or more, has come back on the way: a last rep after
which the weight is put down at once. So much, one spread of people's returns, is all that speaks against it."""
NEARLY_BACK = 0.1
"""It has come back when this share of its way is left: it may have rested a little higher than it went."""
Samples = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """n up-and-downs of one curve in time order, as arrays of shape (n,) unless said otherwise.

    Parameters
    ----------
    bottom, top, bottom_after : ndarray of int
        Samples of the path.
    rise_rad, fall_rad : ndarray, rad
        Of a movement that is cut, the part which is missing is taken to be like the other.
    is_begun, is_open : ndarray of bool
        The recording started or ended in the middle of it.
    seen_rad : ndarray, rad
        Way up and down that was recorded.
    range_rad : ndarray, rad
        Geometric mean of rise and fall.
    up_s : ndarray, s
        Time spent in the upper half.
    speed_rad_s : ndarray, rad/s
        Over the middle half of the rise.
    leaves_s, returns_s : ndarray, s
        When the lowest quarter is left and reached again.
    pose : ndarray, shape (n, 3)
        Up in sensor axes at the bottom.
    direction : ndarray, shape (n, 3)
        Unit vector of the turning from bottom to top, sensor axes.
    turned_rad : ndarray, rad
        How much that is.
    """

    bottom: np.ndarray
    top: np.ndarray
    bottom_after: np.ndarray
    rise_rad: FloatArray
    fall_rad: FloatArray
    is_begun: BoolArray
    is_open: BoolArray
    seen_rad: FloatArray
    range_rad: FloatArray
    up_s: FloatArray
    speed_rad_s: FloatArray
    leaves_s: FloatArray
    returns_s: FloatArray
    pose: FloatArray
    direction: FloatArray
    turned_rad: FloatArray

    def __len__(self) -> int:
        return len(self.top)

    @property
    def is_cut(self) -> BoolArray:
        """Which are cut by an end of the recording."""
        return np.asarray(self.is_begun | self.is_open)

    def movement(self, k: int) -> Movement:
        """Candidate `k` as a movement in samples of the path."""
        return Movement(
            bottom=int(self.bottom[k]),
            top=int(self.top[k]),
            bottom_after=int(self.bottom_after[k]),
            earliest=int(self.bottom[k]) if k == 0 else int(self.top[k - 1]),
            latest=int(self.bottom_after[k]) if k + 1 == len(self) else int(self.top[k + 1]),
            rise_rad=float(self.rise_rad[k]),
            fall_rad=float(self.fall_rad[k]),
            is_open=bool(self.is_open[k]),
            is_begun=bool(self.is_begun[k]),
        )


def find_candidates(
    path: SensorPath,
    curve_rad: FloatArray,
    first: int,
    hysteresis_rad: float,
    *,
    is_start: bool,
    is_end: bool,
) -> Candidates | None:
    """Find the up-and-downs of a curve that lies over a part of the path.

    Parameters
    ----------
    path : SensorPath
    curve_rad : ndarray, shape (m,), rad
        From sample `first` of the path on.
    first : int
    hysteresis_rad : float, rad
        A reversal smaller than this is none.
    is_start, is_end : bool
        Whether the part begins and ends where the recording does: only there is a movement cut.

    Returns
    -------
    Candidates or None
        None when there is not one.
    """
    turns = turning_points(curve_rad, hysteresis_rad)
    stops = stops_of(curve_rad, path.rate_hz)
    return candidates_between(path, curve_rad, stops, first, turns, is_start=is_start, is_end=is_end)


def candidates_between(
    path: SensorPath,
    curve_rad: FloatArray,
    stops: Stops,
    first: int,
    turns: list[Turn],
    *,
    is_start: bool,
    is_end: bool,
    is_upside_down: bool = False,
) -> Candidates | None:
    """As `find_candidates`, between turning points that are known.

    With ``is_upside_down`` they are those of the negative of the curve: its tops are the curve's bottoms.
    """
    last = len(curve_rad) - 1
    at = [turn.index for turn in turns]
    no_bottom = bool(turns) and turns[0].is_top != is_upside_down
    no_after = bool(turns) and turns[-1].is_top != is_upside_down
    around = np.array([0] * no_bottom + at + [last] * no_after)
    if len(around) < 3:
        return None
    top, bottom, after = around[1::2], *_settled(curve_rad, stops, around)
    if no_bottom:
        bottom[0] = 0
    if no_after:
        after[-1] = last
    rise, fall = curve_rad[top] - curve_rad[bottom], curve_rad[top] - curve_rad[after]
    is_begun = (bottom == 0) & (rise < BEGUN_SHARE * fall)
    is_open = (after >= last - 1) & (fall < BEGUN_SHARE * rise)
    is_begun[0] |= no_bottom
    is_open[-1] |= no_after
    keep = ~((is_begun & (is_open | (not is_start))) | (is_open & (not is_end)))
    if not keep.any():
        return None
    top, bottom, after = top[keep], bottom[keep], after[keep]
    rise, fall, is_begun, is_open = rise[keep], fall[keep], is_begun[keep], is_open[keep]
    whole = ~(is_begun | is_open)
    goes_on, came_from_beyond = whole & (fall > WENT_ON * rise), whole & (rise > WENT_ON * fall)
    # Between two such movements lies a valley deeper than both are high: pulses at the tops of larger ones.
    between = goes_on[:-1] & came_from_beyond[1:]
    goes_on[:-1] &= ~between
    came_from_beyond[1:] &= ~between
    bottom, after = _back_at(curve_rad, (bottom, top, after), (rise, fall), came_from_beyond, goes_on)
    seen = rise + fall
    rise, fall = np.where(is_begun, fall, rise), np.where(is_open, rise, fall)
    rise, fall = np.where(came_from_beyond, WENT_ON * fall, rise), np.where(goes_on, WENT_ON * rise, fall)
    lifted, lowered, leaves, returns, speed = _times(
        curve_rad, bottom, top, after, rise, fall, is_begun, path.rate_hz
    )
    low = first + np.where(is_begun, after, bottom)
    turning = path.turned_rad[top + first] - path.turned_rad[low]
    turned = np.sqrt((turning * turning).sum(axis=1))
    return Candidates(
        bottom=bottom + first,
        top=top + first,
        bottom_after=after + first,
        rise_rad=rise,
        fall_rad=fall,
        is_begun=is_begun,
        is_open=is_open,
        seen_rad=seen,
        range_rad=np.sqrt(np.maximum(rise * fall, 1e-9)),
        up_s=(lowered - lifted + 1) / path.rate_hz,
        speed_rad_s=speed,
        leaves_s=(leaves + first) / path.rate_hz,
        returns_s=(returns + first) / path.rate_hz,
        pose=path.up[low],
        direction=turning / np.maximum(turned, 1e-9)[:, None],
        turned_rad=turned,
    )


def _where_not_above(curve: FloatArray, edges: Samples, levels: FloatArray) -> Samples:
    """Samples at which the curve is not above the level of its stretch; stretch k is edges[k] … edges[k + 1] - 1.

    One more, behind all, so that a search for the next one always finds something.
    """
    begin, stop = edges[0], edges[-1]
    low = (curve[begin:stop] <= np.repeat(levels, edges[1:] - edges[:-1])).nonzero()[0]
    at = np.empty(len(low) + 1, dtype=np.intp)
    np.add(low, begin, out=at[:-1])
    at[-1] = len(curve)
    return at


@dataclass(frozen=True, slots=True)
class Stops:
    """Where a curve stops, whatever its turns are.

    At ``stays`` begin windows of ``stay`` samples in which it stays; from ``falls_no_more`` on it does not fall, up to
    ``rose_no_more`` it has not risen. One place before or behind all lets every search find something.
    """

    stay: int
    stays: Samples
    falls_no_more: Samples
    rose_no_more: Samples


def stops_of(curve_rad: FloatArray, rate_hz: float) -> Stops:
    """Where a curve, shape (m,), stops."""
    step, on, stay = curve_rad[1:] - curve_rad[:-1], ON_RATE_RAD_S / rate_hz, math.ceil(SETTLE_S * rate_hz)
    not_down, not_up = step >= -on, step <= on
    still = np.concatenate([[0], np.cumsum(not_down & not_up)])
    stays = (still[stay:] - still[:-stay] >= stay).nonzero()[0]
    end = [len(curve_rad)]
    return Stops(
        stay=stay,
        stays=np.concatenate([[-1], stays, end]),
        falls_no_more=np.concatenate([not_down.nonzero()[0], end]),
        rose_no_more=np.concatenate([[-1], not_up.nonzero()[0] + 1]),
    )


def _settled(curve: FloatArray, stops: Stops, around: Samples) -> tuple[Samples, Samples]:
    """Where the arm comes to rest on both sides of every top: what it does later in a rest belongs to no rep.

    That is where it stops near the lowest place, or further up where it stays.

    Parameters
    ----------
    curve : ndarray, shape (m,), rad
    stops : Stops
    around : ndarray of int, shape (2 n + 1,)
        Turns: bottom, top, bottom, …, bottom.

    Returns
    -------
    bottom, after : ndarray of int, shape (n,)
    """
    before, top, turn = around[:-2:2], around[1::2], around[2::2]
    highs, lows = np.repeat(curve[top], 2), curve[np.column_stack([before, turn]).ravel()]
    stay, stays = stops.stay, stops.stays
    window = np.arange(stay + 1)

    near_low = _where_not_above(curve, around, lows + DOWN_SHARE * (highs - lows))
    off_high = _where_not_above(curve, around, highs - DOWN_SHARE * (highs - lows))

    arrived = np.minimum(near_low[np.searchsorted(near_low, top)], turn)
    left = np.minimum(off_high[np.searchsorted(off_high, top)], turn)
    slow = stops.falls_no_more
    rest = np.minimum(slow[np.searchsorted(slow, arrived)], turn)
    stayed = stays[np.searchsorted(stays, left)]
    lowest = rest + curve[np.minimum(rest[:, None] + window, turn[:, None])].argmin(axis=1)
    after = np.where((rest - left > stay) & (stayed + stay <= rest), stayed, lowest)

    # The same from the top backwards.
    arrived = near_low[np.maximum(np.searchsorted(near_low, top) - 1, 0)]
    left = off_high[np.maximum(np.searchsorted(off_high, top) - 1, 0)]
    slow = stops.rose_no_more
    rest = np.maximum(slow[np.searchsorted(slow, arrived, side="right") - 1], before)
    stayed = stays[np.searchsorted(stays, left - stay, side="right") - 1]
    lowest = rest - curve[np.maximum(rest[:, None] - window, before[:, None])].argmin(axis=1)
    bottom = np.where((left - rest > stay) & (stayed >= rest), stayed + stay, lowest)
    return bottom, after


def _back_at(
    curve: FloatArray,
    ends: tuple[Samples, Samples, Samples],
    ways: tuple[FloatArray, FloatArray],
    came_from_beyond: BoolArray,
    goes_on: BoolArray,
) -> tuple[Samples, Samples]:
    """Bottoms beside movements that came back and went on past where they began, or came from beyond: the way back."""
    (bottom, top, after), (rise, fall) = ends, ways
    back, set_off = after.copy(), bottom.copy()
    for k in np.flatnonzero(goes_on):
        falling = curve[top[k] : after[k] + 1]
        back[k] = top[k] + int((falling <= curve[bottom[k]] + NEARLY_BACK * rise[k]).argmax())
    for k in np.flatnonzero(came_from_beyond):
        rising = curve[bottom[k] : top[k] + 1][::-1]
        set_off[k] = top[k] - int((rising <= curve[after[k]] + NEARLY_BACK * fall[k]).argmax())
    return set_off, back


def _times(
    curve: FloatArray,
    bottom: Samples,
    top: Samples,
    after: Samples,
    rise: FloatArray,
    fall: FloatArray,
    is_begun: BoolArray,
    rate_hz: float,
) -> tuple[Samples, Samples, Samples, Samples, FloatArray]:
    """When the upper half is entered and left, the lowest quarter left and reached again; speed of the middle half."""
    edges, levels = np.empty(3 * len(top), dtype=np.intp), np.full(3 * len(top), -np.inf)
    edges[::3], edges[1::3], edges[2::3] = bottom, top, after
    high, low = curve[top], curve[bottom]

    def crossed(share: float) -> tuple[Samples, Samples]:
        levels[::3], levels[1::3] = high - share * rise, high - share * fall
        at = _where_not_above(curve, edges, levels[:-1])
        here = np.searchsorted(at, top)
        return np.maximum(at[here - 1] * (here > 0), bottom), np.minimum(at[here], after)

    lifted, lowered = crossed(0.5)
    leaves, returns = crossed(0.75)
    up = high - low
    not_yet = _where_not_above(-curve, edges, np.repeat(-(low + 0.75 * up), 3)[:-1])
    steps = np.maximum(np.minimum(not_yet[np.searchsorted(not_yet, leaves)], top) - leaves, 1)
    speed = np.maximum(0.5 * up * rate_hz / steps, SLOWEST_RAD_S)
    for k in np.flatnonzero(is_begun):  # the first alone: what is known of its way up is its way down
        speed[k] = _middle_speed(curve[top[k] : after[k] + 1][::-1], rate_hz)
    return lifted, lowered, leaves, returns, speed


def _middle_speed(rising: FloatArray, rate_hz: float) -> float:
    low, rise = float(rising[0]), float(rising[-1] - rising[0])
    start = int((rising <= low + 0.25 * rise).nonzero()[0][-1])
    steps = max(int((rising[start:] >= low + 0.75 * rise).argmax()), 1)
    return max(0.5 * rise * rate_hz / steps, SLOWEST_RAD_S)
