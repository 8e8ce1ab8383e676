"""How the body of `engine_body` lifts: smooth courses of its joints over a set.

Every way up and down is a bell of speed s^(a−1)·(1−s)^(b−1), which is the minimum-jerk one (Flash & Hogan 1985,
J Neurosci 5:1688) at a = b = 3 and front- or back-loaded else. Sizes are working limits and common practice, no
source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from engine_body import RATE_HZ, Course
from scipy.interpolate import CubicSpline
from scipy.signal import oaconvolve
from scipy.spatial.transform import Rotation
from scipy.special import betainc

SLIPPING_S = 0.15
"""How long a strap takes to slip."""
DOWN = np.array([0.0, 0.0, -1.0])
RESTLESS_HZ, RESTLESS_S, ABOUT_M = (0.6, 2.2), 0.5, 0.5
"""Where what people's lowerings leave unexplained lies; how smooth its size is; an arm's reach."""
ROUNDED_S, MOVING_RAD_S = 0.06, 0.2
"""How smooth what is alike in every rep is; rate from which an arm moves."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """A joint that goes along with the rep: from `low` to `high`, `late_s` behind the arm."""

    low: float = 0.0
    high: float = 0.0
    late_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Set:
    """A set; angles in rad, times in s. ``hinges`` go along with the arm, in `engine_body.HINGES`.

    A trembling of 0.0001 rad at 8–12 Hz is some 0.2 m/s² at the wrist.
    ``elevation``, ``plane`` and ``twist`` (about the upper arm, thumb in) are the upper arm's. ``follows`` is the
    share of the trunk's tilt that the arm takes along. Each rep's times and top vary by `varied`; reps in `partial`
    reach that share of the range. The trunk tips by `tip_rad`, `tip_s` forth and as long back, beginning `lead_s`
    before the arm; hips shift by `swing_m` (forward, up) and are back at the top, or half-way down with `late_home`.
    Between reps the arm stays up by the share `kept` of the range; ``rests`` are seconds of hanging after a rep,
    ``holds`` seconds more at a top, ``pulses`` how often it sinks there by ``pulse[0]`` of the range and comes back in
    ``pulse[1]``. The strap slips elsewhere at the share ``slip[0]`` of the set, about the bone and rocking (rad). Hips
    shift about, along each axis by `restless` of the arm's own acceleration (root mean square).
    """

    reps: int = 8
    up_s: float = 1.4
    down_s: float = 2.0
    hold_s: float = 0.3
    pause_s: float = 0.5
    still_s: float = 2.5
    shape: tuple[float, float] = (3.0, 3.0)
    elevation: Way = field(default_factory=lambda: Way(low=math.radians(8), high=math.radians(88)))
    plane: Way = field(default_factory=lambda: Way(low=math.radians(15), high=math.radians(15)))
    twist: Way = field(default_factory=Way)
    hinges: dict[str, Way] = field(default_factory=dict)
    follows: float = 1.0
    slower: float = 0.0
    varied: float = 0.04
    partial: dict[int, float] = field(default_factory=dict)
    sway_rad: float = 0.005
    tremor_rad: float = 0.0001
    tip_rad: float = 0.0
    tip_s: float = 0.5
    lead_s: float = 0.2
    swing_m: tuple[float, float] = (0.0, 0.0)
    late_home: bool = False
    kept: float = 0.0
    rests: dict[int, float] = field(default_factory=dict)
    holds: dict[int, float] = field(default_factory=dict)
    pulses: dict[int, int] = field(default_factory=dict)
    pulse: tuple[float, float] = (0.15, 0.8)
    slip: tuple[float, float, float] | None = None
    restless: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Marks:
    """Planned instants of a rep, s: off, at the top, off again, home."""

    off_s: float
    top_s: float
    leave_s: float
    home_s: float


def bell(time_s: np.ndarray, first_s: float, last_s: float, shape: tuple[float, float]) -> np.ndarray:
    """From 0 to 1 between two instants."""
    return betainc(*shape, np.clip((time_s - first_s) / (last_s - first_s), 0.0, 1.0))


def planned(plan: Set, rng: np.random.Generator) -> tuple[list[Marks], list[float]]:
    """Instants of the reps, and the share of the range each reaches."""
    at, marks, reach = plan.still_s, [], []
    for k in range(plan.reps):
        slow = 1 + plan.slower * k / max(plan.reps - 1, 1)
        up, down = (max(s * slow * (1 + plan.varied * rng.normal()), 0.3) for s in (plan.up_s, plan.down_s))
        hold, pause = (s * (1 + 5 * plan.varied * rng.uniform(-1, 1)) for s in (plan.hold_s, plan.pause_s))
        hold += plan.holds.get(k, 0.0) + plan.pulses.get(k, 0) * plan.pulse[1]
        share = plan.partial.get(k, 1.0)
        marks.append(Marks(off_s=at, top_s=at + up, leave_s=at + up + hold, home_s=at + up + hold + down))
        reach.append(share * (1 + 0.4 * plan.varied * rng.normal()))
        at = marks[-1].home_s + pause + plan.rests.get(k, 0.0)
    return marks, reach


def wander(time_s: np.ndarray, size: float, rng: np.random.Generator, band=(0.1, 0.7)) -> np.ndarray:
    """Slow wander of a given root mean square."""
    hz, phase = rng.uniform(*band, 5), rng.uniform(0, 2 * math.pi, 5)
    return size * math.sqrt(2 / 5) * np.sin(2 * math.pi * np.outer(time_s, hz) + phase).sum(axis=1)


def _rounded(x: np.ndarray, sigma_s: float) -> np.ndarray:
    """Smoothed by a Gaussian, its ends mirrored."""
    wide = round(4 * sigma_s * RATE_HZ)
    weights = np.exp(-0.5 * (np.arange(-wide, wide + 1) / (sigma_s * RATE_HZ)) ** 2)
    return oaconvolve(np.pad(x, wide, "symmetric"), weights / weights.sum(), "valid")


def restless(time_s: np.ndarray, angle_rad: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Shape (n,), m: a path whose acceleration is as large as that of an arm at this angle (root mean square).

    Half of its mean square is other in every rep, at `RESTLESS_HZ`; half comes back with the way up and down.
    """
    rate = np.gradient(angle_rad, time_s)
    felt = ABOUT_M * np.hypot(np.gradient(rate, time_s), rate**2) / math.sqrt(3)
    omega, phase = 2 * math.pi * rng.uniform(*RESTLESS_HZ, 5), rng.uniform(0, 2 * math.pi, 5)
    waves = np.sin(np.outer(time_s, omega) + phase) / omega**2
    size = np.sqrt(np.maximum(_rounded(felt**2, RESTLESS_S), 0.0))
    other = size * math.sqrt(2 / 5) * waves.sum(axis=1)

    low, high = np.quantile(angle_rad, [0.01, 0.99])
    place = np.clip((angle_rad - low) / (high - low), 0.0, 1.0)
    turn, begun = math.pi * np.where(rate >= 0, place, 2 - place), rng.uniform(0, 2 * math.pi, 2)
    sizes = rng.normal(size=2) * [1.0, 0.25]
    alike = _rounded(np.sin(np.outer(turn, [1, 2]) + begun) @ sizes, ROUNDED_S)
    pulled = np.gradient(np.gradient(alike, time_s), time_s)
    moves = np.abs(rate) > MOVING_RAD_S
    alike = (alike - alike[0]) * math.sqrt((felt[moves] ** 2).mean() / (pulled[moves] ** 2).mean())
    return math.sqrt(0.5) * (other + alike)


