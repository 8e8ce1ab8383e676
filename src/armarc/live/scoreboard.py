"""What a lifter needs to see at this moment, kept up by the events; every face draws the same scoreboard.

Below it what a session itself tells (its task, its sensors, a mark reached), as JSON; see `armarc.live.events`.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Any

from armarc.choices import Choices
from armarc.live.events import (
    SCHEMA,
    EngineEvent,
    GapSeen,
    GateCrossed,
    Ready,
    RepEnded,
    RepStarted,
    RepWithdrawn,
    SetEnded,
    TopReached,
    full_so_far,
)
from armarc.live.source import LinkNews
from armarc.live.stop_mark import CAVEAT, Reached
from armarc.reps.records import deg
from armarc.reps.summary import SetSummary, loss
from armarc.reps.types import Rep
from armarc.tasks import Task

TRACE_S = 12.0
FLASH_S = 4.0


@dataclass(frozen=True, slots=True)
class StripMark:
    """One rep of the strip: its speed (°/s) and verdict, and whether these are provisional."""

    speed_deg_s: float | None
    verdict: str | None
    provisional: bool = False


@dataclass(frozen=True, slots=True)
class SetLine:
    """One finished set, as the offline road or, until it has answered, the live engine measured it."""

    number: int
    reps: int
    in_band: int | None
    mean_speed_deg_s: float | None
    tempo: str
    loss_pct: float | None
    measured: bool


@dataclass(slots=True)
class Scoreboard:
    """The state all faces draw.

    Parameters
    ----------
    exercise, side, load, band_deg_s, gate_deg, gate_from, lifter
        What is being lifted, and by whom.
    waiting : str
        The task of the next set, where it will be another one.
    typing : str
        The line being typed on the terminal.
    last_time, today : str
        The same task the last time; the last set against it.
    mark : str
        The mark of the lifter's own that was reached in this set.
    caution : str
        What belongs in front of the last set, after which pain was said.
    said : str
        What was said about the last set.
    answer : str
        Why an order of the page was not taken.
    keys : bool
        Whether keys are taken.
    logged : bool
        Whether what is said about a set is kept.
    menu : dict
        What the page may switch to; empty where nothing may be switched.
    other : Scoreboard or None
        That of the other arm, where it wears a sensor too; what is the lifter's stands on this one.
    """

    exercise: str
    side: str
    load: str
    band_deg_s: tuple[float, float] | None
    gate_deg: tuple[float, float]
    gate_from: str = "bottom"
    lifter: str = ""
    waiting: str = ""
    typing: str = ""
    last_time: str = ""
    today: str = ""
    mark: str = ""
    caution: str = ""
    said: str = ""
    answer: str = ""
    keys: bool = False
    logged: bool = False
    menu: dict[str, Any] = field(default_factory=dict)
    other: Scoreboard | None = None
    time_s: float = 0.0
    ready: bool = False
    rep: int = 0
    under_way: bool = False
    speed_deg_s: float | None = None
    verdict: str | None = None
    provisional: bool = False
    said_s: float = -math.inf
    top_deg: float | None = None
    rom_deg: float | None = None
    tempo: str = ""
    loss_pct: float | None = None
    strip: list[StripMark] = field(default_factory=list)
    angle_deg: float = 0.0
    bottom_deg: float = 0.0
    trace: deque[tuple[float, float]] = field(default_factory=deque)
    sets: list[SetLine] = field(default_factory=list)
    set_ended_s: float | None = None
    battery_pct: int | None = None
    battery_low: bool = False
    link: str = ""
    notice: str = ""
    stopping: bool = False
    _reps: list[Rep] = field(default_factory=list)

    def tick(self, time_s: float, angle_rad: float, bottom_rad: float) -> None:
        """A new sample: move the trace on."""
        self.time_s = time_s
        self.angle_deg = math.degrees(angle_rad)
        self.bottom_deg = math.degrees(bottom_rad)
        if not self.trace or time_s - self.trace[-1][0] >= 0.019:
            self.trace.append((time_s, self.angle_deg))
            while self.trace and self.trace[0][0] < time_s - TRACE_S:
                self.trace.popleft()

    def hear(self, event: EngineEvent) -> None:
        """Take in one event."""
        match event:
            case Ready():
                self.ready = True
            case RepStarted():
                if event.rep == 1:
                    self._new_set()
                self.rep, self.under_way = event.rep, True
                self.speed_deg_s = self.verdict = self.top_deg = None
            case GateCrossed() if not event.late:
                self.speed_deg_s = math.degrees(event.told_velocity_rad_s)
                self.verdict, self.said_s = event.verdict, event.time_s
                self.provisional = event.provisional
            case TopReached():
                self.top_deg = math.degrees(event.top_rad)
            case RepEnded():
                if event.rep == 1 and self.set_ended_s is not None:
                    self._new_set()
                self._end_rep(event)
            case RepWithdrawn():
                if event.rep <= len(self.strip):
                    del self.strip[event.rep - 1]
                    del self._reps[event.rep - 1]
                self.rep, self.under_way = event.reps, False
                self.speed_deg_s = self.verdict = None
            case SetEnded():
                self.under_way = False
                self.set_ended_s = event.end_s
                self.loss_pct = event.velocity_loss_pct
                self.sets.append(_live_line(event, self.band_deg_s is not None))
            case GapSeen():
                self.notice = f"{event.end_s - event.start_s:.1f} s of the signal are missing"
                if event.may_hide_rep:
                    self.notice += ": a rep may be missing from the count"
            case _:
                pass

    def _new_set(self) -> None:
        self.strip.clear()
        self._reps.clear()
        self.set_ended_s = None
        self.loss_pct = None
        self.rom_deg, self.tempo, self.notice = None, "", ""
        self.mark = self.caution = self.said = self.today = ""

    def _end_rep(self, event: RepEnded) -> None:
        rep, place = event.measured, event.rep - 1
        self.rep, self.under_way = event.reps, False
        speed = None if rep.start_velocity_rad_s is None else math.degrees(rep.start_velocity_rad_s)
        self.strip.insert(place, StripMark(speed, rep.start_verdict, event.provisional))
        self._reps.insert(place, rep)
        self.speed_deg_s, self.verdict, self.provisional = speed, rep.start_verdict, event.provisional
        self.rom_deg = None if rep.rom_rad is None else math.degrees(rep.rom_rad)
        self.tempo = event.tempo
        full = full_so_far(self._reps)
        slower = loss([one.mean_concentric_rad_s for one in full]) if len(full) > 1 else None
        self.loss_pct = None if slower is None else 100 * slower

    def measured(self, number: int, summary: SetSummary) -> None:
        """The offline road has measured a set: its numbers take the place of the live ones."""
        lost = summary.velocity_loss_share
        line = SetLine(
            number=number,
            reps=summary.reps,
            in_band=None if summary.in_band is None else summary.in_band.count,
            mean_speed_deg_s=deg(summary.means["start_velocity_deg_s"]),
            tempo=summary.tempo,
            loss_pct=None if lost is None else round(100 * lost, 2),
            measured=True,
        )
        self.sets = [line if one.number == number else one for one in self.sets]
        if self.set_ended_s is not None and self.sets and self.sets[-1].number == number:
            self.loss_pct = line.loss_pct

    def take(self, choices: Choices, lifter: str | None = None) -> None:
        """Another task is in force; what was lifted so far stays."""
        exercise, band = choices.exercise, choices.exercise.band
        low, high = exercise.gate_rad
        self.exercise, self.side, self.lifter = exercise.name, choices.side, lifter or ""
        parts = [] if choices.load_kg is None else [f"{choices.load_kg:.4g} kg"]
        self.load = " + ".join([*parts, *(one.split(",")[0] for one in choices.resistance or ())])
        self.band_deg_s = (
            None if band is None else (math.degrees(band.low_rad_s), math.degrees(band.high_rad_s))
        )
        self.gate_deg, self.gate_from = (math.degrees(low), math.degrees(high)), exercise.gate_from

    @property
    def gate_above_bottom_deg(self) -> tuple[float, float]:
        """Where the gate stands above the bottom at hand."""
        off = 0.0 if self.gate_from == "bottom" else self.bottom_deg
        return self.gate_deg[0] - off, self.gate_deg[1] - off

    @property
    def arms(self) -> tuple[Scoreboard, ...]:
        """The scoreboards of all arms, left first."""
        return (self,) if self.other is None else tuple(sorted((self, self.other), key=lambda one: one.side))

    @property
    def since_set_s(self) -> float | None:
        """Rest since the last rep of the last set, s; None while a set is running."""
        return None if self.set_ended_s is None else self.time_s - self.set_ended_s

    @property
    def off_band_deg_s(self) -> float:
        """How far the last start was outside the band, °/s; 0 inside."""
        if self.band_deg_s is None or self.speed_deg_s is None:
            return 0.0
        low, high = self.band_deg_s
        return max(low - self.speed_deg_s, self.speed_deg_s - high, 0.0)

    @property
    def sensor_lines(self) -> list[str]:
        """What is to be said about the sensor; empty when all is well."""
        lines = [self.link] if self.link else []
        if self.battery_low or (self.battery_pct is not None and self.battery_pct <= 15):
            lines.append("battery low" if self.battery_pct is None else f"battery {self.battery_pct} %")
        if self.notice:
            lines.append(self.notice)
        return lines


def scoreboard_for(choices: Choices) -> Scoreboard:
    """An empty scoreboard for what is going to be lifted."""
    scoreboard = Scoreboard(exercise="", side="", load="", band_deg_s=None, gate_deg=(0.0, 0.0))
    scoreboard.take(choices)
    return scoreboard


def _live_line(event: SetEnded, has_band: bool) -> SetLine:
    speeds = [math.degrees(r.start_velocity_rad_s) for r in event.reps if r.start_velocity_rad_s is not None]
    return SetLine(
        number=event.set,
        reps=len(event.reps),
        in_band=sum(r.start_verdict == "inside" for r in event.reps) if has_band else None,
        mean_speed_deg_s=sum(speeds) / len(speeds) if speeds else None,
        tempo=event.tempo,
        loss_pct=event.velocity_loss_pct,
        measured=False,
    )


def session_record(event: str, time_s: float, **more: object) -> dict[str, object]:
    """An event of the session at a signal time."""
    return {"schema": SCHEMA, "event": event, "time_s": round(time_s, 4), **more}


def opening_record(scoreboard: Scoreboard, task: Task, choices: Choices) -> dict[str, object]:
    """The first event."""
    return session_record(
        "session",
        0.0,
        **task_record(scoreboard, task, choices),
        band_deg_s=None if scoreboard.band_deg_s is None else [round(v, 3) for v in scoreboard.band_deg_s],
        gate_deg=[round(v, 3) for v in scoreboard.gate_deg],
        rest_s=choices.exercise.rest_s,
    )


def task_record(scoreboard: Scoreboard, task: Task, choices: Choices) -> dict[str, object]:
    """Who lifts what."""
    return {
        "lifter": task.lifter,
        "exercise": choices.exercise.key,
        "variant": task.variant or "",
        "side": choices.side if scoreboard.other is None else "both",
        "load_kg": choices.load_kg,
        "resistance": list(choices.resistance or ()),
    }


def link_record(news: LinkNews, text: str) -> dict[str, object]:
    """Something about a sensor."""
    return session_record("link", news.time_s, state=news.state, text=text, battery_pct=news.battery_pct)


def mark_record(reached: Reached, time_s: float) -> dict[str, object]:
    """A mark of the lifter's own was reached."""
    return session_record(
        "mark reached",
        time_s,
        rep=reached.rep,
        what=reached.what,
        loss_pct=round(reached.loss_pct, 1),
        mark_pct=reached.mark_pct,
        caveat=CAVEAT,
    )
