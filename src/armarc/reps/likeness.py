"""How much a movement is like the reps of a set: a log-likelihood with a reason for every term.

The spreads are those of people repeating a movement, fast and slow, fresh and tired; they are working limits of our
own, no source, and generous, since every squared term is capped: no single oddity throws a rep out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.recording import BoolArray, FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.path import Rests
from armarc.reps.shown import Shown

RANGE_SPREAD = 0.25
"""Of the logarithm of the range."""
RETURN_SPREAD = 0.35
"""Of the logarithm of rise over fall: a rep comes back to where it began."""
TIME_SPREAD = 0.45
"""Of the logarithms of the time spent up and of the speed …"""
TIRED_SPREAD = 0.8
"""… and of a speed that is lower: a tired rep is slow, handling is quick."""
POSE_SHARE, POSE_RAD = 0.18, math.radians(4)
"""Spread of the bottom's pose: a share of the range and a little."""
TURN_SHARE, TURN_RAD = 0.25, math.radians(4)
"""Spread of the direction of turning, as the angle by which it misses at the top."""
PARTIAL = 0.75
"""Below this share of the set's range a rep is partial: it may be up for a shorter time, and so much slower."""
LEAST_SHARE, LEAST_SHARE_OF_CUT = 0.35, 0.5
"""A movement below this share of the set's range is none of its reps; of one that the recording cuts so much was
seen, and that it looks smaller says nothing against it."""
PARTIAL_COST = 3.0
CAP, TIME_CAP = 9.0, 4.0
_PAIRS_AT_ONCE = 1 << 15
"""Of a candidate and a pattern: what is worked out on the way stays in the processor's cache."""

