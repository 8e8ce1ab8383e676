"""The streaming engine: samples in, events out.

It holds no clock and no thread: the same samples give the same events however they are cut into packets. Between
the bottoms everything is plain arithmetic on one sample; at the end of a rep the offline road's own grouping, phases
and lever-arm fit look back over the stretch at hand.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np

from armarc.choices import Choices
from armarc.live.angle import ArmAngle, Elevation, Quaternion, Turn, Vector
from armarc.live.calm import LONG_QUIET_S, QUIET_S, Calm
from armarc.live.events import (
    EngineEvent,
    GapSeen,
    GateCrossed,
    Ready,
    RepEnded,
    RepStarted,
    RepWithdrawn,
    SetEnded,
    TopReached,
)
from armarc.live.judge import Kind, find_groups, kind_of, measure_movement
from armarc.live.mount import (
    Learned,
    check_mounting,
    hanging_mounting,
    learn_from_scratch,
    learn_mounting,
    turn_axis,
)
from armarc.live.rows import ANGLE, ANGLE_RATE, FORCE, MISSING, QUATERNION, RATE, TIME, Rows
from armarc.live.tracker import Back, FellBack, Gate, Left, Signal, Top, Tracker
from armarc.motion import Mounting
from armarc.motion.causal import start as start_fusion
from armarc.motion.causal import step as fuse_step
from armarc.recording import FloatArray, Gap, Metadata, Recording
from armarc.reps.grouping import FULL_SET
from armarc.reps.movements import HYSTERESIS_SHARE_OF_TYPICAL, Movement, find_movements, typical_rise
from armarc.reps.records import rep_record
from armarc.reps.summary import tempo
from armarc.reps.types import Rep

RESTART_GAP_S = 2.0
"""A longer gap splits the stream, as it splits a recording offline."""
SHOWN_GAP_S = 0.05
LONGEST_STEP_S = 0.12
LEAST_STEP = 0.05
LOOK_BACK_S = 45.0
KEPT_S = 60.0
LONGEST_SET_S = 900.0
LEAD_IN_S = 8.0
FIT_S = 45.0
LEARN_EACH = 4
SAME_TOP_S = 0.3
BLEND_S = 0.6
CALM_BEFORE_S = 0.8
ALIKE_AT_GATE = math.cos(math.radians(16))
SURE_RISE_RAD = math.radians(50)
"""A walking arm swings through some 30°."""
PARTIAL = 0.7
FASTER_AT_GATE = 3.0
HANG_AGAIN_RAD = math.radians(40)
HANG_SHIFT_RAD = math.radians(3)
REP_AFTER_REP_S = 2.5
FALLBACK_AFTER_S = 5.0
FALLBACK_EVERY_S = 2.0
FALLBACK_LAST_S = 12.0
MOVED_RAD_S = math.radians(20)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Counted:
    """A rep that counts: its movement in absolute rows, and its measures."""

    movement: Movement
    top_s: float
    rep: Rep


@dataclass(slots=True, kw_only=True)
class _Current:
    """The movement under way."""

    number: int
    armed: bool
    told: bool
    speed_rad_s: float | None = None
    verdict: str | None = None
    gate_s: float | None = None
    up: Vector | None = None


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
        self.choices = choices
        self.rate_hz = rate_hz
        self.mounting: Mounting | None = None
        self.shown_rad = 0.0
        self.sets = 0
        self._exercise = choices.exercise
        self._period = 1.0 / rate_hz
        self._kind: Kind | None = None
        self._learned: Learned | None = None
        self._time = -math.inf
        self._begin()

    def _begin(self) -> None:
        """Forget the stream so far; the mounting and the sets counted stay."""
        self._rows = Rows()
        self._tracker = Tracker(self._rows, self._exercise.gate_rad, self._exercise.smallest_rom_rad)
        self._calm = Calm()
        self._fusion = start_fusion()
        self._angle: ArmAngle | None = None
        self._force_offset: Vector = (0.0, 0.0, 0.0)
        self._last: tuple[float, Vector, Vector] | None = None
        self._began_s = math.nan
        self._next_fallback_s = math.nan
        self._current: _Current | None = None
        self._counted: list[_Counted] = []
        self._refused: list[int] = []
        self._seen: list[tuple[Vector, float]] = []
        self._seen_before: list[tuple[Vector, float]] = []
        self._floor = self._rows.stop
        self._last_back_s = -math.inf
        self._blend = 0.0
        self._late = False
        if self._learned is not None and self._exercise.coordinate == "elevation":
            self._use_learned(self._learned)

    # What the faces ask for.

    @property
    def time_s(self) -> float:
        """Signal time of the newest sample, s."""
        return self._time

    @property
    def reps(self) -> int:
        """Reps of the running set so far."""
        return len(self._counted)

    @property
    def ready(self) -> bool:
        """Whether the arm's direction is known well enough to count."""
        return self._angle is not None

    @property
    def moving(self) -> bool:
        """Whether a movement is under way."""
        return self._tracker.moving

    @property
    def bottom_rad(self) -> float:
        """Bottom of the movement under way, or the lowest angle of the last moments."""
        return self._tracker.bottom_rad

    @property
    def tilt_se_rad(self) -> float:
        """Standard error of the inclination, rad."""
        return self._fusion.tilt_se_rad

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
            self._began_s = self._time = time_s
            self._next_fallback_s = time_s + FALLBACK_AFTER_S
            self._last = (time_s, specific_force_m_s2, angular_velocity_rad_s)
            return self._take(time_s, self._period, specific_force_m_s2, angular_velocity_rad_s, 0.0)
        dt = time_s - last[0]
        if dt < LEAST_STEP * self._period:
            return []
        events: list[EngineEvent] = []
        if dt > 1.5 * self._period:
            events = self._over_gap(last, time_s, specific_force_m_s2, angular_velocity_rad_s)
            if self._last is None:  # too long: began anew
                return events + self.feed(time_s, specific_force_m_s2, angular_velocity_rad_s)
            dt = time_s - self._last[0]
        self._last = (time_s, specific_force_m_s2, angular_velocity_rad_s)
        events += self._take(time_s, dt, specific_force_m_s2, angular_velocity_rad_s, 0.0)
        return events

    def finish(self) -> list[EngineEvent]:
        """The stream ends here: bring a running rep and set to their end."""
        return self._close("stop")

    def _over_gap(
        self, last: tuple[float, Vector, Vector], time_s: float, force: Vector, rate: Vector
    ) -> list[EngineEvent]:
        """Fill missing samples by straight lines, or begin anew when there are too many."""
        start_s, f0, w0 = last
        length = time_s - start_s
        events: list[EngineEvent] = []
        if length > max(SHOWN_GAP_S, 1.5 * self._period):
            restarted = length > RESTART_GAP_S
            events.append(GapSeen(time_s=time_s, start_s=start_s, end_s=time_s, restarted=restarted))
            if restarted:
                events += self._close("gap")
                self._begin()
                return events
        steps = max(round(length / self._period), 1)
        if length > LONGEST_STEP_S:
            # Steps long enough for the fusion to see that what happened between them is a guess.
            steps = max(int(length / LONGEST_STEP_S), 1)
        for k in range(1, steps):
            s = k / steps
            t = start_s + s * length
            f = (
                f0[0] + s * (force[0] - f0[0]),
                f0[1] + s * (force[1] - f0[1]),
                f0[2] + s * (force[2] - f0[2]),
            )
            w = (w0[0] + s * (rate[0] - w0[0]), w0[1] + s * (rate[1] - w0[1]), w0[2] + s * (rate[2] - w0[2]))
            events += self._take(t, length / steps, f, w, 1.0)
            self._last = (t, f, w)
        return events

    def _take(
        self, time_s: float, dt: float, force: Vector, rate: Vector, missing: float
    ) -> list[EngineEvent]:
        self._time = time_s
        off = self._force_offset
        levelled = (force[0] - off[0], force[1] - off[1], force[2] - off[2])
        fusion = self._fusion = fuse_step(self._fusion, rate, levelled, dt)
        q = fusion.quaternion
        if q is None:
            return []
        bias = fusion.bias_rad_s
        omega = (rate[0] - bias[0], rate[1] - bias[1], rate[2] - bias[2])
        w, x, y, z = q
        up = (2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y))
        self._calm.step(time_s, dt, omega, force, up)
        theta, theta_rate = (0.0, 0.0) if self._angle is None else self._angle.step(q, omega)
        row = self._rows.stop
        self._rows.append((time_s, *force, *rate, *q, theta, theta_rate, missing))
        events: list[EngineEvent] = []
        if not self._counted and self._current is None:
            self._look_at_pose(time_s, q, events)
        if self._angle is None:
            self._forget(time_s)
            return events
        theta, theta_rate = self._rows.cell(row, ANGLE), self._rows.cell(row, ANGLE_RATE)
        for signal in self._tracker.step(row, time_s, theta, theta_rate):
            self._hear(signal, row, up, events)
        if self._counted and time_s - self._last_back_s >= self._exercise.rest_s and not self._busy:
            self._end_set("rest", events)
        if self._blend:
            self._blend *= max(1.0 - dt / BLEND_S, 0.0)
            if abs(self._blend) < 1e-4:
                self._blend = 0.0
        self.shown_rad = self._rows.cell(row, ANGLE) + self._blend
        if not row % 64:
            self._forget(time_s)
        return events

    @property
    def _busy(self) -> bool:
        return self._told or self._tracker.phase == "up"

    @property
    def _told(self) -> bool:
        return self._current is not None and self._current.told

    def _forget(self, time_s: float) -> None:
        keep_s = KEPT_S
        if self._counted:
            keep_s = min(max(time_s - self._counted[0].top_s + 20.0, KEPT_S), LONGEST_SET_S)
        self._rows.forget_before(self._row_at(time_s - keep_s))

    def _row_at(self, time_s: float) -> int:
        """Row of about a time: exact as long as the rate is steady, which is all that is needed."""
        return max(self._rows.first, self._rows.stop - 1 - int((self._time - time_s) * self.rate_hz))

    # Pose and mounting.

    def _look_at_pose(self, time_s: float, q: Quaternion, events: list[EngineEvent]) -> None:
        """Learn the resting pose from quiet moments outside the sets."""
        quiet_s = self._calm.quiet_for_s(time_s)
        if self._angle is None:
            if quiet_s >= QUIET_S:
                self._rest_here(q, events)
            elif time_s >= self._next_fallback_s:
                self._next_fallback_s = time_s + FALLBACK_EVERY_S
                self._mount_from_movement(events)
            return
        if not LONG_QUIET_S <= quiet_s < LONG_QUIET_S + 1.5 * self._period:
            return
        if isinstance(self._angle, Turn) or self.mounting is None:
            self._rest_here(q, events)
            return
        down = self._calm.down()
        if self._learned is not None:
            axis = self._learned.mounting.arm_axis
            apart = math.acos(max(-1.0, min(1.0, float(axis @ down))))
            if apart < HANG_AGAIN_RAD:
                if self.mounting is not self._learned.mounting:
                    self._remount(self._learned, events)
                return
        here = Elevation.step(self._angle, q, (0.0, 0.0, 0.0))[0]
        if here > HANG_SHIFT_RAD:
            self._rest_here(q, events)

    def _rest_here(self, q: Quaternion, events: list[EngineEvent]) -> None:
        if self._exercise.coordinate == "elevation":
            self._remount(hanging_mounting(self._calm.down(), self.choices), events)
            return
        known = self._angle.axis if isinstance(self._angle, Turn) else None
        first = self._angle is None
        self.mounting = hanging_mounting(self._calm.down(), self.choices)
        self._change(Turn(q, known))
        if first:
            events.append(
                Ready(time_s=self._time, method="resting pose", uncertainty_rad=self.mounting.uncertainty_rad)
            )

    def _mount_from_movement(self, events: list[EngineEvent]) -> None:
        """No quiet moment came: take the mounting from the movement itself and count what has happened so far."""
        table = self._rows.table(self._rows.first)
        if len(table) < 3 * self.rate_hz:
            return
        if self._exercise.coordinate == "elevation":
            found = learn_from_scratch(self._recording(table), self.choices)
            if found is None or (found[1] < FULL_SET and self._time - self._began_s < FALLBACK_LAST_S):
                return
            self._remount(found[0], events)
        else:
            calmest = int(np.argmin(np.linalg.norm(table[:, RATE : RATE + 3], axis=1)))
            q = table[calmest, QUATERNION : QUATERNION + 4].tolist()
            self.mounting = hanging_mounting(self._calm.down(), self.choices)
            self._change(Turn((q[0], q[1], q[2], q[3])))
            events.append(
                Ready(time_s=self._time, method="resting pose", uncertainty_rad=self.mounting.uncertainty_rad)
            )
        self._replay(events)

    def _replay(self, events: list[EngineEvent]) -> None:
        """Walk over the rows again, now that their angles are known."""
        self._late = True
        now_s, stop = self._time, self._rows.stop
        rows, angle = self._rows, self._angle
        assert angle is not None
        table = rows.table(rows.first)
        thetas, rates = table[:, ANGLE].tolist(), table[:, ANGLE_RATE].tolist()
        times, first = table[:, TIME].tolist(), rows.first
        self._tracker.rebuild(stop)
        for k in range(len(times) - 1):
            self._time = times[k]
            x = table[k, QUATERNION : QUATERNION + 4].tolist()
            up = (
                2.0 * (x[1] * x[3] - x[0] * x[2]),
                2.0 * (x[2] * x[3] + x[0] * x[1]),
                1.0 - 2.0 * (x[1] * x[1] + x[2] * x[2]),
            )
            for signal in self._tracker.step(first + k, times[k], thetas[k], rates[k]):
                self._hear(signal, first + k, up, events)
        self._time = now_s
        self._late = False

    def _remount(self, new: Mounting | Learned, events: list[EngineEvent]) -> None:
        """Take another mounting; the angles of the rows at hand are worked out again, the screen glides."""
        before, first = self.mounting, self._angle is None
        if isinstance(new, Learned):
            self._use_learned(new)
        else:
            self._use(new)
        assert self._angle is not None
        assert self.mounting is not None
        self._change(self._angle)
        if first or before is None or before.method != self.mounting.method:
            events.append(
                Ready(
                    time_s=self._time,
                    method=self.mounting.method,
                    uncertainty_rad=self.mounting.uncertainty_rad,
                )
            )

    def _use(self, mounting: Mounting) -> None:
        x, y, z = mounting.arm_axis.tolist()
        self.mounting, self._angle = mounting, Elevation((x, y, z))

    def _use_learned(self, learned: Learned) -> None:
        self._learned = learned
        self._use(learned.mounting)
        self._force_offset = learned.force_offset_m_s2
        if learned.mounting.lever_arm_m is not None:
            x, y, z = learned.mounting.lever_arm_m.tolist()
            known = start_fusion(lever_arm_m=(x, y, z))
            self._fusion = replace(self._fusion, lever_arm_m=known.lever_arm_m, priors=known.priors)

    def _change(self, angle: ArmAngle) -> None:
        rows = self._rows
        first = max(min(self._window_first, self._row_at(self._time - 5.0)), rows.first)
        table = rows.table(first)
        omega = table[:, RATE : RATE + 3] - np.array(self._fusion.bias_rad_s)
        new, rate = angle.table(np.ascontiguousarray(table[:, QUATERNION : QUATERNION + 4]), omega)
        if self._angle is not None and self.shown_rad:
            self._blend = self.shown_rad - float(new[-1])
        rows.rewrite(first, new, rate)
        self._angle = angle
        self._tracker.rebuild(rows.stop - 1)

    # Movements and reps.

    @property
    def _window_first(self) -> int:
        """First row that matters to the set at hand."""
        if self._counted:
            first = min(c.movement.bottom for c in self._counted) - round(3 * self.rate_hz)
        else:
            first = self._row_at(self._time - LOOK_BACK_S)
        return max(first, self._floor, self._rows.first)

    def _armed(self, time_s: float) -> bool:
        if self._late:
            return False
        if self._calm.last_calm_s >= self._tracker.left_s - CALM_BEFORE_S:
            return True
        since_s = time_s - self._last_back_s
        in_set = bool(self._counted) and since_s < self._exercise.rest_s
        return in_set and (since_s < REP_AFTER_REP_S or self._calm.steady)

    def _hear(self, signal: Signal, row: int, up: Vector, events: list[EngineEvent]) -> None:
        match signal:
            case Left():
                armed = self._armed(signal.time_s)
                self._current = _Current(number=self.reps + 1, armed=armed, told=False)
            case Gate():
                self._gate(signal, up, events)
            case FellBack():
                self._withdraw_current("it did not go on", events)
            case Top():
                if self._current is not None and self._current.told:
                    events.append(
                        TopReached(time_s=signal.time_s, rep=self._current.number, top_rad=signal.angle_rad)
                    )
            case Back():
                self._judge(signal.top_row, row, events)

    def _gate(self, signal: Gate, up: Vector, events: list[EngineEvent]) -> None:
        current = self._current
        if current is None:
            return
        near, far = self._exercise.gate_rad
        current.speed_rad_s = (far - near) / (signal.far_s - signal.near_s)
        band = self._exercise.band
        current.verdict = None if band is None else band.verdict(current.speed_rad_s)
        current.gate_s = signal.far_s
        current.up = up
        # Another kind of movement than the reps before it stays unsaid until it turns out to be one.
        if not current.armed or not self._alike_at_gate(current):
            return
        current.told = True
        events.append(
            RepStarted(time_s=signal.near_s, rep=current.number, bottom_rad=self._tracker.bottom_rad)
        )
        events.append(
            GateCrossed(
                time_s=signal.far_s,
                rep=current.number,
                start_velocity_rad_s=current.speed_rad_s,
                verdict=current.verdict,
            )
        )

    def _alike_at_gate(self, current: _Current) -> bool:
        """Whether the arm passes the gate the way it did in the reps before, if there were any."""
        seen = self._seen or self._seen_before
        if not seen or current.up is None or current.speed_rad_s is None:
            return True
        ups, speeds = zip(*seen, strict=True)
        mean = [sum(c) for c in zip(*ups, strict=True)]
        size = math.sqrt(sum(c * c for c in mean)) or 1.0
        cosine = sum(a * b for a, b in zip(mean, current.up, strict=True)) / size
        usual = sorted(speeds)[len(speeds) // 2]
        faster: float = current.speed_rad_s / usual
        return bool(cosine > ALIKE_AT_GATE and 1 / FASTER_AT_GATE < faster < FASTER_AT_GATE)

    def _withdraw_current(self, reason: str, events: list[EngineEvent]) -> None:
        current = self._current
        if current is not None and current.told:
            events.append(RepWithdrawn(time_s=self._time, rep=current.number, reps=self.reps, reason=reason))
        self._current = None

    def _judge(self, top_row: int, row: int, events: list[EngineEvent]) -> None:
        """A movement has come back: which movements of the set at hand count now?"""
        first = self._window_first
        table = self._rows.table(first, row + 1)
        current, self._current = self._current, None
        groups = find_groups(table, self._exercise)
        latest = _with_top(groups, top_row - first, self._same_rows)
        armed = current is not None and (current.armed or current.told)
        chosen: tuple[Movement, ...] = ()
        stay = list(self._counted)
        if latest is not None:
            goes_on = any(self._is_in(c, latest, first) for c in self._counted)
            told = current is not None and current.told
            if (
                goes_on
                and not (told or self._calm.steady or self._late)
                and self._is_partial(latest, top_row - first)
            ):
                # Walking off after the set: swings of the arm pass for partial reps.
                self._refused.append(top_row)
            elif (
                goes_on or self._is_certain(table, latest) or (armed and not self._is_hurried(table, latest))
            ):
                chosen = tuple(m for m in latest if not self._was_refused(m.top + first))
            stay = [c for c in self._counted if any(self._is_in(c, g, first) for g in groups)]
        elif armed and len(self._counted) <= 1:
            # Two movements that do not look alike: the first was handling, a set begins with the second.
            alone = self._movement_at(table, top_row - first)
            if alone is not None and not self._is_hurried(table, (alone,)):
                chosen, stay = (alone,), []
        if not chosen:
            self._tell_withdrawn_latest(current, events)
            return
        for gone in [c for c in self._counted if c not in stay]:
            self._uncount(gone, events)
        added = 0
        for movement in chosen:
            if any(abs(c.movement.top - movement.top - first) <= self._same_rows for c in self._counted):
                continue
            mine = current if abs(movement.top + first - top_row) <= self._same_rows else None
            added += self._count(table, movement, first, mine, events)
        if not added:
            return
        self._last_back_s = self._time
        rises = [c.movement for c in self._counted]
        share = HYSTERESIS_SHARE_OF_TYPICAL * typical_rise(rises)
        self._tracker.hysteresis_rad = max(0.5 * self._exercise.smallest_rom_rad, share)
        learns = self.reps <= LEARN_EACH or not self.reps % 3
        if self._tracker.phase == "low" and not self._late and learns:
            self._improve(events)

    def _is_partial(self, group: tuple[Movement, ...], top: int) -> bool:
        usual = typical_rise([c.movement for c in self._counted])
        return any(m.rise_rad < PARTIAL * usual for m in group if abs(m.top - top) <= self._same_rows)

    def _was_refused(self, row: int) -> bool:
        return any(abs(row - refused) <= self._same_rows for refused in self._refused)

    def _is_certain(self, table: FloatArray, group: tuple[Movement, ...]) -> bool:
        """Whether movements that did not begin from a calm arm make a set all the same: walking must not."""
        if len(group) < FULL_SET or typical_rise(list(group)) < SURE_RISE_RAD:
            return False
        return self._kind is None or kind_of(table, group).resembles(self._kind)

    def _is_hurried(self, table: FloatArray, group: tuple[Movement, ...]) -> bool:
        """Whether movements are neither like the last set's nor as unhurried as a set of another exercise."""
        return self._kind is not None and kind_of(table, group).hurries_beside(self._kind)

    @property
    def _same_rows(self) -> int:
        return round(SAME_TOP_S * self.rate_hz)

    def _is_in(self, counted: _Counted, group: tuple[Movement, ...], first: int) -> bool:
        return any(abs(m.top + first - counted.movement.top) <= self._same_rows for m in group)

    def _uncount(self, gone: _Counted, events: list[EngineEvent]) -> None:
        number = self._counted.index(gone) + 1
        self._counted.remove(gone)
        self._seen = self._seen[number:]
        reason = "the movements after it are of another kind"
        events.append(RepWithdrawn(time_s=self._time, rep=number, reps=self.reps, reason=reason))

    def _movement_at(self, table: FloatArray, top: int) -> Movement | None:
        smallest = self._exercise.smallest_rom_rad
        found = find_movements(np.ascontiguousarray(table[:, ANGLE]), 0.5 * smallest, smallest)
        return next((m for m in found if abs(m.top - top) <= self._same_rows), None)

    def _tell_withdrawn_latest(self, current: _Current | None, events: list[EngineEvent]) -> None:
        if current is not None and current.told:
            events.append(
                RepWithdrawn(
                    time_s=self._time,
                    rep=current.number,
                    reps=self.reps,
                    reason="it is not like the reps before it" if self._counted else "it is no rep of a set",
                )
            )

    def _count(
        self,
        table: FloatArray,
        movement: Movement,
        first: int,
        current: _Current | None,
        events: list[EngineEvent],
    ) -> int:
        assert self.mounting is not None
        rep = measure_movement(
            table,
            movement,
            self._exercise,
            self.mounting,
            self._fusion.bias_rad_s,
            self._fusion.tilt_se_rad,
            self.choices.side,
            self.reps + 1,
        )
        if rep is None:
            return 0
        if current is not None and current.speed_rad_s is not None:
            # What was said at the gate stands.
            rep = replace(
                rep,
                start_velocity_rad_s=current.speed_rad_s,
                start_verdict=current.verdict,
                gate_s=current.gate_s,
            )
            if current.up is not None:
                self._seen = [*self._seen[-9:], (current.up, current.speed_rad_s)]
        if self._counted:
            before = self._counted[-1]
            pause = max(rep.phases.start_s - before.rep.phases.end_s, 0.0)
            self._counted[-1] = replace(before, rep=replace(before.rep, pause_s=pause))
        told_gate = current is not None and current.told
        if not told_gate and rep.start_velocity_rad_s is not None:
            events.append(
                GateCrossed(
                    time_s=self._time if rep.gate_s is None else rep.gate_s,
                    rep=self.reps + 1,
                    start_velocity_rad_s=rep.start_velocity_rad_s,
                    verdict=rep.start_verdict,
                    late=True,
                )
            )
        absolute = replace(
            movement,
            bottom=movement.bottom + first,
            top=movement.top + first,
            bottom_after=movement.bottom_after + first,
            earliest=movement.earliest + first,
            latest=movement.latest + first,
        )
        self._counted.append(_Counted(movement=absolute, top_s=float(table[movement.top, TIME]), rep=rep))
        record = rep_record(rep)
        record["pause_s"] = self._counted[-2].rep.pause_s if self.reps > 1 else 0.0
        events.append(
            RepEnded(time_s=self._time, rep=self.reps, reps=self.reps, measured=rep, tempo=tempo([record]))
        )
        return 1

    def _improve(self, events: list[EngineEvent]) -> None:
        """Learn from the reps so far which way the arm lies, or what axis it turns about."""
        bias = self._fusion.bias_rad_s
        if isinstance(self._angle, Turn):
            m = self._counted[-1].movement
            first = max(m.bottom, self._rows.first)
            part = self._rows.table(first, m.bottom_after + 1)
            if self._angle.axis is None and len(part) > 3:
                axis = turn_axis(part, bias, self._exercise.coordinate, m.top - first)
                self._change(Turn(self._angle.rest, axis))
            return
        first = max(
            self._row_at(self._time - FIT_S),
            min(self._counted[0].movement.bottom, self._counted[-1].movement.bottom)
            - round(20 * self.rate_hz),
            self._rows.first,
        )
        table = self._rows.table(first)
        inside = [
            replace(m, bottom=m.bottom - first, top=m.top - first, bottom_after=m.bottom_after - first)
            for m in (c.movement for c in self._counted)
            if m.bottom >= first
        ]
        if not inside:
            return
        learned = learn_mounting(table, inside, self.choices, bias)
        if learned is None and len(inside) >= FULL_SET and not len(inside) % FULL_SET:
            # What the live angle has found may itself rest on a wrong direction.
            found = learn_from_scratch(self._recording(table), self.choices)
            learned = None if found is None or found[0].mounting.method == "hanging" else found[0]
        if learned is not None:
            self._remount(learned, events)

    # Sets.

    def _close(self, reason: str) -> list[EngineEvent]:
        events: list[EngineEvent] = []
        if self._angle is None:
            return events
        movement = self._tracker.open_movement
        if movement is not None and (self._counted or self._told):
            self._judge(movement[0], self._rows.stop - 1, events)
        else:
            self._withdraw_current("the stream ended", events)
        if self._counted:
            self._end_set(reason, events)
        return events

    def _end_set(self, reason: str, events: list[EngineEvent]) -> None:
        counted = self._counted
        self._current = None
        first = max(min(c.movement.bottom for c in counted), self._rows.first)
        begin = max(self._row_at(self._rows.cell(first, TIME) - LEAD_IN_S), self._rows.first)
        table = self._rows.table(begin)
        self._counted, seen, self._seen, self._refused = [], self._seen, [], []
        self._floor = self._rows.stop
        self._tracker.hysteresis_rad = 0.5 * self._exercise.smallest_rom_rad
        known = [c.movement for c in counted if c.movement.bottom >= begin]
        kind = kind_of(table, tuple(_moved(m, -begin) for m in known)) if known else self._kind
        if not self._is_set(len(counted), kind, reason):
            for left in range(len(counted) - 1, -1, -1):
                events.append(
                    RepWithdrawn(
                        time_s=self._time,
                        rep=left + 1,
                        reps=left,
                        reason="too few movements alike to be a set",
                    )
                )
            return
        if len(counted) >= FULL_SET:
            self._kind, self._seen_before = kind, seen
        self.sets += 1
        reps = tuple(replace(c.rep, rep=number) for number, c in enumerate(counted, 1))
        records = [rep_record(rep) for rep in reps]
        speeds = [rep.mean_concentric_rad_s for rep in reps]
        loss = round(100 * (max(speeds) - speeds[-1]) / max(speeds), 2) if max(speeds) > 0 else None
        events.append(
            SetEnded(
                time_s=self._time,
                set=self.sets,
                reps=reps,
                start_s=reps[0].phases.start_s,
                end_s=reps[-1].phases.end_s,
                tempo=tempo(records),
                velocity_loss_pct=loss,
                reason=reason,
                raw=self._recording(table),
                raw_start_s=float(table[0, TIME]),
            )
        )

    def _is_set(self, reps: int, kind: Kind | None, reason: str) -> bool:
        if reps >= FULL_SET:
            return True
        if self._kind is not None:
            return kind is not None and kind.resembles(self._kind)
        return reps > 1 or reason != "rest"

    def _recording(self, table: FloatArray) -> Recording:
        """The samples as they came, without those filled in."""
        real = table[table[:, MISSING] == 0]
        time_s = real[:, TIME] - real[0, TIME]
        steps = np.diff(time_s)
        gaps = tuple(
            Gap(
                start_s=float(time_s[k]),
                end_s=float(time_s[k + 1]),
                missing_samples=max(round(float(steps[k]) * self.rate_hz) - 1, 1),
            )
            for k in np.flatnonzero(steps > max(SHOWN_GAP_S, 1.5 * self._period))
        )
        c = self.choices
        return Recording(
            time_s=time_s,
            specific_force_m_s2=real[:, FORCE : FORCE + 3],
            angular_velocity_rad_s=real[:, RATE : RATE + 3],
            rate_hz=self.rate_hz,
            gaps=gaps,
            metadata=Metadata(
                exercise=c.exercise.key, side=c.side, load_kg=c.load_kg, strap=c.strap, hand_axis=c.hand_axis
            ),
        )


def _moved(m: Movement, by: int) -> Movement:
    return replace(
        m,
        bottom=m.bottom + by,
        top=m.top + by,
        bottom_after=m.bottom_after + by,
        earliest=m.earliest + by,
        latest=m.latest + by,
    )


def _with_top(groups: tuple[tuple[Movement, ...], ...], top: int, within: int) -> tuple[Movement, ...] | None:
    """The group that holds the movement with its top at a row."""
    for group in groups:
        if any(abs(m.top - top) <= within for m in group):
            return group
    return None
