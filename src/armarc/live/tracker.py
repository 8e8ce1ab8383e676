"""One movement after the other, sample by sample: leaving the bottom, the gate, the top, the return.

The tracker only follows the angle; whether a movement is a rep is judged elsewhere.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import deque
from dataclasses import dataclass

import numpy as np

from armarc.exercises import Exercise
from armarc.live.rows import ANGLE, ANGLE_RATE, GUESSED, MISSING, TIME, Rows
from armarc.motion import low_pass
from armarc.recording import FloatArray
from armarc.reps.crossings import upward_crossings, value_at
from armarc.reps.phases import SETTLE_S, resting_value
from armarc.reps.turning import Turn, TurningState, step

REST_WINDOW_S = 2.0
"""How far back the lowest value counts as the bottom, as in the offline phases."""
MOST_LEAVE_RAD = math.radians(5)
TOP_FALL_RAD = math.radians(5)
"""Fall from the highest point after which it is told as the top."""
RETURN_SHARE = 0.25
"""A movement has come back once it is within this share of its rise above its bottom …"""
ON_RATE_RAD_S = math.radians(5)
ON_SHARE_OF_PEAK = 0.05
"""… and lowers no faster than the phase threshold."""
SETTLED_RAD = math.radians(4)
WAIT_S = 0.1
"""Where the strap wobbles the gate is told so much later: the wobble is smoothed on both sides of an instant, and at
the newest sample a filter can only guess what comes. Set after looking at open wrist recordings: with 0.06 s a tenth
fewer starts were within 3 °/s, without any a quarter fewer."""


@dataclass(frozen=True, slots=True)
class Left:
    """The arm rose through the gate's near end."""

    time_s: float
    bottom_rad: float


@dataclass(frozen=True, slots=True)
class Gate:
    """The arm rose through the gate's far end; `near_s` and `far_s` are interpolated.

    ``near_rad_s`` and ``far_rad_s`` are the rates there.
    """

    near_s: float
    far_s: float
    row: int
    near_rad_s: float
    far_rad_s: float


@dataclass(frozen=True, slots=True)
class FellBack:
    """It came down again without having been a movement."""

    time_s: float


@dataclass(frozen=True, slots=True)
class Top:
    """Highest point so far, told after a small fall."""

    time_s: float
    angle_rad: float


@dataclass(frozen=True, slots=True)
class Back:
    """A movement is complete; `row` is the sample of its top."""

    time_s: float
    top_row: int
    bottom_rad: float


Signal = Left | Gate | FellBack | Top | Back


