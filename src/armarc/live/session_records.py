"""What a session itself tells (its task, its sensors, a mark reached), as JSON; see `armarc.live.events`."""

from __future__ import annotations

from typing import Any

from armarc.choices import Choices
from armarc.live.events import SCHEMA
from armarc.live.scoreboard import Scoreboard
from armarc.live.source import LinkNews
from armarc.live.stop_mark import CAVEAT, Reached
from armarc.tasks import Task


def session_record(event: str, time_s: float, **more: Any) -> dict[str, Any]:
    """An event of the session at a signal time."""
    return {"schema": SCHEMA, "event": event, "time_s": round(time_s, 4), **more}


def opening_record(scoreboard: Scoreboard, task: Task, choices: Choices) -> dict[str, Any]:
    """The first event."""
    return session_record(
        "session",
        0.0,
        **task_record(scoreboard, task, choices),
        band_deg_s=None if scoreboard.band_deg_s is None else [round(v, 3) for v in scoreboard.band_deg_s],
        gate_deg=[round(v, 3) for v in scoreboard.gate_deg],
        rest_s=choices.exercise.rest_s,
    )


def task_record(scoreboard: Scoreboard, task: Task, choices: Choices) -> dict[str, Any]:
    """Who lifts what."""
    return {
        "lifter": task.lifter,
        "exercise": choices.exercise.key,
        "variant": task.variant or "",
        "side": choices.side if scoreboard.other is None else "both",
        "load_kg": choices.load_kg,
        "resistance": list(choices.resistance or ()),
    }


def link_record(news: LinkNews, text: str) -> dict[str, Any]:
    """Something about a sensor."""
    return session_record("link", news.time_s, state=news.state, text=text, battery_pct=news.battery_pct)


def mark_record(reached: Reached, time_s: float) -> dict[str, Any]:
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
