"""Candidates for reps: every up-and-down of a curve, with what tells one kind of movement from another."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import chain

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

    def take(self, rows: Samples) -> Candidates:
        """Some of them."""
        return Candidates(**{name: getattr(self, name)[rows] for name in self.__slots__})

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
    found, of_sizes = candidates_of(path, curve_rad, first, [turns], is_start=is_start, is_end=is_end)
    return found if of_sizes else None


def candidates_of(
    path: SensorPath,
    curve_rad: FloatArray,
    first: int,
    sizes: list[list[Turn]],
    *,
    is_start: bool,
    is_end: bool,
    is_upside_down: bool = False,
) -> tuple[Candidates, list[Samples]]:
    """As `find_candidates`, between turning points that are known, of several sizes of movement at once.

    With ``is_upside_down`` they are those of the negative of the curve: its tops are the curve's bottoms. A movement
    that is the same at several sizes is described once. Which ones each size has, if any, is the second result.
    """
    last = len(curve_rad) - 1
    between: dict[tuple[int, int, int], int] = {}
    kind, number_of_size = [], []
    for number, turns in enumerate(sizes):
        around = _around(turns, last, is_upside_down)
        for each in zip(around[:-2:2], around[1::2], around[2::2], strict=True):
            kind.append(between.setdefault(each, len(between)))
            number_of_size.append(number)
    ends = np.fromiter(chain.from_iterable(between), dtype=np.intp).reshape(-1, 3).T
    no_bottom, no_after = ends[0] < 0, ends[2] > last
    before, top, turn = np.minimum(np.maximum(ends, 0), last)
    bottom, after = _settled(curve_rad, stops_of(curve_rad, path.rate_hz), before, top, turn)
    bottom[no_bottom], after[no_after] = 0, last
    rise, fall = curve_rad[top] - curve_rad[bottom], curve_rad[top] - curve_rad[after]
    is_begun = no_bottom | (bottom == 0) & (rise < BEGUN_SHARE * fall)
    is_open = no_after | (after >= last - 1) & (fall < BEGUN_SHARE * rise)
    keep = ~((is_begun & (is_open | (not is_start))) | (is_open & (not is_end)))
    goes_on, came_from_beyond = fall > WENT_ON * rise, rise > WENT_ON * fall
    whole = ~(is_begun | is_open)
    goes_on, came_from_beyond = whole & (fall > WENT_ON * rise), whole & (rise > WENT_ON * fall)
    of, size = np.array(kind, dtype=np.intp), np.array(number_of_size)
    of, size = of[keep[of]], size[keep[of]]
    on, beyond = goes_on[of], came_from_beyond[of]
    # Between two such movements lies a valley deeper than both are high: pulses at the tops of larger ones.
    is_pulse = on[:-1] & beyond[1:] & (size[:-1] == size[1:])
    on[:-1] &= ~is_pulse
    beyond[1:] &= ~is_pulse
    kinds, which = np.unique(4 * of + 2 * on + beyond, return_inverse=True)
    of, goes_on, came_from_beyond = kinds // 4, kinds & 2 > 0, kinds & 1 > 0
    bottom, top, after, rise, fall = bottom[of], top[of], after[of], rise[of], fall[of]
    is_begun, is_open = is_begun[of], is_open[of]
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
    found = Candidates(
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
    return found, [which[size == number] for number in sorted(set(size.tolist()))]


def _around(turns: list[Turn], last: int, is_upside_down: bool) -> list[int]:
    """Samples of bottom, top, bottom, …, bottom; -1 and `last` + 1 where none was recorded."""
    at = [turn.at for turn in turns]
    if not at:
        return at
    return [-1] * (turns[0].is_top != is_upside_down) + at + [last + 1] * (turns[-1].is_top != is_upside_down)


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
        at = np.append(high, len(self.curve))
        return np.asarray(at[np.searchsorted(high, begin - self.shift)] + self.shift)


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


def _settled(
    curve: FloatArray, stops: Stops, before: Samples, top: Samples, turn: Samples
) -> tuple[Samples, Samples]:
    """Where the arm comes to rest on both sides of every top: what it does later in a rest belongs to no rep.

    That is where it stops near the lowest place, or further up where it stays.

    Parameters
    ----------
    curve : ndarray, shape (m,), rad
    stops : Stops
    before, top, turn : ndarray of int, shape (n,)
        Turns: bottom, top and bottom.

    Returns
    -------
    bottom, after : ndarray of int, shape (n,)
    """
    laid = Laid.of(curve, before, top, turn)
    high, low, low_after = curve[top], curve[before], curve[turn]
    stay, stays = stops.stay, stops.stays
    window = np.arange(stay + 1)
    left_low, arrived = laid.not_above(
        low + DOWN_SHARE * (high - low), low_after + DOWN_SHARE * (high - low_after)
    )
    off_high, left = laid.not_above(high - DOWN_SHARE * (high - low), high - DOWN_SHARE * (high - low_after))

    slow = stops.falls_no_more
    rest = np.minimum(slow[np.searchsorted(slow, arrived)], turn)
    stayed = stays[np.searchsorted(stays, left)]
    lowest = rest + curve[np.minimum(rest[:, None] + window, turn[:, None])].argmin(axis=1)
    after = np.where((rest - left > stay) & (stayed + stay <= rest), stayed, lowest)

    # The same from the top backwards.
    arrived, left = left_low, off_high
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
    laid = Laid.of(curve, bottom, top, after)
    high, low = curve[top], curve[bottom]
    lifted, lowered = laid.not_above(high - 0.5 * rise, high - 0.5 * fall)
    leaves, returns = laid.not_above(high - 0.75 * rise, high - 0.75 * fall)
    up = high - low
    reached = laid.above(low + 0.75 * up, leaves)
    steps = np.maximum(np.minimum(reached, top) - leaves, 1)
    speed = np.maximum(0.5 * up * rate_hz / steps, SLOWEST_RAD_S)
    for k in np.flatnonzero(is_begun):  # the first alone: what is known of its way up is its way down
        speed[k] = _middle_speed(curve[top[k] : after[k] + 1][::-1], rate_hz)
    return lifted, lowered, leaves, returns, speed


def _middle_speed(rising: FloatArray, rate_hz: float) -> float:
    low, rise = float(rising[0]), float(rising[-1] - rising[0])
    start = int((rising <= low + 0.25 * rise).nonzero()[0][-1])
    steps = max(int((rising[start:] >= low + 0.75 * rise).argmax()), 1)
    return max(0.5 * rise * rate_hz / steps, SLOWEST_RAD_S)