class Tracker:
    """Follows θ.

    Parameters
    ----------
    rows : Rows
        Where the angle's past is looked up; the sample stepped must be its newest row.
    exercise : Exercise
        Its start gate, and the least rise of a movement.

    Attributes
    ----------
    bandwidth_hz : float or None, Hz
        Where the strap wobbles, the gate is found on the angle below this.
    """

    def __init__(self, rows: Rows, exercise: Exercise) -> None:
        self._rows = rows
        self._gate_above = exercise.gate_above
        self._near_rad, self._far_rad = exercise.gate_rad
        self._smallest_rad = smallest_rad = exercise.smallest_rom_rad
        self._leave_rad = max(min(MOST_LEAVE_RAD, 0.5 * self._near_rad), math.radians(1))
        self._commit_rad = min(self._far_rad, smallest_rad)
        self.hysteresis_rad = 0.5 * smallest_rad
        self.bandwidth_hz: float | None = None
        self._turning = TurningState()
        self._lowest: deque[tuple[float, float]] = deque()
        self.phase = "low"
        self.bottom_rad = 0.0
        self._left_s = 0.0
        self._told_left = self._gate_done = False
        self._told_top_rad = -math.inf
        self._high_rad, self._high_s, self._high_row = -math.inf, 0.0, 0
        self._low_rad, self._low_s, self._low_row = math.inf, 0.0, 0
        self._peak_down = 0.0
        self._top_confirmed = False

    @property
    def moving(self) -> bool:
        """Whether a movement is under way."""
        return self.phase != "low"

    @property
    def left_s(self) -> float:
        """When the movement under way left its bottom, s."""
        return self._left_s

    def is_leaving(self, angle: float) -> bool:
        """Whether with this angle the arm leaves the bottom it has been at."""
        return self.phase == "low" and bool(self._lowest) and angle > self._lowest[0][1] + self._leave_rad

    def rebuild(self, first: int) -> None:
        """Begin anew at the bottom with the rows from `first` on, after their angles have changed."""
        self.phase = "low"
        self._lowest.clear()
        self._turning = TurningState()
        for row in range(max(first, self._rows.first), self._rows.stop):
            angle = self._rows.cell(row, ANGLE)
            self._push_low(self._rows.cell(row, TIME), angle)
            self._turning, _ = step(self._turning, row, angle, self.hysteresis_rad)

    def step(self, row: int, time_s: float, angle: float, rate: float) -> list[Signal]:
        """Take the newest row; return what happened with it, in order."""
        self._turning, turn = step(self._turning, row, angle, self.hysteresis_rad)
        if self.phase == "low":
            self._push_low(time_s, angle)
            bottom = self._lowest[0][1]
            if angle > bottom + self._leave_rad:
                self._leave(row, time_s, angle, bottom)
            else:
                self.bottom_rad = bottom
                return []
        signals: list[Signal] = []
        if self.phase == "leaving":
            self._while_leaving(time_s, angle, signals)
        if self.phase == "up":
            self._while_up(row, time_s, angle, rate, turn, signals)
        if self.phase != "low" and not self._gate_done:
            self._look_for_gate(row, time_s, angle, signals)
        return signals

    def _push_low(self, time_s: float, angle: float) -> None:
        lowest = self._lowest
        while lowest and lowest[-1][1] > angle:
            lowest.pop()
        lowest.append((time_s, angle))
        while lowest[0][0] < time_s - REST_WINDOW_S:
            lowest.popleft()

    def _leave(self, row: int, time_s: float, angle: float, bottom: float) -> None:
        self.phase = "leaving"
        self.bottom_rad = bottom
        self._left_s = time_s
        self._told_left = self._gate_done = False
        self._told_top_rad = -math.inf
        self._high_rad, self._high_s, self._high_row = angle, time_s, row
        self._low_rad, self._peak_down, self._top_confirmed = math.inf, 0.0, False

    def _while_leaving(self, time_s: float, angle: float, signals: list[Signal]) -> None:
        self._push_low(time_s, angle)
        if angle < self.bottom_rad + 0.5 * self._leave_rad:
            self._fall_back(time_s, angle, signals)
            return
        level = self.bottom_rad + self._gate_above(self.bottom_rad)[0]
        if not self._told_left and angle >= level:
            self._told_left = True
            signals.append(Left(time_s, self.bottom_rad))
        if angle >= self.bottom_rad + self._commit_rad:
            self.phase = "up"
        elif time_s - self._left_s > REST_WINDOW_S:
            lowest = self._lowest[0][1]
            if lowest > self.bottom_rad + 0.8 * self._leave_rad and angle - lowest < SETTLED_RAD:
                # It rests at a new place: that is the bottom now.
                if self._told_left:
                    signals.append(FellBack(time_s))
                self.phase, self.bottom_rad = "low", lowest

    def _fall_back(self, time_s: float, angle: float, signals: list[Signal]) -> None:
        if self._told_left:
            signals.append(FellBack(time_s))
        self.phase = "low"
        self._push_low(time_s, angle)

    def _look_for_gate(self, row: int, time_s: float, angle: float, signals: list[Signal]) -> None:
        if angle < self.bottom_rad + self._gate_above(self.bottom_rad)[1]:
            return
        recent = self._recent(row, time_s)
        rate_hz = (len(recent) - 1) / max(time_s - float(recent[0, TIME]), 1e-3)
        angle_and_rate = recent[:, [ANGLE, ANGLE_RATE]]
        if self.bandwidth_hz is not None:
            angle_and_rate = low_pass(angle_and_rate, rate_hz, self.bandwidth_hz)
        angles, rates = angle_and_rate.T
        # The gate stands on the bottom of the offline phases: where the arm came to rest, not its lowest swing.
        bottom = resting_value(angles[::-1], rates[::-1], max(1, round(SETTLE_S * rate_hz)))
        if self.bandwidth_hz is None:
            bottom = max(self.bottom_rad, bottom)
        above = self._gate_above(bottom)
        far = bottom + above[1]
        waited = round(WAIT_S * rate_hz) if self.bandwidth_hz is not None else 0
        if angles[len(angles) - 1 - waited] < far:
            return
        self.bottom_rad = bottom
        self._gate_done = True
        at_far = _last_rise(angles, rates, recent[:, TIME], far)
        at_near = _last_rise(angles, rates, recent[:, TIME], bottom + above[0])
        if at_far is None or at_near is None or at_near[0] >= at_far[0]:
            return
        if not _is_seen(recent, rates, at_near[0]):
            return
        if at_far[0] < self._left_s - WAIT_S:
            return  # passed before this movement was seen to begin: nobody could be told in time
        if not self._told_left:
            self._told_left = True
            signals.append(Left(time_s, self.bottom_rad))
        signals.append(Gate(at_near[0], at_far[0], row, at_near[1], at_far[1]))

    def _recent(self, row: int, time_s: float) -> FloatArray:
        """Rows in which the bottom before this rise lies, shape (n, 14)."""
        rows, since_s = self._rows, time_s - REST_WINDOW_S - SETTLE_S
        before = bisect_right(range(rows.first, row), since_s, key=lambda k: rows.cell(k, TIME))
        return rows.table(rows.first + before, row + 1)

    def _while_up(
        self, row: int, time_s: float, angle: float, rate: float, turn: Turn | None, signals: list[Signal]
    ) -> None:
        if angle > self._high_rad:
            self._high_rad, self._high_s, self._high_row = angle, time_s, row
            self._low_rad, self._peak_down, self._top_confirmed = math.inf, 0.0, False
        if angle < self._low_rad:
            self._low_rad, self._low_s, self._low_row = angle, time_s, row
        self._peak_down = max(self._peak_down, -rate)
        rise, fall = self._high_rad - self.bottom_rad, self._high_rad - angle
        self._top_confirmed = self._top_confirmed or fall >= self.hysteresis_rad
        if rise < self._smallest_rad:
            if angle < self.bottom_rad + min(self._near_rad, 0.5 * self._commit_rad):
                self._fall_back(time_s, angle, signals)
            return
        if fall >= TOP_FALL_RAD and self._high_rad > self._told_top_rad:
            self._told_top_rad = self._high_rad
            signals.append(Top(self._high_s, self._high_rad))
        slow = -rate <= max(ON_RATE_RAD_S, ON_SHARE_OF_PEAK * self._peak_down)
        if fall >= (1 - RETURN_SHARE) * rise and slow:
            signals.append(Back(time_s, self._high_row, self.bottom_rad))
            self.phase = "low"
            self._lowest.clear()
            self._push_low(time_s, angle)
            self.bottom_rad = angle
            return
        again = self._top_confirmed and angle >= self._low_rad + self._far_rad
        if again or (turn is not None and not turn.is_top and turn.at > self._high_row):
            # It turned round above its bottom: the next movement has begun.
            signals.append(Back(time_s, self._high_row, self.bottom_rad))
            low_s, low, low_row = self._low_s, self._low_rad, self._low_row
            self._leave(low_row, low_s, angle, low)
            self._high_s, self._high_row = time_s, row
            self.phase = "up" if angle >= low + self._commit_rad else "leaving"
            self._lowest.clear()
            self._push_low(low_s, low)


def _last_rise(
    angles: FloatArray, rates: FloatArray, time_s: FloatArray, level: float
) -> tuple[float, float] | None:
    """Time and rate at the last rise through a level, interpolated."""
    crossings = upward_crossings(angles, level)
    if len(crossings) == 0:
        return None
    return value_at(time_s, float(crossings[-1])), value_at(rates, float(crossings[-1]))


def _is_seen(recent: FloatArray, rates: FloatArray, near_s: float) -> bool:
    """Whether the bottom before a gate, and the way to it, were seen: none of it was lost in a gap."""
    guessed = np.flatnonzero(recent[:, MISSING] == GUESSED)
    if len(guessed) == 0:
        return True
    after, near = int(guessed[-1]) + 1, int(np.searchsorted(recent[:, TIME], near_s))
    return after < near and float(rates[after:near].min()) <= ON_RATE_RAD_S
