"""Candidates for reps: every up-and-down of a curve, with what tells one kind of movement from another."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import chain, product

import numpy as np

from armarc.recording import BoolArray, FloatArray
from armarc.reps.movements import BEGUN_SHARE, Movement
from armarc.reps.path import SensorPath, cross_rows
from armarc.reps.settling import Laid, Samples, settled
from armarc.reps.turning import Turns, turns_of

SLOWEST_RAD_S = math.radians(0.1)
WENT_ON = math.exp(0.35)
"""A movement that goes down this many times as far as it came up, or more, has come back on the way: a last rep after
which the weight is put down at once. So much, one spread of people's returns, is all that speaks against it."""
NEARLY_BACK = 0.1
"""It has come back when this share of its way is left: it may have rested a little higher than it went."""


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
    enclosed : ndarray, shape (n, 3), rad²
        Area between the ways up and down on the path of the turning, as a vector at right angles to it.
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
    enclosed: FloatArray

    def __len__(self) -> int:
        return len(self.top)

    @property
    def is_cut(self) -> BoolArray:
        """Which are cut by an end of the recording."""
        return np.asarray(self.is_begun | self.is_open)

    def take(self, rows: Samples | slice) -> Candidates:
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
    turns = turns_of(curve_rad, hysteresis_rad)
    both = candidates_of(path, curve_rad, first, [turns], (1.0,), is_start=is_start, is_end=is_end)
    return both[0][1].take(both[0][2][0]) if both else None


