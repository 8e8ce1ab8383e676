"""Which movements are told and counted as reps, and when a set is over.

What is said at the gate is this module's own: it is said before anybody can know whether the movement will be a rep.
Which movements count is asked of the offline counter at the end of every movement, over what has been recorded since
the last set, beside the loop; what it sees otherwise than before is told as events.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

import numpy as np

from armarc.live.angle import Vector
from armarc.live.candidates import Counted, Current, is_looked_at, is_low, may_hide_rep, reps_of_set
from armarc.live.events import (
    EngineEvent,
    GateCrossed,
    RepEnded,
    RepStarted,
    RepWithdrawn,
    TopReached,
    set_ended,
)
from armarc.live.look_back import Seen, View, at_last, seen_again, so_far, view_of
from armarc.live.rows import TIME
from armarc.live.stretch import Stretch
from armarc.live.told import ToldErrors, is_provisional, passed_alike, speed_of
from armarc.live.tracker import Back, FellBack, Gate, Left, Signal, Top
from armarc.reps.likeness import Template
from armarc.reps.movements import FULL_SET, Movement
from armarc.reps.runs import HYSTERESIS_SHARE, LONGEST_HOLD
from armarc.reps.summary import tempo
from armarc.reps.types import Rep

LEAD_IN_S = 8.0
SAME_TOP_S, CALM_BEFORE_S, REP_AFTER_REP_S = 0.3, 0.8, 2.5
COUNT_EVERY_S, COUNT_SELDOM_S = 1.5, 6.0
"""So often the movements are counted again while the arm moves and nothing has come back: the angle of a mounting that
is not known yet may show no movement at all. Where the last movement did come back, or the last look showed nothing
new, that is less likely, and the next look waits up to the longer time."""
MOST_KNOWN, MOST_GATES = 4, 60


class Counting:
    """Counts the reps of a stretch; the number of sets and what they look like outlive it."""

    def __init__(self, stretch: Stretch) -> None:
        self._stretch = stretch
        self.sets = 0
        self._told = ToldErrors()
        self._known: tuple[Template, ...] = ()
        self.begin()

    def begin(self) -> None:
        """A new stretch begins."""
        self._current: Current | None = None
        self._counted: list[Counted] = []
        self._seen: list[tuple[Vector, float]] = []
        self._seen_before: list[tuple[Vector, float]] = []
        self._gates: list[Current] = []
        self._last_back_s = self._last_up_s = -math.inf
        self.movements: list[Movement] = []
        self._ended: list[Counted] = []
        self._running: Template | None = None
        self._counted_at_s, self._count_every_s = -math.inf, COUNT_EVERY_S
        self.learn_from: View | None = None

    @property
    def reps(self) -> int:
        """Reps of the running set so far."""
        return len(self._counted)

    @property
    def idle(self) -> bool:
        """Whether neither a set nor a movement is under way, as far as has been looked."""
        return not self._counted and self._current is None and not self._stretch.aside.pending

    def may_hide_rep(self, length_s: float) -> bool:
        """Whether a gap of so many seconds may hide a rep of the set under way."""
        return may_hide_rep(self._counted, length_s)

    def _mark_set(self) -> None:
        s = self._stretch
        if not self._counted:
            s.set_first = None
        elif s.set_first is None:
            s.set_first = s.window_first  # all in sight then stays so: another look may see it begin earlier

    def watch_the_rest(self, up: Vector, events: list[EngineEvent]) -> None:
        """End the set when its rest has lasted long enough; count again now and then while the arm moves."""
        s = self._stretch
        if self._told_s > -math.inf or not is_low(self._running, s.tracker.phase, up):
            self._last_up_s = s.time_s
        if s.aside.pending:
            return
        if s.time_s - self._counted_at_s >= self._count_every_s and s.stillness.quiet_samples == 0:
            self.look_over(s.rows.stop - 1)
            return
        # Nobody holds a weight up for longer: the arm rests elsewhere than at the bottom.
        is_held = s.time_s - max(self._last_back_s, self._told_s) < LONGEST_HOLD * s.exercise.rest_s
        up_s = self._last_up_s if is_held else -math.inf
        if self._counted and s.time_s - max(self._last_back_s, up_s) >= s.exercise.rest_s:
            self._end_set("rest", events)

    @property
    def _told_s(self) -> float:  # when the movement under way was told
        c = self._current
        return -math.inf if c is None or not c.told or c.gate_s is None else c.gate_s

    def _armed(self, time_s: float) -> bool:
        s = self._stretch
        if s.stillness.last_calm_s >= s.tracker.left_s - CALM_BEFORE_S:
            return True
        since_s = time_s - self._last_back_s
        in_set = bool(self._counted) and since_s < s.exercise.rest_s
        return in_set and (since_s < REP_AFTER_REP_S or s.stillness.steady)

    def hear(self, signal: Signal, row: int, up: Vector, events: list[EngineEvent]) -> None:
        """Take what the tracker saw."""
        match signal:
            case Left():
                armed = self._armed(signal.time_s)
                self._current = Current(number=self.reps + 1, armed=armed, told=False, left_row=row)
            case Gate():
                self._gate(signal, up, events)
            case FellBack():
                self._withdraw_current(events)
            case Top():
                if self._current is not None and self._current.told:
                    events.append(
                        TopReached(time_s=signal.time_s, rep=self._current.number, top_rad=signal.angle_rad)
                    )
            case Back():
                current, self._current = self._current, None
                self.look_over(row, current, signal.top_row)

    def _gate(self, signal: Gate, up: Vector, events: list[EngineEvent]) -> None:
        s = self._stretch
        current = self._current
        if current is None:
            return
        current.speed_rad_s, se = speed_of(signal, s)
        current.speed_se_rad_s = self._told.of(current.speed_rad_s, se)
        band = s.exercise.band
        current.verdict = None if band is None else band.verdict(current.speed_rad_s)
        current.gate_s = signal.far_s
        current.up, current.on_pose = up, s.is_provisional
        self._gates = [*self._gates[-MOST_GATES:], current]
        # Another kind of movement than the reps before it stays unsaid until it turns out to be one.
        if not current.armed or not passed_alike(self._seen or self._seen_before, up, current.speed_rad_s):
            return
        current.told = True
        events.append(RepStarted(time_s=signal.near_s, rep=current.number, bottom_rad=s.tracker.bottom_rad))
        events.append(
            GateCrossed(
                time_s=signal.far_s,
                rep=current.number,
                told_velocity_rad_s=current.speed_rad_s,
                told_velocity_se_rad_s=current.speed_se_rad_s,
                verdict=current.verdict,
                provisional=is_provisional(s, current.speed_rad_s, current.speed_se_rad_s),
            )
        )

    def _withdraw_current(self, events: list[EngineEvent]) -> None:
        current, self._current = self._current, None
        if current is not None and current.told:
            at_s, reason = self._stretch.time_s, "it did not go on"
            events.append(RepWithdrawn(time_s=at_s, rep=current.number, reps=self.reps, reason=reason))

    def look_over(self, row: int, current: Current | None = None, top_row: int | None = None) -> None:
        """Ask the counter which movements of the stretch at hand are reps now.

        Parameters
        ----------
        row : int
            The newest that is looked at.
        current : Current or None
            The movement that has just come back, its top in `top_row`.
        """
        s = self._stretch
        self._counted_at_s = s.time_s
        view = self._view(row + 1)
        if len(view.table) < s.rate_hz:
            return
        begins = current is not None and (current.armed or current.told)
        since = current.left_row - view.first if current is not None and begins else None
        is_sure = len(self.movements) == self.reps and not any(c.is_doubted for c in self._counted)
        sure = self.movements if is_sure and not is_looked_at(self.reps + 1) else ()
        s.aside.begin(
            partial(so_far, view, self._running, since, sure),
            partial(self._take_up, view, current, top_row),
            s.due,
            before_moving=current is not None,
        )

    def _view(self, stop: int) -> View:
        tops = [c.movement.top for c in self._counted]
        return view_of(self._stretch, stop, self._known, tops, self._same_rows)

    def _take_up(
        self,
        view: View,
        current: Current | None,
        top_row: int | None,
        seen: Seen,
        events: list[EngineEvent],
    ) -> None:
        """Tell what a look has changed."""
        before = [c.top_s for c in self._counted]
        if seen.templates:
            self._running = seen.templates[-1]
        self._tell(view, seen, events)
        if current is None:
            is_news = before != [c.top_s for c in self._counted]
            self._count_every_s = COUNT_EVERY_S if is_news else min(2 * self._count_every_s, COUNT_SELDOM_S)
            return
        self._count_every_s = COUNT_SELDOM_S
        if current.told and not self._is_counted(top_row):
            s = self._stretch
            reason = "it is not like the reps before it" if self._counted else "it is no rep of a set"
            events.append(RepWithdrawn(time_s=s.time_s, rep=current.number, reps=self.reps, reason=reason))

    def _is_counted(self, top_row: int | None) -> bool:
        return top_row is not None and any(
            abs(c.movement.top - top_row) <= self._same_rows for c in self._counted
        )

    @property
    def _same_rows(self) -> int:
        return round(SAME_TOP_S * self._stretch.rate_hz)

    def _tell(self, view: View, seen: Seen, events: list[EngineEvent], *, is_last: bool = False) -> None:
        """Withdraw what counts no longer and count what has come to count."""
        s = self._stretch
        movements = seen.movements
        if not movements and len(self._counted) < FULL_SET and not is_last:
            # Too few to be a set so far: they stay until there is a set without them, or the rest.
            movements = [c.movement for c in self._counted]
        self.movements = movements
        again = seen_again([c.movement.top for c in self._counted], movements, self._same_rows)
        missed = [c for k, c in enumerate(self._counted) if k not in again]
        if len(missed) == len(self._counted):  # how the gate was passed before tells nothing now
            self._seen = []
        # One look may take the set for another; what the next one leaves out as well is none.
        doubted = [c for c in missed if movements and not (is_last or c.is_doubted)]
        for gone in [c for c in missed if c not in doubted]:
            place = self._counted.index(gone)
            del self._counted[place]
            reason = "it is not like the movements after it"
            events.append(RepWithdrawn(time_s=s.time_s, rep=place + 1, reps=self.reps, reason=reason))
        if doubted or any(c.is_doubted for c in self._counted):
            self._counted = [replace(c, is_doubted=c in doubted) for c in self._counted]
        held = [(c.movement.bottom, c.movement.bottom_after) for c in doubted]
        if seen.turn is not None:
            s.change_angle(seen.turn, None if s.tracker.moving else view.stop - 1)
        shown = set(again.values())
        new = [
            place
            for place, m in enumerate(movements)
            if place not in shown and all(m.bottom_after <= a or m.bottom >= b for a, b in held)
        ]
        for place in new:
            if place in seen.measured:
                self._count(view, movements[place], *seen.measured[place], events)
        self._mark_set()
        if not new:
            return
        if any(place in seen.measured for place in new):
            self._last_back_s = view.time_s(movements[-1].bottom_after)
            usual = float(np.median([c.movement.rise_rad for c in self._counted]))
            s.tracker.hysteresis_rad = max(0.5 * s.exercise.smallest_rom_rad, HYSTERESIS_SHARE * usual)
        if is_looked_at(len(movements)) and (s.tracker.phase == "low" or s.is_provisional):
            self.learn_from = view

    def _count(
        self, view: View, labelled: Movement, movement: Movement, rep: Rep, events: list[EngineEvent]
    ) -> None:
        """Count a movement: as the counter sees it, in rows, and as it was measured in the view."""
        s, table = self._stretch, view.table
        place = sum(c.movement.top < labelled.top for c in self._counted)
        rep = replace(rep, rep=place + 1)
        span = float(table[movement.bottom, TIME]), float(table[movement.top, TIME])
        # A gate that was seen while the arm came down was that of an angle the wrong way up.
        gate = next((g for g in self._gates if g.gate_s is not None and span[0] <= g.gate_s <= span[1]), None)
        if gate is not None and gate.told:
            rep = replace(
                rep, told_velocity_rad_s=gate.speed_rad_s, told_velocity_se_rad_s=gate.speed_se_rad_s
            )
            if not gate.on_pose:
                self._told.hear(rep)
        elif rep.start_velocity_rad_s is not None:
            events.append(
                GateCrossed(
                    time_s=s.time_s if rep.gate_s is None else rep.gate_s,
                    rep=place + 1,
                    told_velocity_rad_s=rep.start_velocity_rad_s,
                    told_velocity_se_rad_s=rep.start_velocity_se_rad_s,
                    verdict=rep.start_verdict,
                    late=True,
                    provisional=is_provisional(s, rep.start_velocity_rad_s, rep.start_velocity_se_rad_s),
                )
            )
        if gate is not None and gate.up is not None and gate.speed_rad_s is not None:
            self._seen = [*self._seen[-9:], (gate.up, gate.speed_rad_s)]
        if place:
            before = self._counted[place - 1]
            pause = max(rep.phases.start_s - before.rep.phases.end_s, 0.0)
            self._counted[place - 1] = replace(before, rep=replace(before.rep, pause_s=pause))
        self._counted.insert(
            place,
            Counted(movement=labelled, top_s=float(table[movement.top, TIME]), rep=rep),
        )
        pause_before = self._counted[place - 1].rep.pause_s if place else 0.0
        events.append(
            RepEnded(
                time_s=s.time_s,
                rep=place + 1,
                reps=self.reps,
                measured=rep,
                tempo=tempo([replace(rep, pause_s=pause_before)]),
                provisional=is_provisional(s, rep.start_velocity_rad_s, rep.start_velocity_se_rad_s),
            )
        )

    def close(self, reason: str) -> list[EngineEvent]:
        """The stretch ends here: bring a running rep and set to their end."""
        s = self._stretch
        events: list[EngineEvent] = []
        if s.angle is None:
            return events
        current, self._current = self._current, None
        self._end_set(reason, events)
        if current is not None and current.told and not self._has_ended(current):
            events.insert(
                0,
                RepWithdrawn(
                    time_s=s.time_s, rep=current.number, reps=current.number - 1, reason="the stream ended"
                ),
            )
        return events

    def _has_ended(self, current: Current) -> bool:
        gates_s = [c.rep.gate_s for c in self._ended if c.rep.gate_s is not None]
        return current.gate_s is not None and any(abs(g - current.gate_s) < SAME_TOP_S for g in gates_s)

    def _end_set(self, reason: str, events: list[EngineEvent]) -> None:
        """Count a last time, with the rest after the set in sight, and close what is a set."""
        s = self._stretch
        self._current = None
        view = self._view(s.rows.stop)
        close = partial(self._close_sets, view, reason)
        if reason != "rest":
            close(at_last(view, is_over=True), events)
        else:
            s.aside.begin(partial(at_last, view, is_over=False), close, s.due, before_moving=True)

    def _close_sets(self, view: View, reason: str, final: Seen, events: list[EngineEvent]) -> None:
        s = self._stretch
        newest = final.movements[-1] if final.movements and reason == "rest" else None
        if newest is not None and not self._is_counted(newest.top):
            self._last_back_s = view.time_s(newest.bottom_after)
            if s.time_s - self._last_back_s < s.exercise.rest_s:  # what had come to rest were other movements
                self._running = final.templates[-1]
                return self._tell(view, final, events, is_last=True)
        self._ended = []
        self._running = None
        self._tell(view, final, events, is_last=True)
        self.learn_from = None
        counted, self._counted = self._counted, []
        seen, self._seen, self._gates = self._seen, [], []
        for group, template in zip(final.groups, final.templates, strict=True):
            of_group = seen_again([c.movement.top for c in counted], group, self._same_rows)
            if not of_group:
                continue
            members = [replace(counted[k], movement=group[of_group[k]]) for k in sorted(of_group)]
            self._ended += members
            if len(members) >= FULL_SET:
                self._seen_before = seen
                self._known = (*self._known[-MOST_KNOWN:], template)
            self._close_set(members, reason, view.stop, events)
        self.movements = []
        self._mark_set()
        # What comes after a rest may have begun already; where it follows no set, all in sight may belong to it.
        ends = [m.bottom_after for m in final.movements[-1:]] if reason == "rest" else [view.stop]
        s.floor = min(view.stop, *ends) if ends else s.floor
        s.tracker.hysteresis_rad = 0.5 * s.exercise.smallest_rom_rad

    def _close_set(self, members: list[Counted], reason: str, stop: int, events: list[EngineEvent]) -> None:
        s = self._stretch
        first = max(min(c.movement.bottom for c in members), s.rows.first)
        begin = max(s.row_at(s.rows.cell(first, TIME) - LEAD_IN_S), s.rows.first)
        table = s.rows.table(begin, stop)
        self.sets += 1
        reps = reps_of_set(members, s.body.flags if s.exercise.coordinate == "elevation" else ())
        raw, start_s = s.recording(table), float(table[0, TIME])
        events.append(set_ended(self.sets, reps, reason, s.time_s, raw, start_s))
