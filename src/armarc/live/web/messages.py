"""The board as the page receives it."""

from __future__ import annotations

from functools import cache
from typing import Any

from armarc.exercises import find_exercise
from armarc.live.board import FLASH_S, Board
from armarc.live.stop_mark import CAVEAT
from armarc.tasks import Task


def board_message(board: Board) -> dict[str, Any]:
    """Everything the page draws, in degrees and seconds.

    ``arm_deg`` is the elevation now, ``trail_deg`` the elevations of the last second, oldest first; ``fresh`` tells
    that the verdict has just been given.
    """
    trail = [angle for time_s, angle in board.trace if time_s >= board.time_s - 1.0]
    last = board.sets[-1] if board.sets else None
    return {
        "exercise": board.exercise,
        "side": board.side,
        "load": board.load,
        "band": board.band_deg_s,
        "gate": board.gate_above_bottom_deg,
        "ready": board.ready,
        "rep": board.rep,
        "moving": board.under_way,
        "speed": _rounded(board.speed_deg_s),
        "verdict": board.verdict,
        "provisional": board.provisional,
        "off": _rounded(board.off_band_deg_s),
        "fresh": board.verdict is not None and board.time_s - board.said_s < FLASH_S,
        "arm_deg": round(board.angle_deg, 1),
        "bottom_deg": round(board.bottom_deg, 1),
        "top_deg": _rounded(board.top_deg),
        "trail_deg": [round(angle, 1) for angle in trail[::2]],
        "rom": _rounded(board.rom_deg),
        "tempo": board.tempo,
        "loss": _rounded(board.loss_pct),
        "strip": [[_rounded(mark.speed_deg_s), mark.verdict, mark.provisional] for mark in board.strip[-24:]],
        "rest_s": None if board.since_set_s is None else round(board.since_set_s, 1),
        "sets": len(board.sets),
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
        "lifter": board.lifter,
        "waiting": board.waiting,
        "last_time": board.last_time,
        "today": board.today,
        "mark": f"{board.mark} ({CAVEAT})" if board.mark else "",
        "caution": board.caution,
        "said": board.said,
        "answer": board.answer,
        "logged": board.logged,
        "menu": _menu(board),
        "sensor": [line for one in board.arms for line in one.sensor_lines],
        "other": None if board.other is None else board_message(board.other),
        "stopping": board.stopping,
    }


def _menu(board: Board) -> dict[str, Any] | None:
    """What may be switched to, and what is chosen for the next set."""
    if not board.menu:
        return None
    task: Task = board.menu["task"]
    return {
        "lifters": list(board.menu["lifters"]),
        "exercises": [[key, _name(key)] for key in board.menu["exercises"]],
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
