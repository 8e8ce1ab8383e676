"""What all parts of the engine share: the last stretch of the stream, how calm the arm is, and looking back beside
the loop.

What takes tens of milliseconds (counting again, fitting the lever arm) must not hold up the samples that come in the
meantime. A worker does it on a copy of the rows; what it found is taken up a fixed number of samples later, or sooner
where what comes next rests on it. So the same samples give the same events, however fast the worker is.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from armarc.choices import Choices
from armarc.live.angle import ArmAngle, Elevation, Quaternion, TurnFromRest, Vector
from armarc.live.events import EngineEvent
from armarc.live.rows import ANGLE, FORCE, GUESSED, MEASURED, MISSING, QUATERNION, RATE, TIME, Rows
from armarc.live.stillness import Stillness
from armarc.live.tracker import Tracker
from armarc.motion import Mounting
from armarc.motion.causal import CausalOrientation, other_way_up, turned, up_of
from armarc.motion.causal import after_gap as found_again
from armarc.motion.causal import start as start_fusion
from armarc.motion.causal import step as fuse_step
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray, Gap, Metadata, Recording, Source
from armarc.recording.lost import shortest_turn
from armarc.reps.body import RIGID
from armarc.reps.movements import Movement

Found = TypeVar("Found")

ASIDE_S = 0.1
"""So long a look may take before a sample waits for it: a rep's end is told later by that (working limit)."""


class Aside:
    """One look back at a time, beside the loop.

    Attributes
    ----------
    pending : bool
        Whether a look has begun and was not taken up.
    before_moving : bool
        Whether it must be taken up before the arm leaves its bottom.
    due : int
        Row at which it is taken up at the latest.
    """

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="looking back")
        self._future: Future[object] | None = None
        self._take_up: Callable[[Any, list[EngineEvent]], None] | None = None
        self.pending = self.before_moving = False
        self.due = 0

    def begin(
        self,
        look: Callable[[], Found],
        take_up: Callable[[Found, list[EngineEvent]], None],
        due: int,
        *,
        before_moving: bool = False,
    ) -> None:
        """Begin a look.

        Parameters
        ----------
        look : callable
            Runs in the worker: what it reads must not change.
        take_up : callable (found, events)
            Runs in the loop; it may begin the next look.
        due : int
        before_moving : bool
        """
        assert not self.pending
        self._future, self._take_up = self._worker.submit(look), take_up
        self.pending, self.before_moving, self.due = True, before_moving, due

    def settle(self, events: list[EngineEvent]) -> None:
        """Wait for the look, if there is one, and take it up."""
        if self._future is not None and self._take_up is not None:
            found, take_up = self._future.result(), self._take_up
            self.forget()
            take_up(found, events)

    def forget(self) -> None:
        """Nobody waits for it any more."""
        self._future = self._take_up = None
        self.pending = self.before_moving = False


SHOWN_GAP_S = 0.05
LOOK_BACK_S = 45.0
KEPT_S = 60.0
LONGEST_SET_S = 900.0


