"""Turning points of an angle with hysteresis: the step that tells a rep from a wobble.

State is explicit, so that the live engine and the offline road run the same code: offline is the fold of
`step` over the local extremes, live the fold over every sample, and both confirm the same turning points.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from armarc.recording import FloatArray


class Turn(NamedTuple):
    """A confirmed turning point: a top (``is_top``) or a bottom.

    A named tuple, since every look at a recording makes thousands and a frozen dataclass takes three times as long.
    """

    at: int
    angle_rad: float
    is_top: bool


class TurningState(NamedTuple):
    """Where the search stands; ``rising`` is None until the first movement larger than the hysteresis."""

    rising: bool | None = None
    low_index: int = -1
    low_rad: float = float("inf")
    high_index: int = -1
    high_rad: float = float("-inf")


def step(
    state: TurningState, index: int, angle_rad: float, hysteresis_rad: float
) -> tuple[TurningState, Turn | None]:
    """Take one sample; return the new state and the turning point it confirms, if any.

    A top is confirmed once the angle has fallen by the hysteresis from its highest value, a bottom once it
    has risen by it. Of equal extremes the first counts.
    """
    if state.rising is None:
        low_index, low = state.low_index, state.low_rad
        high_index, high = state.high_index, state.high_rad
        if angle_rad < low:
            low_index, low = index, angle_rad
        if angle_rad > high:
            high_index, high = index, angle_rad
        if angle_rad - low >= hysteresis_rad:
            turn = Turn(low_index, low, False)
            return TurningState(True, low_index, low, index, angle_rad), turn
        if high - angle_rad >= hysteresis_rad:
            turn = Turn(high_index, high, True)
            return TurningState(False, index, angle_rad, high_index, high), turn
        return TurningState(None, low_index, low, high_index, high), None
    if state.rising:
        if angle_rad > state.high_rad:
            return TurningState(True, state.low_index, state.low_rad, index, angle_rad), None
        if state.high_rad - angle_rad >= hysteresis_rad:
            turn = Turn(state.high_index, state.high_rad, True)
            return TurningState(False, index, angle_rad, state.high_index, state.high_rad), turn
        return state, None
    if angle_rad < state.low_rad:
        return TurningState(False, index, angle_rad, state.high_index, state.high_rad), None
    if angle_rad - state.low_rad >= hysteresis_rad:
        turn = Turn(state.low_index, state.low_rad, False)
        return TurningState(True, state.low_index, state.low_rad, index, angle_rad), turn
    return state, None


def finish(state: TurningState, hysteresis_rad: float) -> Turn | None:
    """Return the last extreme when the recording ends: the place the movement had reached."""
    if state.rising is None:
        return None
    if state.rising:
        return Turn(state.high_index, state.high_rad, True)
    return Turn(state.low_index, state.low_rad, False)


class Turns(NamedTuple):
    """Turning points of a curve in time order, tops and bottoms in turn: every look makes thousands."""

    at: list[int]
    angle_rad: list[float]
    begins_with_top: bool


def coarser(turns: Turns, hysteresis_rad: float) -> Turns:
    """The turning points of a curve at a larger hysteresis, from those at a smaller one, which hold them all.

    Parameters
    ----------
    turns : Turns
        As `turns_of` gives them.
    hysteresis_rad : float, rad
        At least as large as theirs.
    """
    return _turns(turns.at, turns.angle_rad, hysteresis_rad)


def turns_of(angle_rad: FloatArray, hysteresis_rad: float) -> Turns:
    """Find all turning points of a finished curve.

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
    hysteresis_rad : float, rad
        A reversal smaller than this is a wobble.

    Returns
    -------
    Turns
        The first is the extreme before the first movement and the last the extreme the movement had reached at the
        end.
    """
    extremes = _local_extremes(angle_rad)
    return _turns(extremes, angle_rad[extremes].tolist(), hysteresis_rad)


def _turns(extremes: list[int], angles_rad: list[float], hysteresis_rad: float) -> Turns:
    at: list[int] = []
    found: list[float] = []
    rising, low_index, low, high_index, high = TurningState()
    begins_with_top = False
    for index, angle in zip(extremes, angles_rad, strict=True):
        # As `step`, without a new state for every extreme.
        if rising:
            if angle > high:
                high_index, high = index, angle
            elif high - angle >= hysteresis_rad:
                at.append(high_index)
                found.append(high)
                rising, low_index, low = False, index, angle
        elif rising is False:
            if angle < low:
                low_index, low = index, angle
            elif angle - low >= hysteresis_rad:
                at.append(low_index)
                found.append(low)
                rising, high_index, high = True, index, angle
        else:
            state = TurningState(rising, low_index, low, high_index, high)
            (rising, low_index, low, high_index, high), turn = step(state, index, angle, hysteresis_rad)
            if turn is not None:
                at.append(turn.at)
                found.append(turn.angle_rad)
                begins_with_top = turn.is_top
    last = finish(TurningState(rising, low_index, low, high_index, high), hysteresis_rad)
    if last is not None:
        at.append(last.at)
        found.append(last.angle_rad)
    return Turns(at, found, begins_with_top)


def _local_extremes(angle_rad: FloatArray) -> list[int]:
    # Between two local extremes the curve is monotone, so they alone decide which turns there are.
    if len(angle_rad) < 3:
        return list(range(len(angle_rad)))
    slope = np.sign(np.diff(angle_rad))
    moving = np.flatnonzero(slope)
    if len(moving) == 0:
        return [0]
    # A plateau's first sample is the one after the last movement in the old direction.
    before = moving[:-1][slope[moving[1:]] != slope[moving[:-1]]] + 1
    return [0, *before.tolist(), int(moving[-1]) + 1]