SAME_POSE_RAD, SAME_DIRECTION_RAD = math.radians(20), math.radians(15)
"""Two sets whose bottoms and directions of turning differ by less are of the same exercise …"""
ALIKE_DIRECTION_RAD = math.radians(25)
"""… and may be up to this one: two standard errors of the difference between medians of three and of five reps with
the spreads above. Handling gets as near, too, so that this alone makes no hurried run an exercise."""
SAME_RANGE, SAME_SPEED = 1.35, 1.5
"""A movement or two are more of a set of the same exercise when their range is within this factor, too, and they are
not that much faster."""
HURRIED = 2.0
"""Another movement this many times as fast as the main sets is no exercise beside them."""
SWING_RANGE_RAD = math.radians(70)
SWING_CYCLE_S = 1.6
"""A walking arm swings through less than this within less than that (common practice, no source) …"""
BETWEEN_STRIDES_S = 0.5
SWING_MIDDLE = (0.15, 0.85)
"""… and through the pose in which it rests, which lies in this part of its range."""
LEVEL_SHARE = 0.5
"""What turns by less than half about a level axis at its bottom turns about the vertical (working limit)."""
RESTED_S = 0.6
"""A shorter stop is the pause of a rep and tells no resting pose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """What the reps of a set look like; fields as those of `Candidates`.

    ``reach_m`` is how far the joint lies that it turns about, NaN where nobody has looked, ``arm_m`` the same of the
    raises beside it where it is not the same joint (`armarc.reps.joint`); ``shown`` what its reps show where they turn
    plainly about a shoulder (`armarc.reps.beside`).
    """

    range_rad: float
    up_s: float
    speed_rad_s: float
    turned_rad: float
    pose: FloatArray
    direction: FloatArray
    reach_m: float = math.nan
    arm_m: float = math.nan
    shown: Shown | None = None

    @property
    def level_axis(self) -> FloatArray | None:
        """Sensor axis it turns about, level at its bottom; None where it turns about the vertical."""
        axis = self.direction - (self.direction @ self.pose) * self.pose
        size = float(np.linalg.norm(axis))
        return None if size < LEVEL_SHARE else axis / size

    def is_same_exercise(self, other: Template) -> bool:
        """Whether two sets start from the same pose and turn the same way."""
        return bool(
            self.pose @ other.pose > math.cos(SAME_POSE_RAD)
            and self.direction @ other.direction > math.cos(SAME_DIRECTION_RAD)
        )

    def may_be(self, other: Template) -> bool:
        """Whether two sets of few reps may be of the same exercise, as far as reps differ."""
        return bool(
            self.pose @ other.pose > math.cos(SAME_POSE_RAD)
            and self.direction @ other.direction > math.cos(ALIKE_DIRECTION_RAD)
        )

    def is_quick_beside(self, other: Template) -> bool:
        """Whether it is much faster than a set: handling is."""
        return self.speed_rad_s > SAME_SPEED * other.speed_rad_s

    def is_more_of(self, other: Template) -> bool:
        """Whether a few movements are so like a set that they need not be many."""
        ratio = self.range_rad / other.range_rad
        is_as_large = 1 / SAME_RANGE < ratio < SAME_RANGE
        return self.is_same_exercise(other) and is_as_large and not self.is_quick_beside(other)

    def is_just_like(self, other: Template) -> bool:
        """Whether either is more of the other, neither much faster."""
        return self.is_more_of(other) and other.is_more_of(self)

    def is_handling_beside(self, main: Template) -> bool:
        """Whether it turns elsewhere than the main sets and is hurried: drinking, racking."""
        return not self.is_same_exercise(main) and self.speed_rad_s > HURRIED * main.speed_rad_s

    @property
    def is_stride(self) -> bool:
        """Whether it is as small and as short as the swings of a walking arm."""
        return self.range_rad < SWING_RANGE_RAD and 2 * self.up_s < SWING_CYCLE_S

    def is_walk_beside(self, main: Template) -> bool:
        """Whether it swings as a walking arm does, elsewhere than the main sets and in half the time of their reps.

        Where a walking arm swings about a bent elbow, or further forward than back, its rest tells nothing.
        """
        return self.is_stride and not self.may_be(main) and main.up_s > HURRIED * self.up_s


def template_of(found: Candidates, members: np.ndarray) -> Template:
    """Medians and mean directions over some of the candidates."""
    return Template(
        range_rad=median(found.range_rad[members]),
        up_s=median(found.up_s[members]),
        speed_rad_s=median(found.speed_rad_s[members]),
        turned_rad=median(found.turned_rad[members]),
        pose=_mean_direction(found.pose[members]),
        direction=_mean_direction(found.direction[members]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Patterns:
    """k templates as arrays; fields as those of `Template`, shape (k,) and (k, 3)."""

    range_rad: FloatArray
    up_s: FloatArray
    speed_rad_s: FloatArray
    turned_rad: FloatArray
    pose: FloatArray
    direction: FloatArray

    def __len__(self) -> int:
        return len(self.range_rad)

    def take(self, rows: slice) -> Patterns:
        """Some of them."""
        return Patterns(**{name: getattr(self, name)[rows] for name in _FIELDS})


_FIELDS = ("range_rad", "up_s", "speed_rad_s", "turned_rad", "pose", "direction")


def each_alone(found: Candidates, members: np.ndarray) -> Patterns:
    """Every one of some candidates as a pattern of its own."""
    return Patterns(**{name: getattr(found, name)[members] for name in _FIELDS})


def patterns_of(templates: list[Template]) -> Patterns:
    """Several templates as arrays."""
    return Patterns(**{name: np.array([getattr(t, name) for t in templates]) for name in _FIELDS})


def of_same_exercise(patterns: Patterns, known: Sequence[Template]) -> BoolArray:
    """Which patterns are of the same exercise as one of the sets known, shape (k,)."""
    if not known:
        return np.zeros(len(patterns), dtype=np.bool_)
    poses, directions = (np.array([getattr(t, name) for t in known]).T for name in ("pose", "direction"))
    is_same = (patterns.pose @ poses > math.cos(SAME_POSE_RAD)) & (
        patterns.direction @ directions > math.cos(SAME_DIRECTION_RAD)
    )
    return np.asarray(is_same.any(axis=1))


def unlikeness(found: Candidates, patterns: Patterns) -> FloatArray:
    """Half the sum of capped squares by which each candidate misses each pattern.

    Parameters
    ----------
    found : Candidates
        n of them.
    patterns : Patterns
        k of them.

    Returns
    -------
    ndarray, shape (k, n)
        Infinite where the candidate is far too small.
    """
    miss = np.empty((len(patterns), len(found)))
    some = max(1, _PAIRS_AT_ONCE // max(len(found), 1))
    if len(patterns) <= some:
        _unlike(found, patterns, miss)
        return miss
    for part in (slice(at, at + some) for at in range(0, len(patterns), some)):
        _unlike(found, patterns.take(part), miss[part])
    return miss


def _unlike(found: Candidates, patterns: Patterns, miss: FloatArray) -> None:
    """Put the same in `miss`, for patterns so few that what is worked out on the way takes little room."""
    ranges, turned = patterns.range_rad[:, None], patterns.turned_rad[:, None]
    whole = ~found.is_cut[None, :]
    share = found.range_rad[None, :] / ranges
    smaller = np.log(found.range_rad) - np.log(ranges)
    np.minimum((smaller / RANGE_SPREAD) ** 2, np.where(share < 1, PARTIAL_COST, CAP), out=miss)
    miss *= whole | (share >= 1)
    paused, hurried = _missed_pace(found, patterns, share < PARTIAL, smaller)
    miss += paused
    miss += hurried
    miss += np.minimum((_angles(patterns.pose, found.pose) / (POSE_SHARE * ranges + POSE_RAD)) ** 2, CAP)
    beside = _angles(patterns.direction, found.direction) * np.minimum(found.turned_rad[None, :], turned)
    miss += np.minimum((beside / (TURN_SHARE * turned + TURN_RAD)) ** 2, CAP)
    miss *= 0.5
    miss[share < np.where(whole, LEAST_SHARE, LEAST_SHARE_OF_CUT)] = np.inf


def _missed_pace(
    found: Candidates, patterns: Patterns, is_partial: BoolArray, smaller: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Capped squares by which candidates miss patterns in return and time, and in speed; shape (k, n) all."""
    uneven = np.log(found.rise_rad / np.maximum(found.fall_rad, 1e-6))
    lasting = np.log(found.up_s) - np.log(patterns.up_s[:, None])
    lasting = np.where(is_partial, np.minimum(lasting - smaller, 0.0), lasting)
    faster = np.log(found.speed_rad_s) - np.log(patterns.speed_rad_s[:, None])
    # Half the way in the time of a whole rep is half the speed, and no slower a movement.
    faster = np.where(is_partial & (faster < 0), np.minimum(faster - smaller, 0.0), faster)
    # Who is slow is up for longer: that is one observation and not two.
    lasting = np.where(lasting > 0, np.maximum(lasting + np.minimum(faster, 0.0), 0.0), lasting)
    lasting = np.minimum((lasting / TIME_SPREAD) ** 2, TIME_CAP)
    lasting += np.minimum((uneven / RETURN_SPREAD) ** 2, CAP)
    lasting *= ~found.is_cut
    faster /= np.where(faster > 0, TIME_SPREAD, TIRED_SPREAD)
    return lasting, np.minimum(faster**2, TIME_CAP)


