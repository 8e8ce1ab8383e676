"""The streaming engine: samples in, events out.

It holds no clock: the same samples give the same events however they are cut into packets. Everything in the loop is
plain arithmetic on one sample; at the end of a rep the offline road's own grouping, phases and lever-arm fit look back
over the stretch at hand, beside the loop (`Aside`).
"""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite

import numpy as np

from armarc.choices import Choices
from armarc.live.angle import Quaternion, Vector
from armarc.live.arm_direction import ArmDirection
from armarc.live.counting import Counting
from armarc.live.events import EngineEvent, GapSeen
from armarc.live.mount import check_mounting
from armarc.live.rows import ANGLE, ANGLE_RATE, FILLED, GUESSED, MEASURED, MISSING
from armarc.live.stretch import SHOWN_GAP_S, Stretch
from armarc.motion import Mounting
from armarc.motion.causal import GAP_S
from armarc.pipeline import LONGEST_GAP_S
from armarc.recording.lost import LOST_GAP_S

LEAST_STEP = 0.05
"""A sample closer to the last than this share of a period is the same one again."""
BLEND_S = 0.6
FORGET_EVERY = 64


class Engine:
    """Live measurement of one stream.

    Parameters
    ----------
    choices : Choices
        Exercise with its gate, band, rest and smallest ROM; mounting hints; side and load.
    rate_hz : float, Hz
        Nominal sampling rate.

    Raises
    ------
    UsageError
        For choices that cannot work.
    """

    def __init__(self, choices: Choices, rate_hz: float) -> None:
        check_mounting(choices)
        if choices.exercise.coordinate == "movement":
            # Its signal package takes half a second to load: not in the middle of a set.
            import armarc.reps.cycles  # noqa: F401
        self._stretch = Stretch(choices, rate_hz)
        self._arm_direction = ArmDirection(self._stretch, self._look_over)
        self._counting = Counting(self._stretch)
        self._last: tuple[float, Vector, Vector] | None = None

    def _begin(self) -> None:
        """Forget the stream so far; the mounting and the sets counted stay."""
        self._stretch.begin()
        self._counting.begin()
        self._arm_direction.begin()
        self._last = None

    # What the faces ask for.

    @property
    def time_s(self) -> float:
        """Signal time of the newest sample, s."""
        return self._stretch.time_s

    @property
    def shown_rad(self) -> float:
        """Angle for the screen: it never jumps, not even when the mounting gets better."""
        return self._stretch.shown_rad

    @property
    def reps(self) -> int:
        """Reps of the running set so far."""
        return self._counting.reps

    @property
    def sets(self) -> int:
        """Sets that have ended."""
        return self._counting.sets

    @property
    def ready(self) -> bool:
        """Whether the arm's direction is known well enough to count."""
        return self._stretch.angle is not None

    @property
    def mounting(self) -> Mounting | None:
        """Which way the arm lies in the sensor, as far as is known."""
        return self._stretch.mounting

    @property
    def moving(self) -> bool:
        """Whether a movement is under way."""
        return self._stretch.tracker.moving

    @property
    def bottom_rad(self) -> float:
        """Bottom of the movement under way, or the lowest angle of the last moments."""
        return self._stretch.tracker.bottom_rad

    @property
    def tilt_se_rad(self) -> float:
        """Standard error of the inclination, rad."""
        return self._stretch.fusion.tilt_se_rad

    # Samples.

    def feed_many(
        self,
        time_s: Iterable[float],
        specific_force_m_s2: Iterable[Iterable[float]],
        angular_velocity_rad_s: Iterable[Iterable[float]],
    ) -> list[EngineEvent]:
        """Take several samples; see `feed`."""
        events: list[EngineEvent] = []
        times = np.asarray(time_s, float).tolist()
        forces = np.asarray(specific_force_m_s2, float).reshape(-1, 3).tolist()
        rates = np.asarray(angular_velocity_rad_s, float).reshape(-1, 3).tolist()
        for t, f, w in zip(times, forces, rates, strict=True):
            events += self.feed(t, (f[0], f[1], f[2]), (w[0], w[1], w[2]))
        return events

    def feed(
        self, time_s: float, specific_force_m_s2: Vector, angular_velocity_rad_s: Vector
    ) -> list[EngineEvent]:
        """Take one sample.

        Parameters
        ----------
        time_s : float, s
            Must rise; a sample that is no newer than the last (by a twentieth of a period), or not finite, is left
            out.
        specific_force_m_s2 : tuple of 3 floats, m/s²
        angular_velocity_rad_s : tuple of 3 floats, rad/s

        Returns
        -------
        list of EngineEvent
            What has become known with this sample, in order; mostly nothing.
        """
        if not isfinite(time_s + sum(specific_force_m_s2) + sum(angular_velocity_rad_s)):
            return []
        last = self._last
        if last is None:
            self._stretch.began_s = self._stretch.time_s = time_s
            self._last = (time_s, specific_force_m_s2, angular_velocity_rad_s)
            return self._take(
                time_s, self._stretch.period_s, specific_force_m_s2, angular_velocity_rad_s, MEASURED
            )
        dt = time_s - last[0]
        if dt < LEAST_STEP * self._stretch.period_s:
            return []
        events: list[EngineEvent] = []
        if dt > 1.5 * self._stretch.period_s:
            events = self._over_gap(last, time_s, specific_force_m_s2, angular_velocity_rad_s)
            if self._last is None:  # too long: began anew
                return events + self.feed(time_s, specific_force_m_s2, angular_velocity_rad_s)
            dt = time_s - self._last[0]
        self._last = (time_s, specific_force_m_s2, angular_velocity_rad_s)
        events += self._take(time_s, dt, specific_force_m_s2, angular_velocity_rad_s, MEASURED)
        return events

    def finish(self) -> list[EngineEvent]:
        """The stream ends here: bring a running rep and set to their end."""
        return self._end("stop")

    def _end(self, reason: str) -> list[EngineEvent]:
        events: list[EngineEvent] = []
        self._catch_up(events)
        return events + self._counting.close(reason)

    def _over_gap(
        self, last: tuple[float, Vector, Vector], time_s: float, force: Vector, rate: Vector
    ) -> list[EngineEvent]:
        """Fill missing samples, or begin anew where offline begins another piece."""
        s = self._stretch
        start_s, f0, w0 = last
        length = time_s - start_s
        events: list[EngineEvent] = []
        if length > max(SHOWN_GAP_S, 1.5 * s.period_s):
            restarted = length > LONGEST_GAP_S
            may_hide = not restarted and self._counting.may_hide_rep(length)
            gap = GapSeen(
                time_s=time_s, start_s=start_s, end_s=time_s, restarted=restarted, may_hide_rep=may_hide
            )
            events.append(gap)
            if restarted:
                events += self._end("gap")
                self._begin()
                return events
        steps = max(round(length / s.period_s), 1)
        if length > LOST_GAP_S and len(s.rows):
            self._catch_up(events)
            for k, row in enumerate(s.carried_over(length, steps, force, rate), 1):
                t, f, w, q, omega = start_s + k / steps * length, *row
                events += self._add(t, length / steps, f, w, (q, omega), GUESSED)
                self._last = (t, f, w)
            return events
        missing = FILLED if length < GAP_S else GUESSED
        for k in range(1, steps):
            t, share = start_s + k / steps * length, k / steps
            f, w = _between(f0, force, share), _between(w0, rate, share)
            events += self._take(t, length / steps, f, w, missing)
            self._last = (t, f, w)
        return events

    def _take(
        self, time_s: float, dt: float, force: Vector, rate: Vector, missing: float
    ) -> list[EngineEvent]:
        fused = self._stretch.fuse(force, rate, dt, is_guess=missing == GUESSED)
        return [] if fused is None else self._add(time_s, dt, force, rate, fused, missing)

    def _add(
        self,
        time_s: float,
        dt: float,
        force: Vector,
        rate: Vector,
        fused: tuple[Quaternion, Vector],
        missing: float,
    ) -> list[EngineEvent]:
        """One row more, its orientation known."""
        s, (q, omega) = self._stretch, fused
        s.time_s = time_s
        w, x, y, z = q
        up = (2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y))
        if missing == GUESSED:
            s.stillness.interrupt()
        else:
            s.stillness.step(time_s, dt, omega, force, up)
        theta, theta_rate = (0.0, 0.0) if s.angle is None else s.angle.step(q, omega)
        row = s.rows.stop
        s.rows.append((time_s, *force, *rate, *q, theta, theta_rate, missing))
        events: list[EngineEvent] = []
        if self._counting.idle:
            self._arm_direction.look(q, events)
        aside = s.aside
        if aside.pending:
            leaving = aside.before_moving and s.tracker.is_leaving(s.rows.cell(row, ANGLE))
            self._catch_up(events, None if leaving else row)
        if s.angle is not None:
            self._follow(row, up, events)
            s.blend_rad *= max(1.0 - dt / BLEND_S, 0.0)
            s.shown_rad = s.rows.cell(row, ANGLE) + s.blend_rad
        if not row % FORGET_EVERY:
            s.forget()
        return events

    def _follow(self, row: int, up: Vector, events: list[EngineEvent]) -> None:
        """Take the newest row's angle, which a change of mounting may have altered."""
        s, counting = self._stretch, self._counting
        angle, rate = s.rows.cell(row, ANGLE), s.rows.cell(row, ANGLE_RATE)
        for signal in s.tracker.step(row, s.time_s, angle, rate):
            self._catch_up(events)
            counting.hear(signal, row, up, events)
        if s.rows.cell(row, MISSING) != GUESSED:
            counting.watch_the_rest(up, events)

    def _catch_up(self, events: list[EngineEvent], row: int | None = None) -> None:
        """Take up what has been looked back on and is due at a row; None: all of it."""
        aside, counting = self._stretch.aside, self._counting
        while aside.pending and (row is None or aside.due <= row):
            aside.settle(events)
            if counting.learn_from is not None:
                self._arm_direction.learn(counting.movements, counting.learn_from)
                counting.learn_from = None

    def _look_over(self) -> None:
        """Look at the rows so far, now that their angles are known."""
        self._counting.look_over(self._stretch.rows.stop - 1)


def _between(before: Vector, after: Vector, share: float) -> Vector:
    a, b, c = before
    x, y, z = after
    return (a + share * (x - a), b + share * (y - b), c + share * (z - c))
