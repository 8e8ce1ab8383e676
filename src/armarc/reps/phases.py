"""The four instants that bound a rep's phases, and the start gate."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

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
    """Fractional sample indices of the four instants, in order, and what they rest on.

    ``unseen`` names those that the recording does not hold; they are the edge of what was seen.
    """

    start: float
    top_start: float
    top_end: float
    end: float
    bottom_rad: float
    bottom_after_rad: float
    top_rad: float
    is_complete: bool
    is_begun: bool = False
    unseen: frozenset[str] = frozenset()

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A rep's way up and down, in which each of its instants is looked for.

    ``mark`` is how far into the range (share of it) a phase has certainly begun, ``level`` the rate up to which it is
    off: by definition `EDGE_SHARE` and `on_up_rad_s` or `on_down_rad_s`, another one to see how firm an instant is.

    Parameters
    ----------
    angle_rad, rate_rad_s : ndarray, shape (n,), rad and rad/s
        θ and its low-passed rate.
    first, top, stop : int
        Half-open range of samples the rep may use (the neighbouring tops), and its turning point.
    bottom_rad, bottom_after_rad, top_rad : float, rad
    is_begun : bool
        Whether the recording begins on the way up.
    rises, reaches, falls, lands : float or None
        Where θ passes the four marks, in order; None where it does not.
    on_up_rad_s, on_down_rad_s : float, rad/s
    """

    angle_rad: FloatArray
    rate_rad_s: FloatArray
    first: int
    top: int
    stop: int
    bottom_rad: float
    bottom_after_rad: float
    top_rad: float
    is_begun: bool
    rises: float | None = None
    reaches: float | None = None
    falls: float | None = None
    lands: float | None = None
    on_up_rad_s: float = ON_RATE_RAD_S
    on_down_rad_s: float = ON_RATE_RAD_S

    def followed(self) -> Course:
        """The same with its passages and levels; `rises` or `reaches` stays None where there is no way up."""
        first, stop, top = self.first, self.stop, self.top
        # The phase's own peak: what the arm did before it set off, or after it came down, belongs to no phase.
        set_off, landed = first, stop
        rises = self.passes_rising(EDGE_SHARE)
        if rises is not None:
            set_off = math.floor(_last_at_most(self.rate_rad_s, 0.0, rises, first) or first)
        lands = self.passes_landing(EDGE_SHARE)
        if lands is not None:
            came_down = _first_at_most(self._lowering, 0.0, lands - first, stop - first)
            landed = stop if came_down is None else first + math.ceil(came_down) + 1
        raised, lowered = self.rate_rad_s[set_off : top + 1].max(), -self.rate_rad_s[top:landed].min()
        here = replace(
            self,
            rises=rises,
            lands=lands,
            on_up_rad_s=max(ON_RATE_RAD_S, ON_SHARE_OF_PEAK * float(raised)),
            on_down_rad_s=max(ON_RATE_RAD_S, ON_SHARE_OF_PEAK * float(lowered)),
        )
        return replace(here, reaches=here.passes_reaching(EDGE_SHARE), falls=here.passes_falling(EDGE_SHARE))

    def passes_rising(self, mark: float) -> float | None:
        """Where θ last rises out of the bottom; None where the recording has begun."""
        if self.is_begun:
            return None
        level = self.bottom_rad + mark * (self.top_rad - self.bottom_rad)
        at = upward_crossings(self._rise, level, self.first)
        return at[-1] if at else None

    def passes_reaching(self, mark: float) -> float | None:
        """Where θ first comes near the top."""
        at = upward_crossings(self._rise, self.top_rad - mark * (self.top_rad - self.bottom_rad), self.first)
        if self.is_begun:
            return at[0] if at else float(self.first)
        # A top that was reached before the arm last left its bottom belongs to another movement.
        rises = math.inf if self.rises is None else self.rises
        return next((x for x in at if x >= rises), None)

    def passes_falling(self, mark: float) -> float | None:
        """Where θ leaves the top for the last time."""
        level = self.top_rad - mark * (self.top_rad - self.bottom_after_rad)
        at = downward_crossings(self.angle_rad[self.top : self.stop], level, self.top)
        # What comes after the arm is down belongs to the next rep.
        lands = math.inf if self.lands is None else self.lands
        return max((x for x in at if x < lands), default=None)

    def passes_landing(self, mark: float) -> float | None:
        """Where θ first comes near the bottom again."""
        level = self.bottom_after_rad + mark * (self.top_rad - self.bottom_after_rad)
        at = downward_crossings(self.angle_rad[self.top : self.stop], level, self.top)
        return at[0] if at else None

    def start(self, passed: float, level: float) -> float | None:
        """Last place before a passage at which the arm does not rise faster than the level."""
        return _last_at_most(self.rate_rad_s, level, passed, self.first)

    def top_start(self, passed: float, level: float) -> float | None:
        """First such place after it."""
        return _first_at_most(self.rate_rad_s, level, passed, self.stop)

    def top_end(self, passed: float, level: float) -> float | None:
        """Last place before a passage at which the arm does not fall faster than the level."""
        at = _last_at_most(self._lowering, level, passed - self.first, 0)
        return None if at is None else self.first + at

    def end(self, passed: float, level: float) -> float | None:
        """First such place after it."""
        at = _first_at_most(self._lowering, level, passed - self.first, self.stop - self.first)
        return None if at is None else self.first + at

    @property
    def _rise(self) -> FloatArray:
        return self.angle_rad[self.first : self.top + 1]

    @property
    def _lowering(self) -> FloatArray:
        # Of this rep alone: the whole recording's rate, turned for every rep, would grow with its square.
        return -self.rate_rad_s[self.first : self.stop]