def _angles(one: FloatArray, other: FloatArray) -> FloatArray:
    return np.asarray(np.arccos(np.minimum(np.maximum(one @ other.T, -1.0), 1.0)))


def median(values: FloatArray) -> float:
    """Median of a handful of numbers; NumPy's own takes ten times as long."""
    ordered: list[float] = sorted(values.tolist())
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])


def _mean_direction(vectors: FloatArray) -> FloatArray:
    mean = vectors.sum(axis=0) / len(vectors)
    return np.asarray(mean / max(math.sqrt(float(mean @ mean)), 1e-9))


def resting_share(
    found: Candidates, curve_rad: FloatArray, first: int, rests: Rests, rate_hz: float
) -> FloatArray:
    """Where in a candidate's range the arm rested last before it and next after it, shape (n, 2).

    0 is its bottom, 1 its top; NaN without such a rest of at least `RESTED_S`.
    """
    share = np.full((len(found), 2), np.nan)
    rests = rests[rests[:, 1] - rests[:, 0] >= RESTED_S * rate_hz]
    if len(rests) == 0:
        return share
    low = np.minimum(curve_rad[found.bottom - first], curve_rad[found.bottom_after - first])
    reach = np.maximum(curve_rad[found.top - first] - low, 1e-6)
    # One more on both sides, where no rest is.
    at = rests.sum(axis=1) // 2
    place = np.empty(len(at) + 2)
    place[0] = place[-1] = np.nan
    place[1:-1] = curve_rad[at - first]
    share[:, 0] = (place[np.searchsorted(at, found.top)] - low) / reach
    share[:, 1] = (place[np.searchsorted(at, found.top, side="right") + 1] - low) / reach
    return share


def swings(found: Candidates, resting: FloatArray) -> BoolArray:
    """Which candidates are swings of a walking arm: small, at the pace of strides, about the resting pose.

    A rep goes out from where the arm rests and comes back; an arm that swings passes there both ways. Where no rest
    was recorded nobody can tell. Candidates of several sizes may follow one another, each from the start again.
    """
    through = (resting > SWING_MIDDLE[0]) & (resting < SWING_MIDDLE[1])
    # A rest at one end of the movement is a rep's; one far away (the wrist before the face) says nothing.
    at_end = ~through & (resting > -SWING_MIDDLE[0]) & (resting < 1 + SWING_MIDDLE[0])
    is_through, is_at_end = through[:, 0] | through[:, 1], at_end[:, 0] | at_end[:, 1]
    about_rest = is_through & ~is_at_end
    small = (found.range_rad < SWING_RANGE_RAD) & (2 * found.up_s < SWING_CYCLE_S) & ~found.is_cut
    # Strides follow each other: those of one walk are what most of them are.
    between_s = found.leaves_s[1:] - found.returns_s[:-1]
    apart = (between_s > BETWEEN_STRIDES_S) | (between_s < 0)
    edges = np.concatenate([[0], (apart | (small[1:] != small[:-1])).nonzero()[0] + 1, [len(found)]])
    walks = edges[:-1]
    for_it = np.add.reduceat(about_rest, walks, dtype=np.int64)
    against = np.add.reduceat(is_at_end, walks, dtype=np.int64)
    is_walk = np.repeat((for_it > 0) & (for_it >= against), edges[1:] - walks)
    return np.asarray(small & is_walk)
