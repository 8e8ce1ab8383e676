"""The scoreboard as the page receives it."""

from __future__ import annotations

from functools import cache
from typing import Any

from armarc.exercises import find_exercise
from armarc.live.scoreboard import FLASH_S, Scoreboard
from armarc.live.stop_mark import CAVEAT
from armarc.tasks import Task


def scoreboard_message(scoreboard: Scoreboard) -> dict[str, Any]:
    """Everything the page draws, in degrees and seconds.

    ``arm_deg`` is the elevation now, ``trail_deg`` the elevations of the last second, oldest first; ``fresh`` tells
    that the verdict has just been given.
    """
    trail = [angle for time_s, angle in scoreboard.trace if time_s >= scoreboard.time_s - 1.0]
    last = scoreboard.sets[-1] if scoreboard.sets else None
    return {
        "exercise": scoreboard.exercise,
        "side": scoreboard.side,
        "load": scoreboard.load,
        "band": scoreboard.band_deg_s,
        "gate": scoreboard.gate_above_bottom_deg,
        "ready": scoreboard.ready,
        "rep": scoreboard.rep,
        "moving": scoreboard.under_way,
        "speed": _rounded(scoreboard.speed_deg_s),
        "verdict": scoreboard.verdict,
        "provisional": scoreboard.provisional,
        "off": _rounded(scoreboard.off_band_deg_s),
        "fresh": scoreboard.verdict is not None and scoreboard.time_s - scoreboard.said_s < FLASH_S,
        "arm_deg": round(scoreboard.angle_deg, 1),
        "bottom_deg": round(scoreboard.bottom_deg, 1),
        "top_deg": _rounded(scoreboard.top_deg),
        "trail_deg": [round(angle, 1) for angle in trail[::2]],
        "rom": _rounded(scoreboard.rom_deg),
        "tempo": scoreboard.tempo,
        "loss": _rounded(scoreboard.loss_pct),
        "strip": [
            [_rounded(mark.speed_deg_s), mark.verdict, mark.provisional] for mark in scoreboard.strip[-24:]
        ],
        "rest_s": None if scoreboard.since_set_s is None else round(scoreboard.since_set_s, 1),
        "sets": len(scoreboard.sets),
        "last_set": None
        if last is None
        else {
            "number": last.number,
            "reps": last.reps,
            "in_band": last.in_band,
            "speed": _rounded(last.mean_speed_deg_s),
            "tempo": last.tempo,
            "loss": _rounded(last.loss_pct),
            "measured": last.measured,
        },
        "lifter": scoreboard.lifter,
        "waiting": scoreboard.waiting,
        "last_time": scoreboard.last_time,
        "today": scoreboard.today,
        "mark": f"{scoreboard.mark} ({CAVEAT})" if scoreboard.mark else "",
        "caution": scoreboard.caution,
        "said": scoreboard.said,
        "answer": scoreboard.answer,
        "logged": scoreboard.logged,
        "menu": _menu(scoreboard),
        "sensor": [line for one in scoreboard.arms for line in one.sensor_lines],
        "other": None if scoreboard.other is None else scoreboard_message(scoreboard.other),
        "stopping": scoreboard.stopping,
    }


def _menu(scoreboard: Scoreboard) -> dict[str, Any] | None:
    """What may be switched to, and what is chosen for the next set."""
    if not scoreboard.menu:
        return None
    task: Task = scoreboard.menu["task"]
    return {
        "lifters": list(scoreboard.menu["lifters"]),
        "exercises": [[key, _name(key)] for key in scoreboard.menu["exercises"]],
        "lifter": task.lifter or "",
        "exercise": task.exercise,
        "side": task.side,
        "load_kg": task.load_kg,
    }


@cache
def _name(key: str) -> str:
    return find_exercise(key).name


def _rounded(value: float | None) -> int | None:
    return None if value is None else round(value)
