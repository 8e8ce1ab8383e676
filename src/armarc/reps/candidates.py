"""Candidates for reps: every up-and-down of a curve, with what tells one kind of movement from another."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from armarc.recording import BoolArray, FloatArray
from armarc.reps.movements import BEGUN_SHARE, Movement
from armarc.reps.path import SensorPath
from armarc.reps.phases import DOWN_SHARE, ON_RATE_RAD_S, SETTLE_S
from armarc.reps.turning import Turn, coarser, turning_points

Row = tuple[int, int, int, float, float, bool, bool, float]


@dataclass(slots=True)
class SeenBefore:
    """What a curve has shown already, so that another hysteresis need not look again.

    ``turns`` are those of the last hysteresis; ``settled`` says for a top and a turn beside it how far apart the
    arm came to rest, ``described`` what `Candidates` says of a movement's speed and times.
    """

    turns: list[Turn] | None = None
    settled: dict[tuple[int, int], int] = field(default_factory=dict)
    described: dict[Row, tuple[float, float, float, float]] = field(default_factory=dict)


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
    before: SeenBefore | None = None,
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
    before : SeenBefore, optional
        Of this very curve, at the same or a smaller hysteresis.

    Returns
    -------
    Candidates or None
        None when there is not one.
    """
    seen = SeenBefore() if before is None else before
    if seen.turns is None:
        turns = seen.turns = turning_points(curve_rad, hysteresis_rad)
    else:
        turns = seen.turns = coarser(seen.turns, hysteresis_rad)
    rows: list[Row] = []
    last = len(curve_rad) - 1
    for k, top in enumerate(turns):
        if not top.is_top:
            continue
        no_bottom, no_after = k == 0, k + 1 == len(turns)
        bottom = 0 if no_bottom else turns[k - 1].index
        after = last if no_after else turns[k + 1].index
        if not no_bottom:
            bottom = top.index - _settled(curve_rad, top.index, bottom, path.rate_hz, seen)
        if not no_after:
            after = top.index + _settled(curve_rad, top.index, after, path.rate_hz, seen)
        rise = float(curve_rad[top.index] - curve_rad[bottom])
        fall = float(curve_rad[top.index] - curve_rad[after])
        is_begun = no_bottom or (bottom == 0 and rise < BEGUN_SHARE * fall)
        is_open = no_after or (after >= last - 1 and fall < BEGUN_SHARE * rise)
        if (is_begun and (is_open or not is_start)) or (is_open and not is_end):
            continue
        rows.append(
            (
                bottom,
                top.index,
                after,
                fall if is_begun else rise,
                rise if is_open else fall,
                is_begun,
                is_open,
                rise + fall,
            )
        )
    return _described(path, curve_rad, first, rows, seen) if rows else None


def _described(
    path: SensorPath,
    curve: FloatArray,
    first: int,
    rows: list[Row],
    before: SeenBefore,
) -> Candidates:
    known = before.described
    for row in rows:
        if row not in known:
            known[row] = _times(row, curve, first, path.rate_hz)
    up_s, leaves, returns, speed = zip(*(known[row] for row in rows), strict=True)
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    bottoms, tops, afters, rises, falls, begun, opened, seen = columns
    bottoms, tops, afters = bottoms + first, tops + first, afters + first
    low = np.where(begun, afters, bottoms)
    turning = path.turned_rad[tops] - path.turned_rad[low]
    turned = np.linalg.norm(turning, axis=1)
    return Candidates(
        bottom=bottoms,
        top=tops,
        bottom_after=afters,
        rise_rad=rises,
        fall_rad=falls,
        is_begun=begun,
        is_open=opened,
        seen_rad=seen,
        range_rad=np.sqrt(np.maximum(rises * falls, 1e-9)),
        up_s=np.array(up_s),
        speed_rad_s=np.array(speed),
        leaves_s=np.array(leaves),
        returns_s=np.array(returns),
        pose=path.up[low],
        direction=turning / np.maximum(turned, 1e-9)[:, None],
        turned_rad=turned,
    )


def _times(row: Row, curve: FloatArray, first: int, rate_hz: float) -> tuple[float, float, float, float]:
    """Time spent up, when it leaves and returns, and the speed of the middle half; see `Candidates`."""
    bottom, top, after, rise, fall, is_begun, _, _ = row
    way_up, way_down = curve[bottom : top + 1], curve[top : after + 1]
    high = float(curve[top])
    lifted = bottom + _last_below(way_up, high - 0.5 * rise)
    lowered = top + _first_below(way_down, high - 0.5 * fall)
    return (
        (lowered - lifted + 1) / rate_hz,
        (first + bottom + _last_below(way_up, high - 0.75 * rise)) / rate_hz,
        (first + top + _first_below(way_down, high - 0.75 * fall)) / rate_hz,
        _middle_speed(way_down[::-1] if is_begun else way_up, rate_hz),
    )


def _settled(curve: FloatArray, top: int, turn: int, rate_hz: float, before: SeenBefore) -> int:
    """Steps from a top to where the arm comes to rest on the way to the turn before or after it."""
    if (top, turn) not in before.settled:
        falling = curve[top : turn + 1] if turn >= top else curve[turn : top + 1][::-1]
        before.settled[top, turn] = _steps_to_rest(falling, rate_hz)
    return before.settled[top, turn]


def _steps_to_rest(falling: FloatArray, rate_hz: float) -> int:
    """Steps from the top to where the arm comes to rest: what it does later in a rest belongs to no rep.

    That is where it stops near the lowest place, or further up where it stays.
    """
    high, low = float(falling[0]), float(falling[-1])
    slow = falling[:-1] - falling[1:] <= ON_RATE_RAD_S / rate_hz
    arrived = int((falling <= low + DOWN_SHARE * (high - low)).argmax())
    stopped = slow[arrived:].nonzero()[0]
    rest = arrived + int(stopped[0]) if len(stopped) else len(falling) - 1
    stay = math.ceil(SETTLE_S * rate_hz)
    left = int((falling <= high - DOWN_SHARE * (high - low)).argmax())
    if rest - left > stay:
        still = np.abs(np.diff(falling[left : rest + 1])) <= ON_RATE_RAD_S / rate_hz
        stays = (np.convolve(still, np.ones(stay), "valid") >= stay).nonzero()[0]
        if len(stays):
            return left + int(stays[0])
    return rest + int(falling[rest : rest + stay + 1].argmin())


def _last_below(curve: FloatArray, level: float) -> int:
    below = (curve <= level).nonzero()[0]
    return int(below[-1]) if len(below) else 0


def _first_below(curve: FloatArray, level: float) -> int:
    below = (curve <= level).nonzero()[0]
    return int(below[0]) if len(below) else len(curve) - 1


def _middle_speed(rising: FloatArray, rate_hz: float) -> float:
    low, rise = float(rising[0]), float(rising[-1] - rising[0])
    start = _last_below(rising, low + 0.25 * rise)
    stop = (rising[start:] >= low + 0.75 * rise).nonzero()[0]
    steps = max(int(stop[0]) if len(stop) else 1, 1)
    return max(0.5 * rise * rate_hz / steps, math.radians(0.1))