def candidates_of(
    path: SensorPath,
    curve_rad: FloatArray,
    first: int,
    sizes: list[Turns],
    signs: tuple[float, ...],
    *,
    is_start: bool,
    is_end: bool,
) -> list[tuple[float, Candidates, list[Samples]]]:
    """As `find_candidates`, between turning points that are known, of several sizes of movement at once.

    For every sign (with -1 the curve's tops are its bottoms) that has any: the candidates, one that is the same at
    several sizes described once, and which of them each size has that has any, in time order; where the arm stops
    half-way, a size's are there once more as if it had not.
    """
    last = len(curve_rad) - 1
    between: dict[tuple[int, int, int, int], int] = {}
    kind: list[int] = []
    looks: list[int] = []
    for number, (k, turns) in enumerate(product(range(len(signs)), sizes)):
        at = _around(turns, last, signs[k] < 0)
        for ends in zip(at[:-2:2], at[1::2], at[2::2], strict=True):
            kind.append(between.setdefault((k, *ends), len(between)))
            looks.append(number)
    if not kind:
        return []
    curve = np.concatenate([sign * curve_rad for sign in signs])
    around = np.fromiter(chain.from_iterable(between), dtype=np.intp).reshape(-1, 4).T
    way, no_bottom, no_after = around[0], around[1] < 0, around[3] > last
    begin = way * len(curve_rad)
    before, top, turn = begin + np.minimum(np.maximum(around[1:], 0), last)
    (bottom, after), (lowest, lowest_after) = settled(curve, path.rate_hz, before, top, turn)
    of, look, per_sign = np.array(kind), np.array(looks), len(sizes)
    is_stop = (bottom != lowest) | (after != lowest_after)
    stops = is_stop.nonzero()[0]
    if len(stops):  # half-way: where the arm came to rest, or a pause of the rep; both are looked at
        n = len(way)
        by_way = np.argsort(np.concatenate([way, way[stops]]), kind="stable")
        place = np.argsort(by_way)
        again = np.arange(n)
        again[stops] = n + np.arange(len(stops))
        has_stops = np.zeros(len(signs) * per_sign, dtype=np.bool_)
        has_stops[look[is_stop[of]]] = True
        twice = has_stops[look]
        of = place[np.concatenate([of, again[of[twice]]])]
        sign_of, size = np.divmod(look, per_sign)
        look = 2 * per_sign * sign_of + size
        look = np.concatenate([look, look[twice] + per_sign])
        per_sign *= 2
        whence = np.concatenate([np.arange(n), stops])[by_way]
        way, no_bottom, no_after, begin, top = (
            values[whence] for values in (way, no_bottom, no_after, begin, top)
        )
        bottom, after = (
            np.concatenate([each, other[stops]])[by_way]
            for each, other in ((bottom, lowest), (after, lowest_after))
        )
    bottom, after = np.where(no_bottom, begin, bottom), np.where(no_after, begin + last, after)
    rise, fall = curve[top] - curve[bottom], curve[top] - curve[after]
    is_begun = no_bottom | (bottom == begin) & (rise < BEGUN_SHARE * fall)
    is_open = no_after | (after >= begin + last - 1) & (fall < BEGUN_SHARE * rise)
    keep = ~((is_begun & (is_open | (not is_start))) | (is_open & (not is_end)))
    whole = ~(is_begun | is_open)
    goes_on, came_from_beyond = whole & (fall > WENT_ON * rise), whole & (rise > WENT_ON * fall)
    of, look = of[keep[of]], look[keep[of]]
    on, beyond = goes_on[of], came_from_beyond[of]
    # Between two such movements lies a valley deeper than both are high: pulses at the tops of larger ones.
    valley = np.minimum(fall[of[:-1]], rise[of[1:]])
    is_deeper = valley > WENT_ON * np.maximum(rise[of[:-1]], fall[of[1:]])
    is_pulse = on[:-1] & beyond[1:] & is_deeper & (look[:-1] == look[1:])
    on[:-1] &= ~is_pulse
    beyond[1:] &= ~is_pulse
    each = 4 * of + 2 * on + beyond
    is_there = np.zeros(4 * len(way), dtype=np.bool_)
    is_there[each] = True
    kinds, which = is_there.nonzero()[0], (np.cumsum(is_there) - 1)[each]
    of, goes_on, came_from_beyond = kinds // 4, kinds & 2 > 0, kinds & 1 > 0
    bottom, top, after, rise, fall = bottom[of], top[of], after[of], rise[of], fall[of]
    is_begun, is_open = is_begun[of], is_open[of]
    bottom, after = _back_at(curve, (bottom, top, after), (rise, fall), came_from_beyond, goes_on)
    seen = rise + fall
    rise, fall = np.where(is_begun, fall, rise), np.where(is_open, rise, fall)
    rise, fall = np.where(came_from_beyond, WENT_ON * fall, rise), np.where(goes_on, WENT_ON * rise, fall)
    lifted, lowered, leaves, returns, speed = _times(
        curve, bottom, top, after, rise, fall, is_begun, path.rate_hz
    )
    begin = begin[of] - first
    low = np.where(is_begun, after, bottom) - begin
    turning = path.turned_rad[top - begin] - path.turned_rad[low]
    turned = np.sqrt((turning * turning).sum(axis=1))
    start, end = bottom - begin, after - begin
    from_start = path.turned_rad[end] - path.turned_rad[start]
    swept = path.swept_rad2[end] - path.swept_rad2[start] - cross_rows(path.turned_rad[start], from_start)
    # A bias of the gyroscope alone would open the path evenly in time: closed again it encloses what the arm did.
    mean = (path.added_rad[end] - path.added_rad[start]) / np.maximum(end - start, 1)[:, None]
    closed = 2 * cross_rows(from_start, mean - path.turned_rad[start])
    swept += np.where((is_begun | is_open)[:, None], 0.0, closed)
    found = Candidates(
        bottom=bottom - begin,
        top=top - begin,
        bottom_after=after - begin,
        rise_rad=rise,
        fall_rad=fall,
        is_begun=is_begun,
        is_open=is_open,
        seen_rad=seen,
        range_rad=np.sqrt(np.maximum(rise * fall, 1e-9)),
        up_s=(lowered - lifted + 1) / path.rate_hz,
        speed_rad_s=speed,
        leaves_s=(leaves - begin) / path.rate_hz,
        returns_s=(returns - begin) / path.rate_hz,
        pose=path.up[low],
        direction=turning / np.maximum(turned, 1e-9)[:, None],
        turned_rad=turned,
        enclosed=0.5 * swept,
    )
    edges = np.searchsorted(way[of], range(len(signs) + 1))
    return [
        (
            sign,
            found.take(slice(*edges[k : k + 2])),
            [
                which[rows] - edges[k]
                for number in range(k * per_sign, (k + 1) * per_sign)
                if len(rows := (look == number).nonzero()[0])
            ],
        )
        for k, sign in enumerate(signs)
        if edges[k] < edges[k + 1]
    ]


def _around(turns: Turns, last: int, is_upside_down: bool) -> list[int]:
    """Samples of bottom, top, bottom, …, bottom; -1 and `last` + 1 where none was recorded."""
    at = turns.at
    if not at:
        return at
    begins = turns.begins_with_top != is_upside_down
    ends = begins if len(at) % 2 else not begins
    return [-1] * begins + at + [last + 1] * ends


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