def find_instants(
    angle_rad: FloatArray,
    rate_rad_s: FloatArray,
    first: int,
    top: int,
    stop: int,
    rate_hz: float,
    *,
    is_begun: bool = False,
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

    Returns
    -------
    Instants or None
        None when the range holds no rise. `is_complete` is False when the recording ends before the rep does;
        the last instants are then the last sample. `is_begun` is True as well where the arm rises from the
        recording's first sample on.
    """
    settle = max(1, round(SETTLE_S * rate_hz))
    bottom = bottom_after = resting_value(angle_rad[top:stop], -rate_rad_s[top:stop], settle)
    if not is_begun:
        bottom = resting_value(angle_rad[first : top + 1][::-1], rate_rad_s[first : top + 1][::-1], settle)
    top_rad = float(angle_rad[top])
    rom, way_down = top_rad - bottom, top_rad - bottom_after
    if rom <= 0 or (top <= first and not is_begun):
        return None
    course = Course(
        angle_rad=angle_rad,
        rate_rad_s=rate_rad_s,
        first=first,
        top=top,
        stop=stop,
        bottom_rad=bottom,
        bottom_after_rad=bottom_after,
        top_rad=top_rad,
        is_begun=is_begun,
    ).followed()
    if (course.rises is None and not is_begun) or course.reaches is None:
        return None
    up, down = course.on_up_rad_s, course.on_down_rad_s
    start = None if course.rises is None else course.start(course.rises, up)
    top_start = course.top_start(course.reaches, up)
    top_end = None if course.falls is None else course.top_end(course.falls, down)
    end = None if course.lands is None else course.end(course.lands, down)

    if start is None and not is_begun and first == 0:
        # The arm is under way from the recording's first sample on.
        return find_instants(angle_rad, rate_rad_s, first, top, stop, rate_hz, is_begun=True)
    is_complete = end is not None and way_down > 0.5 * rom
    found = {
        "start": not is_begun,
        # A hold or a lowering that is on at the first sample began before it.
        "top_start": top_start is not None and not (is_begun and top_start <= first),
        "top_end": top_end is not None and (is_complete or way_down > EDGE_SHARE * rom),
        "end": is_complete,
    }
    start = float(first) if start is None else start
    top_start = float(top) if top_start is None else top_start
    # An instant pushed past its neighbour by a wobble at the top meets it instead.
    top_end = top_start if top_end is None else max(top_end, top_start)
    return Instants(
        start=start,
        top_start=top_start,
        top_end=top_end,
        end=max(float(stop - 1) if end is None else end, top_end),
        bottom_rad=bottom,
        bottom_after_rad=bottom_after,
        top_rad=top_rad,
        is_complete=is_complete,
        is_begun=is_begun,
        unseen=frozenset(name for name, is_seen in found.items() if not is_seen),
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
