"""The four instants that bound a rep's phases, and the start gate."""

from __future__ import annotations

import math
from dataclasses import dataclass

from armarc.recording import FloatArray
from armarc.reps.crossings import downward_crossings, upward_crossings

ON_RATE_RAD_S = math.radians(5)
"""A phase is on while the rate exceeds the larger of this …"""
ON_SHARE_OF_PEAK = 0.05
"""… and this share of the phase's own peak rate."""
SETTLE_S = 1.0
DOWN_SHARE = 0.35
"""Below this share of its range a movement has come down far enough for the bottom to be looked for."""
EDGE_SHARE = 0.10
"""How far into the range (share of the ROM) a phase has certainly begun."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Instants:
    """Fractional sample indices of the four instants, in order, and what they rest on."""

    start: float
    top_start: float
    top_end: float
    end: float
    bottom_rad: float
    bottom_after_rad: float
    top_rad: float
    is_complete: bool
    is_begun: bool = False

    def __post_init__(self) -> None:
        if not self.start <= self.top_start <= self.top_end <= self.end:
            raise ValueError(
                f"the instants of a rep must follow each other, got {self.start:g}, {self.top_start:g}, "
                f"{self.top_end:g}, {self.end:g}"
            )


def _last_at_most(curve: FloatArray, level: float, before: float, first: int) -> float | None:
    """Fractional index of the last sample position ≤ `before` where `curve` ≤ `level`."""
    stop = math.floor(before) + 1
    below = (curve[first:stop] <= level).nonzero()[0]
    if len(below) == 0:
        return None
    at = first + int(below[-1])
    if at + 1 < len(curve) and curve[at + 1] > level:
        return min(at + float((level - curve[at]) / (curve[at + 1] - curve[at])), before)
    return float(at)


def _first_at_most(curve: FloatArray, level: float, after: float, stop: int) -> float | None:
    """Fractional index of the first sample position ≥ `after` where `curve` ≤ `level`."""
    first = math.ceil(after)
    below = (curve[first:stop] <= level).nonzero()[0]
    if len(below) == 0:
        return None
    at = first + int(below[0])
    if at > 0 and curve[at - 1] > level:
        return max(at - 1 + float((curve[at - 1] - level) / (curve[at - 1] - curve[at])), after)
    return float(at)


def find_instants(
    angle_rad: FloatArray,
    rate_rad_s: FloatArray,
    first: int,
    top: int,
    stop: int,
    rate_hz: float,
    *,
    is_begun: bool = False,
    edge_share: float = EDGE_SHARE,
    rests_rad: tuple[float, float] | None = None,
) -> Instants | None:
    """Bound the phases of the rep that turns at `top`.

    Parameters
    ----------
    angle_rad, rate_rad_s : ndarray, shape (n,), rad and rad/s
        θ and its low-passed rate.
    first, top, stop : int
        Half-open range of samples the rep may use (the neighbouring tops), and its turning point.
    rate_hz : float, Hz
    is_begun : bool
        The recording starts in the middle of the way up: its first sample stands for the start, and the bottom
        after the rep for the one before.
    edge_share : float
        Share of the range at either end in which a phase begins and ends.
    rests_rad : two floats, rad, or None
        Bottoms before and after the rep, where they were found already.

    Returns
    -------
    Instants or None
        None when the range holds no rise. `is_complete` is False when the recording ends before the rep does;
        the last instants are then the last sample.
    """
    if rests_rad is None:
        settle = max(1, round(SETTLE_S * rate_hz))
        bottom = bottom_after = resting_value(angle_rad[top:stop], -rate_rad_s[top:stop], settle)
        if not is_begun:
            bottom = resting_value(
                angle_rad[first : top + 1][::-1], rate_rad_s[first : top + 1][::-1], settle
            )
    else:
        bottom, bottom_after = rests_rad
    top_rad = float(angle_rad[top])
    rom, way_down = top_rad - bottom, top_rad - bottom_after
    if rom <= 0 or (top <= first and not is_begun):
        return None
    # Of this rep alone: the whole recording's rate, turned for every rep, would grow with its square.
    up, down = rate_rad_s, -rate_rad_s[first:stop]

    rising, falling = angle_rad[first : top + 1], angle_rad[top:stop]
    low_cross = upward_crossings(rising, bottom + edge_share * rom, first)
    high_cross = upward_crossings(rising, top_rad - edge_share * rom, first)
    if not is_begun:
        if not low_cross:
            return None
        # A top that was reached before the arm last left its bottom belongs to another movement.
        high_cross = [x for x in high_cross if x >= low_cross[-1]]
        if not high_cross:
            return None
    # The phase's own peak: what the arm did before it set off, or after it came down, belongs to no phase.
    set_off = first
    if low_cross and not is_begun:
        set_off = math.floor(_last_at_most(up, 0.0, low_cross[-1], first) or first)
    on_up = max(ON_RATE_RAD_S, ON_SHARE_OF_PEAK * float(up[set_off : top + 1].max()))
    start = _last_at_most(up, on_up, low_cross[-1], first) if low_cross and not is_begun else None
    reached = high_cross[0] if high_cross else float(first)
    top_start = _first_at_most(up, on_up, reached, stop)

    high_fall = downward_crossings(falling, top_rad - edge_share * way_down, top)
    low_fall = downward_crossings(falling, bottom_after + edge_share * way_down, top)
    if low_fall:
        # What comes after the arm is down belongs to the next rep.
        high_fall = [x for x in high_fall if x < low_fall[0]]
    came_down = _first_at_most(down, 0.0, low_fall[0] - first, stop - first) if low_fall else None
    landed = stop if came_down is None else first + math.ceil(came_down) + 1
    on_down = max(ON_RATE_RAD_S, ON_SHARE_OF_PEAK * float(down[top - first : landed - first].max()))
    last = float(stop - 1)
    top_end = _last_at_most(down, on_down, high_fall[-1] - first, 0) if high_fall else None
    end = _first_at_most(down, on_down, low_fall[0] - first, stop - first) if low_fall else None

    start = float(first) if start is None else start
    top_start = float(top) if top_start is None else top_start
    # An instant pushed past its neighbour by a wobble at the top meets it instead.
    top_end = top_start if top_end is None else max(first + top_end, top_start)
    is_complete = end is not None and way_down > 0.5 * rom
    return Instants(
        start=start,
        top_start=top_start,
        top_end=top_end,
        end=max(last if end is None else first + end, top_end),
        bottom_rad=bottom,
        bottom_after_rad=bottom_after,
        top_rad=top_rad,
        is_complete=is_complete,
        is_begun=is_begun,
    )


def resting_value(angle_rad: FloatArray, rate_rad_s: FloatArray, settle: int) -> float:
    """Lowest angle where a movement away from its top comes to rest.

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
        From the top on (for the bottom before a rep: backward in time).
    rate_rad_s : ndarray, shape (n,), rad/s
        Rate of falling away from the top, positive.
    settle : int
        Samples after the first rest in which the arm may still sink; swaying later in a long rest, or walking
        away, is not the bottom of the rep.

    Returns
    -------
    float, rad
    """
    top, low = float(angle_rad[0]), float(angle_rad.min())
    down = (angle_rad <= low + DOWN_SHARE * (top - low)).nonzero()[0]
    if len(down) == 0:
        return low
    arrived = int(down[0])
    resting = (rate_rad_s[arrived:] <= ON_RATE_RAD_S).nonzero()[0]
    rest = arrived + int(resting[0]) if len(resting) else len(angle_rad) - 1
    return float(angle_rad[arrived : rest + settle + 1].min())


def gate_passage(
    angle_rad: FloatArray,
    instants: Instants,
    first: int,
    top: int,
    gate_rad: tuple[float, float],
) -> tuple[float, float] | None:
    """Fractional indices at which the arm enters and leaves the start gate, like a light gate.

    Returns None when the rep never passes the gate's far end.
    """
    rising = angle_rad[first : top + 1]
    leaves = upward_crossings(rising, instants.bottom_rad + gate_rad[1], first)
    far = next((x for x in leaves if x >= instants.start - 1), None)
    if far is None:
        return None
    near = [x for x in upward_crossings(rising, instants.bottom_rad + gate_rad[0], first) if x < far]
    return (near[-1], far) if near else None
