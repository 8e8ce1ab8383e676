"""Messages of the phone's page, one JSON object each; whoever sends them has the token and may still be hostile.

``hello`` opens a connection: which phone, which tab, which session (a page that was loaded once), and the numbers of
the oldest frame the page keeps and of the next it will take. ``from`` carries frames: their running number and rows
of time (ms since the page was loaded), acceleration with gravity and rotation rates, as the browser gave them.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any, NoReturn

import numpy as np

from armarc.recording import FloatArray
from armarc.sensor.wire.identifiers import PacketError

LONGEST_MESSAGE = 1 << 16
MOST_FRAMES = 400
LONGEST_PLACE = 16
_LATEST_MS = 1e10
"""Four months after the page was loaded."""
_LARGEST = 1e5
"""Beyond any accelerometer (in m/s² or g) and gyroscope (in °/s or rad/s)."""
_MOST_INDEX = 1 << 40
_NAME = re.compile(r"[0-9a-f]{8,32}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hello:
    """A page connects.

    Parameters
    ----------
    phone, tab, session : str
        Hexadecimal: kept by the browser, by the tab, by the loaded page.
    first, next : int
        Numbers of the oldest frame kept and of the one to be taken next.
    place : str
        Where the phone sits, where several are wanted.
    """

    phone: str
    tab: str
    session: str
    first: int
    next: int
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Readings in the browser's own units and signs.

    Parameters
    ----------
    index : int
        Number of the first.
    time_s : ndarray, shape (n,), s
        Never falling.
    acceleration, rotation : ndarray, shape (n, 3)
        As ``accelerationIncludingGravity`` x, y, z and ``rotationRate`` alpha, beta, gamma.
    interval : float or None
        What the browser calls the interval, in a unit of its own.
    upright : pair of float or None
        Sum and number of the cosines between the acceleration and what the browser's orientation calls up.
    battery_pct : int or None
    """

    index: int
    time_s: FloatArray
    acceleration: FloatArray
    rotation: FloatArray
    interval: float | None = None
    upright: tuple[float, float] | None = None
    battery_pct: int | None = None


def read_message(text: str | bytes) -> Hello | Readings:
    """Check and unpack a message.

    Raises
    ------
    PacketError
        It is not what the page sends; nothing of it can be used.
    """
    if len(text) > LONGEST_MESSAGE:
        _refuse("longer than any message")
    try:
        said = json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise PacketError("a message of the phone is no JSON") from error
    if not isinstance(said, dict):
        _refuse("no object")
    if "hello" in said:
        return _hello(said)
    return _frames(said)


def _hello(said: dict[str, object]) -> Hello:
    names = [said.get(key) for key in ("phone", "tab", "session")]
    if not all(isinstance(name, str) and _NAME.fullmatch(name) for name in names):
        _refuse("no names")
    first, following = _count(said, "first"), _count(said, "next")
    if first > following:
        _refuse("numbers that fall")
    phone, tab, session = names
    place = said.get("place", "")
    if not isinstance(place, str) or len(place) > LONGEST_PLACE:
        _refuse("no place")
    return Hello(
        phone=str(phone), tab=str(tab), session=str(session), first=first, next=following, place=place
    )


def _frames(said: dict[str, object]) -> Readings:
    rows = said.get("frames")
    if not isinstance(rows, list) or not 1 <= len(rows) <= MOST_FRAMES:
        _refuse("no frames")
    if not all(isinstance(row, list) and len(row) == 7 and all(map(_is_number, row)) for row in rows):
        _refuse("a frame that is none")
    table = np.array(rows, dtype=np.float64)
    if not (np.abs(table[:, 1:]) <= _LARGEST).all():
        _refuse("readings beyond any sensor")
    time_ms = table[:, 0]
    if not (time_ms[0] >= 0 and time_ms[-1] <= _LATEST_MS and (np.diff(time_ms) >= 0).all()):
        _refuse("times that fall")
    return Readings(
        index=_count(said, "from"),
        time_s=time_ms / 1000.0,
        acceleration=table[:, 1:4],
        rotation=table[:, 4:],
        interval=_number(said, "interval", 0.0, 1e9),
        upright=_upright(said.get("upright")),
        battery_pct=_battery(said),
    )


def _upright(value: object) -> tuple[float, float] | None:
    if value is None:
        return None
    if not (isinstance(value, list) and len(value) == 2 and all(map(_is_number, value))):
        _refuse("no orientation")
    total, count = (float(one) for one in value)
    if not 0 <= abs(total) <= count <= _MOST_INDEX:
        _refuse("no orientation")
    return total, count


def _battery(said: dict[str, object]) -> int | None:
    level = _number(said, "battery", 0.0, 1.0)
    return None if level is None else round(100 * level)


def _number(said: dict[str, Any], key: str, least: float, most: float) -> float | None:
    value = said.get(key)
    if value is None:
        return None
    if not _is_number(value) or not least <= value <= most:
        _refuse(f"no {key}")
    return float(value)


def _count(said: dict[str, object], key: str) -> int:
    value = said.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= _MOST_INDEX:
        _refuse(f"no number {key}")
    return int(value)


def _is_number(value: object) -> bool:
    # Whole numbers of any length are JSON: those no float can hold are refused here.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= 1e15


def _refuse(what: str) -> NoReturn:
    raise PacketError(f"a message of the phone holds {what}")


def _refuse_constant(name: str) -> NoReturn:
    raise PacketError(f"a message of the phone holds {name}")
