"""Which movements are told and counted as reps, and when a set is over."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.live.angle import Vector
from armarc.live.candidates import Counted, Current, group_with_top
from armarc.live.events import (
    EngineEvent,
    GateCrossed,
    RepEnded,
    RepStarted,
    RepWithdrawn,
    TopReached,
    set_ended,
)
from armarc.live.judge import Kind, find_groups, kind_of, measure_movement
from armarc.live.rows import ANGLE, TIME
from armarc.live.stretch import Stretch, moved
from armarc.live.tracker import Back, FellBack, Gate, Left, Signal, Top
from armarc.motion.tolerance import UNKNOWN_TOLERANCE
from armarc.recording import FloatArray
from armarc.reps.grouping import FULL_SET
from armarc.reps.movements import HYSTERESIS_SHARE_OF_TYPICAL, Movement, find_movements, typical_rise
from armarc.reps.records import rep_record
from armarc.reps.summary import tempo

LEAD_IN_S = 8.0
BEFORE_SET_S = 3.0
LEARN_EACH = 4
"""Up to this many reps each one is learned from, later every third."""
SAME_TOP_S = 0.3
CALM_BEFORE_S = 0.8
REP_AFTER_REP_S = 2.5
ALIKE_AT_GATE = math.cos(math.radians(16))
FASTER_AT_GATE = 3.0
SURE_RISE_RAD = math.radians(50)
"""A walking arm swings through some 30°."""
PARTIAL = 0.7


class Counting:
    """Counts the reps of a stretch; the number of sets and what they look like outlive it."""

    def __init__(self, stretch: Stretch) -> None:
        self._stretch = stretch
        self.sets = 0
        self._kind: Kind | None = None
        self.begin()

    def begin(self) -> None:
        """A new stretch begins."""
        self._current: Current | None = None
        self._counted: list[Counted] = []
        self._refused: list[int] = []
        self._seen: list[tuple[Vector, float]] = []
        self._seen_before: list[tuple[Vector, float]] = []
        self._last_back_s = -math.inf
        self.learn_due = False

    @property
    def reps(self) -> int:
        """Reps of the running set so far."""
        return len(self._counted)

    @property
    def movements(self) -> list[Movement]:
        """The movements that count, in absolute rows."""
        return [c.movement for c in self._counted]

    @property
    def idle(self) -> bool:
        """Whether neither a set nor a movement is under way."""
        return not self._counted and self._current is None

    def _mark_set(self) -> None:
        s = self._stretch
        first = min((c.movement.bottom for c in self._counted), default=None)
        s.set_first = None if first is None else first - round(BEFORE_SET_S * s.rate_hz)

    def watch_the_rest(self, events: list[EngineEvent]) -> None:
        """End the set when its rest has lasted long enough."""
        s = self._stretch
        if not self._counted or s.time_s - self._last_back_s < s.exercise.rest_s:
            return
        if not self._told and s.tracker.phase != "up":
            self._end_set("rest", events)

    @property
    def _told(self) -> bool:
        return self._current is not None and self._current.told

    def _armed(self, time_s: float) -> bool:
        s = self._stretch
        if s.late:
            return False
        if s.calm.last_calm_s >= s.tracker.left_s - CALM_BEFORE_S:
            return True
        since_s = time_s - self._last_back_s
        in_set = bool(self._counted) and since_s < s.exercise.rest_s
        return in_set and (since_s < REP_AFTER_REP_S or s.calm.steady)

    def hear(self, signal: Signal, row: int, up: Vector, events: list[EngineEvent]) -> None:
        match signal:
            case Left():
                armed = self._armed(signal.time_s)
                self._current = Current(number=self.reps + 1, armed=armed, told=False)
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
        s = self._stretch
        current = self._current
        if current is None:
            return
        near, far = s.exercise.gate_rad
        current.speed_rad_s = (far - near) / (signal.far_s - signal.near_s)
        band = s.exercise.band
        current.verdict = None if band is None else band.verdict(current.speed_rad_s)
        current.gate_s = signal.far_s
        current.up = up
        # Another kind of movement than the reps before it stays unsaid until it turns out to be one.
        if not current.armed or not self._alike_at_gate(current):
            return
        current.told = True
        events.append(RepStarted(time_s=signal.near_s, rep=current.number, bottom_rad=s.tracker.bottom_rad))
        events.append(
            GateCrossed(
                time_s=signal.far_s,
                rep=current.number,
                start_velocity_rad_s=current.speed_rad_s,
                verdict=current.verdict,
            )
        )

    def _alike_at_gate(self, current: Current) -> bool:
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
        s = self._stretch
        current = self._current
        if current is not None and current.told:
            events.append(RepWithdrawn(time_s=s.time_s, rep=current.number, reps=self.reps, reason=reason))
        self._current = None

    def _judge(self, top_row: int, row: int, events: list[EngineEvent]) -> None:
        """A movement has come back: which movements of the set at hand count now?"""
        s = self._stretch
        first = s.window_first
        table = s.rows.table(first, row + 1)
        current, self._current = self._current, None
        groups = find_groups(table, s.exercise)
        latest = group_with_top(groups, top_row - first, self._same_rows)
        armed = current is not None and (current.armed or current.told)
        chosen: tuple[Movement, ...] = ()
        stay = list(self._counted)
        if latest is not None:
            goes_on = any(self._is_in(c, latest, first) for c in self._counted)
            told = current is not None and current.told
            if (
                goes_on
                and not (told or s.calm.steady or s.late)
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
        self._last_back_s = s.time_s
        rises = [c.movement for c in self._counted]
        share = HYSTERESIS_SHARE_OF_TYPICAL * typical_rise(rises)
        s.tracker.hysteresis_rad = max(0.5 * s.exercise.smallest_rom_rad, share)
        learns = self.reps <= LEARN_EACH or not self.reps % 3
        self.learn_due = learns and s.tracker.phase == "low" and not s.late

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
        s = self._stretch
        return round(SAME_TOP_S * s.rate_hz)

    def _is_in(self, counted: Counted, group: tuple[Movement, ...], first: int) -> bool:
        return any(abs(m.top + first - counted.movement.top) <= self._same_rows for m in group)

    def _uncount(self, gone: Counted, events: list[EngineEvent]) -> None:
        s = self._stretch
        number = self._counted.index(gone) + 1
        self._counted.remove(gone)
        self._mark_set()
        self._seen = self._seen[number:]
        reason = "the movements after it are of another kind"
        events.append(RepWithdrawn(time_s=s.time_s, rep=number, reps=self.reps, reason=reason))

    def _movement_at(self, table: FloatArray, top: int) -> Movement | None:
        s = self._stretch
        smallest = s.exercise.smallest_rom_rad
        found = find_movements(np.ascontiguousarray(table[:, ANGLE]), 0.5 * smallest, smallest)
        return next((m for m in found if abs(m.top - top) <= self._same_rows), None)

    def _tell_withdrawn_latest(self, current: Current | None, events: list[EngineEvent]) -> None:
        s = self._stretch
        if current is not None and current.told:
            events.append(
                RepWithdrawn(
                    time_s=s.time_s,
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
        current: Current | None,
        events: list[EngineEvent],
    ) -> int:
        s = self._stretch
        assert s.mounting is not None
        rep = measure_movement(
            table,
            movement,
            s.exercise,
            s.mounting,
            s.fusion.bias_rad_s,
            s.fusion.tilt_se_rad,
            s.choices.side,
            self.reps + 1,
            s.choices.tolerance or UNKNOWN_TOLERANCE,
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
                    time_s=s.time_s if rep.gate_s is None else rep.gate_s,
                    rep=self.reps + 1,
                    start_velocity_rad_s=rep.start_velocity_rad_s,
                    verdict=rep.start_verdict,
                    late=True,
                )
            )
        self._counted.append(
            Counted(movement=moved(movement, first), top_s=float(table[movement.top, TIME]), rep=rep)
        )
        self._mark_set()
        record = rep_record(rep)
        record["pause_s"] = self._counted[-2].rep.pause_s if self.reps > 1 else 0.0
        events.append(
            RepEnded(time_s=s.time_s, rep=self.reps, reps=self.reps, measured=rep, tempo=tempo([record]))
        )
        return 1

    def close(self, reason: str) -> list[EngineEvent]:
        """The stretch ends here: bring a running rep and set to their end."""
        s = self._stretch
        events: list[EngineEvent] = []
        if s.angle is None:
            return events
        movement = s.tracker.open_movement
        if movement is not None and (self._counted or self._told):
            self._judge(movement[0], s.rows.stop - 1, events)
        else:
            self._withdraw_current("the stream ended", events)
        if self._counted:
            self._end_set(reason, events)
        return events

    def _end_set(self, reason: str, events: list[EngineEvent]) -> None:
        s = self._stretch
        counted = self._counted
        self._current = None
        first = max(min(c.movement.bottom for c in counted), s.rows.first)
        begin = max(s.row_at(s.rows.cell(first, TIME) - LEAD_IN_S), s.rows.first)
        table = s.rows.table(begin)
        self._counted, seen, self._seen, self._refused = [], self._seen, [], []
        self._mark_set()
        s.floor = s.rows.stop
        s.tracker.hysteresis_rad = 0.5 * s.exercise.smallest_rom_rad
        known = [c.movement for c in counted if c.movement.bottom >= begin]
        kind = kind_of(table, tuple(moved(m, -begin) for m in known)) if known else self._kind
        if not self._is_set(len(counted), kind, reason):
            for left in range(len(counted) - 1, -1, -1):
                events.append(
                    RepWithdrawn(
                        time_s=s.time_s,
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
        raw, start_s = s.recording(table), float(table[0, TIME])
        events.append(set_ended(self.sets, reps, reason, s.time_s, raw, start_s))

    def _is_set(self, reps: int, kind: Kind | None, reason: str) -> bool:
        if reps >= FULL_SET:
            return True
        if self._kind is not None:
            return kind is not None and kind.resembles(self._kind)
        return reps > 1 or reason != "rest"