def course(plan: Set, mirror: float, seed: int, *, after_s: float = 2.5) -> tuple[Course, list[Marks]]:
    """All joints over the set, at the engine's rate."""
    rng = np.random.default_rng([seed, 21])
    marks, reach = planned(plan, rng)
    t = np.arange(int((marks[-1].home_s + after_s) * RATE_HZ)) / RATE_HZ
    went = np.zeros(len(t))
    below = 0.0
    for k, (at, share) in enumerate(zip(marks, reach, strict=True)):
        left = 0.0 if k == len(marks) - 1 or k in plan.rests else plan.kept
        went += (share - below) * bell(t, at.off_s, at.top_s, plan.shape)
        went -= (share - left) * bell(t, at.leave_s, at.home_s, (3.0, 3.0))
        below = left
        depth, lasts = plan.pulse
        for n in range(plan.pulses.get(k, 0)):
            sinks = at.leave_s - (n + 1) * lasts
            middle = sinks + 0.5 * lasts
            down, back = bell(t, sinks, middle, (3.0, 3.0)), bell(t, middle, sinks + lasts, (3.0, 3.0))
            went -= depth * (down - back)
    course_of = CubicSpline(t, went)

    def along(way: Way) -> np.ndarray:
        return way.low + (way.high - way.low) * course_of(np.clip(t - way.late_s, t[0], t[-1]))

    hinges = {name: along(way) for name, way in plan.hinges.items()}

    def add(name: str, more: np.ndarray) -> None:
        hinges[name] = hinges.get(name, 0.0) + more

    for name in ("tip", "lean"):
        add(name, wander(t, plan.sway_rad, rng))
    out, home = np.zeros(len(t)), (3.0, 3.0)
    tipped = np.zeros(len(t))
    for k, at in enumerate(marks):
        back = at.leave_s + 0.5 * (at.home_s - at.leave_s) if plan.late_home else at.top_s
        middle = at.off_s + 0.5 * (at.top_s - at.off_s)
        out += bell(t, at.off_s, middle, home) - bell(t, middle, back, home)
        begin = max(at.off_s - plan.lead_s, marks[k - 1].home_s - plan.lead_s if k else 0.0)
        turn = begin + plan.tip_s
        tipped += bell(t, begin, turn, home) - bell(t, turn, min(turn + plan.tip_s, at.home_s), home)
    if any(plan.swing_m):
        add("shift_x", plan.swing_m[0] * out)
        add("shift_z", plan.swing_m[1] * out)
    if plan.tip_rad:
        add("tip", plan.tip_rad * tipped)

    tremble = [wander(t, plan.tremor_rad, rng, (8, 12)) for _ in range(3)]
    elevation, plane, twist = (
        along(way) + more for way, more in zip((plan.elevation, plan.plane, plan.twist), tremble, strict=True)
    )
    aside = np.stack([np.sin(plane), -mirror * np.cos(plane), np.zeros(len(t))], axis=1)
    swing = Rotation.from_rotvec(elevation[:, None] * np.cross(DOWN, aside))
    arm = swing * Rotation.from_rotvec(np.outer(mirror * twist, [0.0, 0.0, 1.0]))
    if plan.restless:
        for name in ("shift_x", "shift_y", "shift_z"):
            add(name, plan.restless * restless(t, elevation, rng))
    tip, lean = hinges["tip"], hinges["lean"]
    trunk, socket = (
        Rotation.from_rotvec(np.outer(share * tip, [0.0, 1.0, 0.0]))
        * Rotation.from_rotvec(np.outer(share * lean, [-mirror, 0.0, 0.0]))
        for share in (1.0, plan.follows)
    )
    girdle = Rotation.from_rotvec(np.outer(hinges.get("rise", 0 * t), [-mirror, 0.0, 0.0]))
    girdle = girdle * Rotation.from_rotvec(np.outer(hinges.get("draw", 0 * t), [0.0, 0.0, mirror]))
    strap = None
    if plan.slip is not None:
        at_s = marks[0].off_s + plan.slip[0] * (marks[-1].home_s - marks[0].off_s)
        strap = np.outer(bell(t, at_s, at_s + SLIPPING_S, home), plan.slip[1:])
    shoulder = (trunk * girdle).inv() * socket * arm
    return Course(time_s=t, hinges=hinges, shoulder=shoulder, strap_rad=strap), marks
