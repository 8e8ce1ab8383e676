"""Which way the arm lies in the sensor: from quiet moments first, then from the reps themselves."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from armarc.arm_track import WOBBLING_RAD
from armarc.live.angle import ArmAngle, Elevation, Quaternion, TurnFromRest
from armarc.live.events import EngineEvent, Ready
from armarc.live.look_back import View
from armarc.live.mount import Learned, hanging_mounting, learn_from_scratch, learn_mounting
from armarc.live.rows import QUATERNION, RATE
from armarc.live.stillness import LONG_QUIET_S, QUIET_S
from armarc.live.stretch import Stretch, moved
from armarc.motion import Mounting, up_in_sensor
from armarc.motion.causal import start as start_fusion
from armarc.motion.lever_arm import WOBBLES_ABOVE_HZ
from armarc.reps.movements import FULL_SET, Movement

FIT_S, LEAD_IN_S = 30.0, 2.0
"""The arm's direction is learned from so much of the set, with so much of the rest before it."""
HANG_AGAIN_RAD = math.radians(40)
HANG_SHIFT_RAD = math.radians(3)
FALLBACK_AFTER_S = 5.0
FALLBACK_EVERY_S = 2.0
FALLBACK_LAST_S = 12.0


class ArmDirection:
    """Keeps the mounting of a stretch, and what was learned for the next one."""

    def __init__(self, stretch: Stretch, mounted: Callable[[], None]) -> None:
        """`mounted` is called when the mounting had to be taken from the movement itself: what has happened so far
        must be looked at again."""
        self._stretch, self._mounted = stretch, mounted
        self._learned: Learned | None = None
        self._next_fallback_s = -math.inf

    def begin(self) -> None:
        """A new stretch begins: what is known about the arm still holds."""
        self._next_fallback_s = -math.inf
        if self._learned is not None and self._stretch.exercise.coordinate == "elevation":
            self._use_learned(self._learned)

    def look(self, q: Quaternion, events: list[EngineEvent]) -> None:
        """Learn the resting pose from quiet moments outside the sets."""
        s = self._stretch
        quiet_s = s.stillness.quiet_for_s(s.time_s)
        if s.angle is None:
            if quiet_s >= QUIET_S:
                self._rest_here(q, events)
            elif s.time_s >= max(self._next_fallback_s, s.began_s + FALLBACK_AFTER_S):
                self._next_fallback_s = s.time_s + FALLBACK_EVERY_S
                self._mount_from_movement(events)
        elif LONG_QUIET_S <= quiet_s < LONG_QUIET_S + 1.5 * s.period_s:
            self._look_again(s.angle, q, events)

    def _look_again(self, angle: ArmAngle, q: Quaternion, events: list[EngineEvent]) -> None:
        """A long quiet moment: a turn is counted from here; a learned mounting must fit the pose, or it waits."""
        s = self._stretch
        if isinstance(angle, TurnFromRest):
            if s.set_first is None:  # in a set a long hold is no rest
                self._rest_here(q, events)
            return
        if self._learned is not None:
            cosine = float(self._learned.mounting.arm_axis @ s.stillness.down())
            if math.acos(max(-1.0, min(1.0, cosine))) < HANG_AGAIN_RAD:
                if s.mounting is not self._learned.mounting:
                    self._remount(self._learned, events)
                return
        if angle.step(q, (0.0, 0.0, 0.0))[0] > HANG_SHIFT_RAD:
            self._rest_here(q, events)

    def _rest_here(self, q: Quaternion, events: list[EngineEvent]) -> None:
        s = self._stretch
        if s.exercise.coordinate == "elevation":
            self._remount(hanging_mounting(s.stillness.down(), s.choices), events)
            return
        known = s.angle.axis if isinstance(s.angle, TurnFromRest) else None
        first = s.angle is None
        s.mounting = hanging_mounting(s.stillness.down(), s.choices)
        s.change_angle(TurnFromRest(q, known))
        if first:
            events.append(
                Ready(time_s=s.time_s, method="resting pose", uncertainty_rad=s.mounting.uncertainty_rad)
            )

    def _mount_from_movement(self, events: list[EngineEvent]) -> None:
        """No quiet moment came: take the mounting from the movement itself, once it shows enough."""
        s = self._stretch
        table = s.rows.table(s.rows.first)
        if len(table) < 3 * s.rate_hz:
            return
        if s.exercise.coordinate == "elevation":
            least = FULL_SET if s.time_s - s.began_s < FALLBACK_LAST_S else 1
            recording = s.recording(table)

            def take_up(learned: Learned | None, events: list[EngineEvent]) -> None:
                if learned is not None:
                    self._remount(learned, events)
                    self._mounted()

            s.aside.begin(partial(learn_from_scratch, recording, s.choices, least), take_up, s.due)
            return
        calmest = int(np.argmin(np.linalg.norm(table[:, RATE : RATE + 3], axis=1)))
        q = table[calmest, QUATERNION : QUATERNION + 4].tolist()
        x, y, z = (-up_in_sensor(table[calmest, None, QUATERNION : QUATERNION + 4])[0]).tolist()
        s.mounting = hanging_mounting((x, y, z), s.choices)
        s.change_angle(TurnFromRest((q[0], q[1], q[2], q[3])))
        events.append(
            Ready(time_s=s.time_s, method="resting pose", uncertainty_rad=s.mounting.uncertainty_rad)
        )
        self._mounted()

    def _remount(
        self,
        new: Mounting | Learned,
        events: list[EngineEvent],
        low_since: int | None = None,
        fuse_from: int | None = None,
    ) -> None:
        """Take another mounting; the angles of the rows at hand are worked out again, the screen glides."""
        s = self._stretch
        before, first = s.mounting, s.angle is None
        if isinstance(new, Learned):
            self._use_learned(new)
        else:
            self._use(new)
        if fuse_from is not None:
            s.fuse_again(fuse_from)
        assert s.angle is not None
        assert s.mounting is not None
        s.change_angle(s.angle, low_since)
        if first or before is None or before.method != s.mounting.method:
            events.append(
                Ready(
                    time_s=s.time_s,
                    method=s.mounting.method,
                    uncertainty_rad=s.mounting.uncertainty_rad,
                )
            )

    def _use(self, mounting: Mounting) -> None:
        s = self._stretch
        x, y, z = mounting.arm_axis.tolist()
        s.mounting, s.angle = mounting, Elevation((x, y, z))
        s.tracker.bandwidth_hz = WOBBLES_ABOVE_HZ if mounting.wobble_rad > WOBBLING_RAD else None

    def _use_learned(self, learned: Learned) -> None:
        s = self._stretch
        self._learned, s.body = learned, learned.body
        self._use(learned.mounting)
        s.force_offset_m_s2 = learned.force_offset_m_s2
        if learned.mounting.lever_arm_m is not None:
            x, y, z = learned.mounting.lever_arm_m.tolist()
            known = start_fusion(lever_arm_m=(x, y, z))
            s.fusion = replace(s.fusion, lever_arm_m=known.lever_arm_m, priors=known.priors)

    def learn(self, movements: Sequence[Movement], view: View) -> None:
        """Begin to learn from the reps of the running set which way the arm lies.

        Parameters
        ----------
        movements : sequence of Movement
            In absolute rows.
        view : View
            In which they were found.
        """
        s = self._stretch
        if isinstance(s.angle, TurnFromRest) or not movements:
            return
        first = max(
            view.stop - 1 - round(FIT_S * s.rate_hz),
            movements[0].bottom - round(LEAD_IN_S * s.rate_hz),
            s.rows.first,
        )
        inside = [moved(m, -first) for m in movements if m.bottom >= first]
        if not inside:
            return
        table, is_low = s.rows.table(first, view.stop), not s.tracker.moving

        def look() -> Learned | None:
            learned = learn_mounting(table, inside, s.choices, view.fusion.bias_rad_s)
            if learned is None and len(inside) >= FULL_SET and not len(inside) % FULL_SET:
                # What the live angle has found may itself rest on a wrong direction.
                found = learn_from_scratch(s.recording(table), s.choices)
                learned = None if found is None or found.mounting.method == "hanging" else found
            return learned

        def take_up(learned: Learned | None, events: list[EngineEvent]) -> None:
            if learned is not None:
                s.fusion = view.fusion
                self._remount(learned, events, view.stop - 1 if is_low else None, fuse_from=view.stop)

        # The next gate is told on what the reps before it have shown.
        s.aside.begin(look, take_up, s.due if is_low else s.rows.stop - 1, before_moving=True)