class Stretch:
    """State of one unbroken stretch of the stream.

    Parameters
    ----------
    choices : Choices
    rate_hz : float, Hz

    Attributes
    ----------
    angle : ArmAngle or None
        None until the arm's direction is known.
    set_first : int or None
        Row at which the running set begins; None outside a set.
    floor : int
        Row at which the last set ended.
    aside : Aside
        What looks back beside the loop.
    body : SetBody
        What body and strap have shown in the running set.
    shown_rad, blend_rad : float, rad
        Angle for the screen, and what is left of the last change of mounting in it.
    """

    def __init__(self, choices: Choices, rate_hz: float) -> None:
        self.choices, self.rate_hz, self.period_s = choices, rate_hz, 1.0 / rate_hz
        self.exercise = choices.exercise
        self.mounting: Mounting | None = None
        self.time_s = -math.inf
        self.shown_rad = 0.0
        self.aside = Aside()
        self.begin()

    def begin(self) -> None:
        """Forget the samples so far; the mounting stays."""
        self.aside.forget()
        self.rows = Rows()
        self.tracker = Tracker(self.rows, self.exercise)
        self.stillness = Stillness()
        self.fusion = start_fusion()
        self._found: tuple[int, CausalOrientation] | None = None
        self.angle: ArmAngle | None = None
        self.force_offset_m_s2: Vector = (0.0, 0.0, 0.0)
        self.began_s = math.nan
        self.began_row = self.rows.first
        self.set_first: int | None = None
        self.floor = 0
        self.blend_rad = 0.0
        self.body = RIGID

    @property
    def known_axis(self) -> FloatArray | None:
        """Direction of the arm in the sensor where the movement itself has shown it."""
        known = self.mounting is not None and self.mounting.method in ("lever_arm", "twist")
        return self.mounting.arm_axis if known and self.mounting is not None else None

    @property
    def is_provisional(self) -> bool:
        """Whether the angle still rests on a pose that was only taken to be hanging."""
        return (
            self.exercise.coordinate == "elevation"
            and self.mounting is not None
            and self.mounting.method == "hanging"
        )

    @property
    def window_first(self) -> int:
        """First row that matters to the set at hand."""
        first = self.row_at(self.time_s - LOOK_BACK_S) if self.set_first is None else self.set_first
        return max(first, self.floor, self.rows.first)

    def row_at(self, time_s: float) -> int:
        """Row of about a time: exact as long as the rate is steady, which is all that is needed."""
        rows = self.rows
        return max(rows.first, rows.stop - 1 - int((self.time_s - time_s) * self.rate_hz))

    def forget(self) -> None:
        """Drop rows that nothing will look back on."""
        keep_s = KEPT_S
        if self.set_first is not None:
            began_s = self.rows.cell(max(self.set_first, self.rows.first), TIME)
            keep_s = min(max(self.time_s - began_s + 20.0, KEPT_S), LONGEST_SET_S)
        self.rows.forget_before(self.row_at(self.time_s - keep_s))

    @property
    def due(self) -> int:
        """Row at which a look that begins now is taken up at the latest."""
        return self.rows.stop - 1 + max(round(ASIDE_S * self.rate_hz), 1)

    def fuse(
        self, force: Vector, rate: Vector, dt: float, *, is_guess: bool = False
    ) -> tuple[Quaternion, Vector] | None:
        """Take a sample into the orientation: its quaternion and its ω without the bias; None before there is one."""
        off = self.force_offset_m_s2
        levelled = (force[0] - off[0], force[1] - off[1], force[2] - off[2])
        turned_over = self.fusion.turned_over
        fusion = self.fusion = fuse_step(self.fusion, rate, levelled, dt, is_guess=is_guess)
        if fusion.quaternion is None:
            return None
        bias = fusion.bias_rad_s
        omega = (rate[0] - bias[0], rate[1] - bias[1], rate[2] - bias[2])
        if fusion.turned_over != turned_over:
            self._turn_over()
        return _turned_back(fusion.quaternion, omega, 0.5 * dt), omega

    def _turn_over(self) -> None:
        """Everything so far was seen upside down."""
        rows = self.rows
        if not len(rows):
            return
        w, x, y, z = rows.table(rows.first)[:, QUATERNION : QUATERNION + 4].T
        rows.rewrite(rows.first, QUATERNION, np.column_stack(other_way_up((w, x, y, z))))
        angle, mounting = self.angle, self.mounting
        if isinstance(angle, TurnFromRest):
            axis = angle.axis and (angle.axis[0], -angle.axis[1], -angle.axis[2])
            self.change_angle(TurnFromRest(other_way_up(angle.rest), axis))
        elif angle is not None and mounting is not None:
            if mounting.method == "hanging":
                x, y, z = angle.axis
                angle = Elevation((-x, -y, -z))
                self.mounting = replace(mounting, arm_axis=-mounting.arm_axis)
            self.change_angle(angle)

    def carried_over(
        self, length_s: float, steps: int, force: Vector, rate: Vector
    ) -> list[tuple[Vector, Vector, Quaternion, Vector]]:
        """Fill a gap over which the orientation is lost, on the shortest way to what gravity shows after it.

        Parameters
        ----------
        length_s : float, s
        steps : int
            Sampling periods it is long.
        force, rate : tuple of 3 floats, m/s², rad/s
            The first sample after it.

        Returns
        -------
        list of (force, rate, quaternion, ω without bias)
            Of ``steps - 1`` samples, as a still shoulder's slowly turned arm would give them.
        """
        (ox, oy, oz), (bx, by, bz) = self.force_offset_m_s2, self.fusion.bias_rad_s
        fx, fy, fz = force
        q = self.fusion.quaternion
        assert q is not None
        turn = shortest_turn(up_of(q), (fx - ox, fy - oy, fz - oz))
        x, y, z = omega = (turn[0] / length_s, turn[1] / length_s, turn[2] / length_s)
        filled = []
        for _ in range(steps - 1):
            q = turned(q, omega, length_s / max(steps - 1, 1))
            up = [STANDARD_GRAVITY_M_S2 * c for c in up_of(q)]
            filled.append(((up[0] + ox, up[1] + oy, up[2] + oz), (x + bx, y + by, z + bz), q, omega))
        self.fusion = found_again(self.fusion, q, rate)
        self._found = self.rows.stop + steps - 1, self.fusion
        return filled

    def fuse_again(self, first: int) -> None:
        """Take the samples from a row on anew: `fusion` is the state before them, or of an arm that is known now."""
        if self._found is not None and first < self._found[0]:
            # What lies before the gap says nothing of what comes after.
            known, (first, state) = self.fusion, self._found
            self.fusion = replace(state, lever_arm_m=known.lever_arm_m, priors=known.priors)
        table = self.rows.table(first - 1)
        steps = np.diff(table[:, TIME]).tolist()
        is_guess = (table[1:, MISSING] == GUESSED).tolist()
        fused = [
            self.fuse((row[0], row[1], row[2]), (row[3], row[4], row[5]), dt, is_guess=guess)
            for row, dt, guess in zip(table[1:, FORCE : FORCE + 6].tolist(), steps, is_guess, strict=True)
        ]
        self.rows.rewrite(first, QUATERNION, np.array([q for q, _ in filter(None, fused)]).reshape(-1, 4))

    def change_angle(self, angle: ArmAngle, low_since: int | None = None) -> None:
        """Work out the angles of the rows at hand anew; the screen glides from the old to the new.

        The arm is taken to be at its bottom since row `low_since`, or now.
        """
        rows = self.rows
        first = max(min(self.window_first, self.row_at(self.time_s - 5.0)), rows.first)
        table = rows.table(first)
        omega = table[:, RATE : RATE + 3] - np.array(self.fusion.bias_rad_s)
        new, rate = angle.table(np.ascontiguousarray(table[:, QUATERNION : QUATERNION + 4]), omega)
        if self.angle is not None and self.shown_rad:
            self.blend_rad = self.shown_rad - float(new[-1])
        rows.rewrite(first, ANGLE, np.column_stack([new, rate]))
        self.angle = angle
        self.tracker.rebuild(rows.stop - 1 if low_since is None else low_since)

    def recording(self, table: FloatArray) -> Recording:
        """The samples as they came, without those filled in."""
        real = table[table[:, MISSING] == MEASURED]
        c = self.choices
        metadata = Metadata(
            exercise=c.exercise.key, side=c.side, load_kg=c.load_kg, strap=c.strap, hand_axis=c.hand_axis
        )
        return raw_recording(
            real[:, TIME], real[:, FORCE : FORCE + 3], real[:, RATE : RATE + 3], self.rate_hz, metadata
        )


def raw_recording(
    time_s: FloatArray, force: FloatArray, omega: FloatArray, rate_hz: float, metadata: Metadata
) -> Recording:
    """Samples of the session's clock (s, m/s², rad/s) as a recording, which remembers where its zero lay on it."""
    origin_s = float(time_s[0])
    time_s = time_s - origin_s
    steps = np.diff(time_s)
    gaps = tuple(
        Gap(
            start_s=float(time_s[k]),
            end_s=float(time_s[k + 1]),
            missing_samples=max(round(float(steps[k]) * rate_hz) - 1, 1),
        )
        for k in np.flatnonzero(steps > max(SHOWN_GAP_S, 1.5 / rate_hz))
    )
    return Recording(
        time_s=time_s,
        specific_force_m_s2=force,
        angular_velocity_rad_s=omega,
        rate_hz=rate_hz,
        gaps=gaps,
        metadata=metadata,
        source=Source(clock_start_s=origin_s),
    )


def moved(m: Movement, by: int) -> Movement:
    """A movement whose indices count from elsewhere."""
    return replace(
        m,
        bottom=m.bottom + by,
        top=m.top + by,
        bottom_after=m.bottom_after + by,
        earliest=m.earliest + by,
        latest=m.latest + by,
    )


def _turned_back(q: Quaternion, omega: Vector, dt: float) -> Quaternion:
    """Orientation a short time earlier: the filter takes a rate for the mean since the sample before, and sensors give
    the value at the stamp, as offline (`sampling="instants"`)."""
    w, x, y, z = q
    a, b, c = -0.5 * dt * omega[0], -0.5 * dt * omega[1], -0.5 * dt * omega[2]
    r = 1.0 - 0.5 * (a * a + b * b + c * c)
    return (
        w * r - x * a - y * b - z * c,
        x * r + w * a + y * c - z * b,
        y * r + w * b + z * a - x * c,
        z * r + w * c + x * b - y * a,
    )
