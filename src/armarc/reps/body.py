"""How far each set keeps to a rigid arm with a firm strap: what is flagged, what the standard errors have to carry."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from armarc.motion import ArmMotion, LeverArm, angle_from_down, low_pass, up_in_sensor
from armarc.motion.body_signs import NO_SIGNS, RANGE_HZ, BodySigns, find_body_signs
from armarc.motion.elbow_hinge import PLACES, ElbowBend
from armarc.motion.forearm import Forearm
from armarc.motion.kinematics import rate_of_change
from armarc.motion.mounting import HANGING_SE_RAD
from armarc.recording import FloatArray
from armarc.reps.steadiness import strap_steps
from armarc.reps.unseen import unexplained_rad

HANGING_BELOW_RAD = math.radians(40)
BENT_RAD = math.radians(3.0)
"""An elbow that bends by 10° turns the arm line in the sensor by some 5° over the range."""
USUAL_REACH_M = 0.51
"""Shoulder to a strap 4 cm above the wrist (de Leva 1996, Table 4, men: 28.2 + 26.9 cm)."""
SHORT_IN_RANGE, SHORT_IN_MEASURED = 0.5, 0.25
"""Share of a range by which it may be read too large for each share by which the fitted arm is shorter: than usual,
and than it was measured, where half of it was corrected (slope over bending elbows of our own simulator, front and
scaption raises: 0.5)."""
ABOVE_ELBOW_SHARE = 0.05
"""Standard error of a range and a speed, as a share of them, where the sensor sits above the elbow: skin goes less far
than bone (ten raises of one person with optical truth: 5 %; bodies in a physics engine, which have none, 0–3 %)."""
FOREARM_TURN_RAD = math.radians(19)
"""A forearm turns by 5–30° about itself on the way up, this as a root mean square (working limit). By how much is
not seen, as the shoulder turns the hand as well. Where it lies off the arm line, that line goes round it."""
SEEN_AT = -0.2
"""Where in the range (−½ to ½) a fixed lever arm is right about one that turns: where the raise accelerates most."""
LEAST_SINE = 0.05
"""Nearer to the vertical than 3° a line sideways hardly changes the angle with it any more."""
TRUNK_SHARE = 0.1
"""A swing of 4 cm leaves up to 0.08 of a raise's acceleration unexplained, a trunk that tips by 8–15° 0.12 and more
(own simulated bodies); one person's that leans by 13° each time 0.11–0.22 of a lowering's, others' at most 0.08."""
LOOSE_RAD = math.radians(0.35)
"""A strap that wobbles by more than this (root mean square) moves the edges of a 10° gate by 5 %."""
BODY_FLAGS = ("bent_elbow", "trunk_moved", "loose_strap", "unsteady_sensor")
"""What `SetBody.flags` may hold."""


@dataclass(frozen=True, kw_only=True)
class SetBody:
    """What body and strap did in one set.

    Parameters
    ----------
    signs : BodySigns
    strap_step_rad : float, rad
        How far the strap slipped; 0 where it stayed.
    wobble_rad : float, rad
        How far it wobbled (root mean square).
    swept_rad : float, rad
        Range of the set's movement.
    short_share : float
        Standard error, as a share of the range, that an arm fitted shorter than it should be stands for.
    forearm_rad : float, rad
        Angle between forearm and arm line across the plane of the raise.
    elbow_rad2 : ndarray, shape (17, 17), rad², or None
        Covariance of the elevation at `PLACES` of the range, as far as an elbow that may bend makes it doubtful; None
        where nothing is known of the elbow.
    above_elbow : bool
        Whether the sensor sits on a segment that turns as a whole: then a shoulder that moves shows in the fitted
        direction of the arm, and in the difference of two angles only as far as that direction does.
    hinge : ndarray, shape (3,), or None
        Axis of the raise in sensor axes, where the elbow was judged: then that is so below it as well, and only in the
        plane of the raise, as the hinge holds the rest.
    """

    signs: BodySigns = NO_SIGNS
    strap_step_rad: float = 0.0
    wobble_rad: float = 0.0
    swept_rad: float = math.pi / 2
    short_share: float = 0.0
    forearm_rad: float = 0.0
    elbow_rad2: FloatArray | None = None
    above_elbow: bool = False
    hinge: FloatArray | None = None

    @cached_property
    def unexplained_rad(self) -> float:
        """What a shoulder that moves and an arm that is no rigid one leave in the direction of the arm, rad.

        Where the arm hangs between its reps, the pose there says as well how it lies.
        """
        share = self.signs.unexplained_share if self.signs.chain_share is None else self.signs.chain_share
        moved = unexplained_rad(share)
        hangs = self.hinge is not None and self.signs.low_rad < HANGING_BELOW_RAD
        return moved * HANGING_SE_RAD / math.hypot(moved, HANGING_SE_RAD) if hangs else moved

    @cached_property
    def doubt_rad(self) -> float:
        """Standard error of a range, rad: what the elbow leaves where it was judged, else what one that bends in the
        plane of the raise may hide, which only makes an arm seem short."""
        if self.elbow_rad2 is not None:
            ends = self.elbow_doubt_rad((0.5, -0.5), (1.0, -1.0))
            return math.hypot(ends, self.turned_rad)
        return math.hypot(self.short_share * self.swept_rad, self.turned_rad)

    def doubt_rad_at(self, elevation_rad: float) -> float:
        """The same of an elevation, rad."""
        place = self.place(elevation_rad)
        if self.elbow_rad2 is not None:
            return self.elbow_doubt_rad((place,), (1.0,))
        return abs(place - SEEN_AT) * self.doubt_rad

    def place(self, elevation_rad: float) -> float:
        """Where in the range an elevation is, −½ to ½."""
        way = max(self.signs.high_rad - self.signs.low_rad, 1e-3)
        return min(max((elevation_rad - self.signs.low_rad) / way, 0.0), 1.0) - 0.5

    def elbow_doubt_rad(self, places: Sequence[float], worth: Sequence[float]) -> float:
        """Standard error of a sum of elevations at places of the range that an elbow leaves, rad; 0 if not judged."""
        if self.elbow_rad2 is None:
            return 0.0
        near = np.maximum(1 - np.abs(np.array(places)[:, None] - PLACES) / _APART, 0.0)
        share = np.array(worth) @ near
        return math.sqrt(max(float(share @ self.elbow_rad2 @ share), 0.0))

    def speed_doubt(self, elevations_rad: Sequence[float], worth: Sequence[float]) -> float:
        """Standard error of a start velocity as a share of it; `worth` is what each elevation does to that share."""
        if self.elbow_rad2 is None:
            return self.doubt_rad / self.swept_rad
        seen = self.elbow_doubt_rad([self.place(each) for each in elevations_rad], worth)
        return math.hypot(seen, self.turned_rad / self.swept_rad)

    @cached_property
    def turned_rad(self) -> float:
        """Standard error of a range that a forearm off the arm line leaves as it turns about itself, rad.

        Half of it is each end's, with opposite signs: the fitted arm is right in the middle.
        """
        believed = self.signs.certainty if self.signs.elbow is None else self.signs.elbow.bent
        return (1 - believed) * FOREARM_TURN_RAD * math.sin(self.forearm_rad)

    @property
    def _moved_share(self) -> float:
        """Share of an acceleration that the shoulder made: of the raise's, or of the lowering's where a trunk that
        leans with the arm each time is all that can have made it."""
        lowering = 0.0 if self.above_elbow or self.strap_step_rad > 0 else self.signs.unexplained_share
        return max(self.signs.shoulder_share, lowering)

    @property
    def flags(self) -> tuple[str, ...]:
        """Flags of every rep of the set."""
        elbow = self.signs.elbow
        turned = 0.0
        if elbow is not None and elbow.likely > 0.5 and self.signs.certainty > 0:
            turned = float(np.linalg.norm(np.diff(elbow.at(np.array([-0.5, 0.5])), axis=0)))
        found = {
            "bent_elbow": turned > BENT_RAD,
            "trunk_moved": self._moved_share > TRUNK_SHARE,
            "loose_strap": self.wobble_rad > LOOSE_RAD,
            "unsteady_sensor": self.strap_step_rad > 0,
        }
        return tuple(flag for flag, is_seen in found.items() if is_seen)


RIGID = SetBody()
_APART = float(PLACES[1] - PLACES[0])


def set_bodies(
    motion: ArmMotion,
    ranges: Sequence[tuple[int, int]],
    bottoms: Sequence[Sequence[int]],
    weight: FloatArray,
    lever: LeverArm | None,
    reach_m: float | None = None,
    *,
    beyond_elbow: bool = True,
    forearms: Sequence[Forearm] = (),
) -> tuple[tuple[SetBody, ...], ArmMotion]:
    """Look at body and strap of every set, and let the arm line turn in the sensor as far as the set shows it.

    Parameters
    ----------
    motion : ArmMotion
    ranges : sequence of (first, stop)
        Samples of every set.
    bottoms : sequence of sequences of int
        Samples at which the arm rests between its reps; none of a set of another exercise, which hangs otherwise.
    weight : ndarray, shape (n,)
        Worth of each sample for the lever arm.
    lever : LeverArm or None
        As fitted to the recording; without it, and for any angle but the elevation, only a wobble is known.
    reach_m : float or None, m
        Shoulder to sensor, where somebody measured it.
    beyond_elbow : bool
        Whether an elbow lies between shoulder and sensor: above it nothing that bends makes an arm seem short.
    forearms : sequence of Forearm
        Ways the sensor may sit on it.

    Returns
    -------
    bodies : tuple of SetBody
    motion : ArmMotion
        With the elevation of a turning arm line; the very same where no set shows one.
    """
    is_elevation = motion.coordinate == "elevation"
    steps = _steps(motion, bottoms) if is_elevation else tuple(0.0 for _ in bottoms)
    bodies = []
    change = np.zeros(len(weight))
    nearest = _nearest(ranges, len(weight))
    for (first, stop), near, step in zip(ranges, nearest, steps, strict=True):
        signs, short, off_line, doubt = NO_SIGNS, 0.0, 0.0, None
        if is_elevation and lever is not None and motion.mounting.method == "lever_arm":
            around = _around(motion, first, stop)
            signs = _signs(motion, around, first, stop, weight, lever, forearms if beyond_elbow else ())
            short = _short_share(lever.reach_m, reach_m) if beyond_elbow else ABOVE_ELBOW_SHARE
            off_line = lever.forearm_rad
            if signs.elbow is not None:
                near = near if signs.certainty > 0 else around
                place = signs.place(motion.elevation_rad[near], motion.rate_hz)
                if signs.certainty > 0:
                    change[near] += signs.certainty * _turned(motion, signs.elbow, near, place)
                # Two sets may be so close that their ends overlap.
                own = slice(max(first, near.start), min(stop, near.stop))
                inside = place[own.start - near.start : own.stop - near.start]
                short = 0.0
                up = up_in_sensor(motion.quaternion[own])
                axis = motion.mounting.arm_axis
                doubt = _elbow_covariance(up, inside, signs.elbow, axis, signs.certainty)
        swept = float(np.ptp(np.quantile(motion.angle_rad[first:stop], [0.03, 0.97])))
        bodies.append(
            SetBody(
                signs=signs,
                strap_step_rad=step,
                wobble_rad=motion.mounting.wobble_rad,
                swept_rad=max(swept, math.radians(5)),
                short_share=short,
                forearm_rad=off_line,
                elbow_rad2=doubt,
                above_elbow=is_elevation and not beyond_elbow,
                hinge=None if doubt is None or lever is None else lever.across,
            )
        )
    return tuple(bodies), _changed(motion, change)


def _around(motion: ArmMotion, first: int, stop: int) -> slice:
    """Samples of a set and some more: the filters guess at the ends."""
    margin = round(2 * motion.rate_hz)
    return slice(max(first - margin, 0), min(stop + margin, len(motion.time_s)))


def _signs(
    motion: ArmMotion,
    cut: slice,
    first: int,
    stop: int,
    weight: FloatArray,
    lever: LeverArm,
    forearms: Sequence[Forearm],
) -> BodySigns:
    worth = weight[cut].copy()
    worth[: first - cut.start] = 0.0
    worth[stop - cut.start :] = 0.0
    worth[motion.missing[cut]] = 0.0
    return find_body_signs(
        motion.quaternion[cut],
        motion.specific_force_m_s2[cut],
        motion.elevation_rad[cut],
        worth,
        motion.rate_hz,
        lever,
        forearms,
    )


def _short_share(fitted_m: float, measured_m: float | None) -> float:
    if measured_m is None:
        return SHORT_IN_RANGE * max(1 - fitted_m / USUAL_REACH_M, 0.0)
    return SHORT_IN_MEASURED * max(1 - fitted_m / measured_m, 0.0)


def _nearest(ranges: Sequence[tuple[int, int]], n: int) -> list[slice]:
    """The samples nearer to a set than to any other."""
    between = [(before[1] + after[0]) // 2 for before, after in pairwise(ranges)]
    edges = [0, *between, n]
    return [slice(first, stop) for first, stop in pairwise(edges)]


def _turned(motion: ArmMotion, elbow: ElbowBend, near: slice, place: FloatArray) -> FloatArray:
    """What the elbow's turning of the arm line does to the elevation at places of the range, rad."""
    up = up_in_sensor(motion.quaternion[near])
    line = elbow.at(place)
    line /= np.linalg.norm(line, axis=1)[:, None]
    turned = _from_down(up, line) - _from_down(up, motion.mounting.arm_axis)
    return low_pass(turned, motion.rate_hz, min(RANGE_HZ, 0.4 * motion.rate_hz))


def _from_down(up: FloatArray, line: FloatArray) -> FloatArray:
    return angle_from_down(up, -np.einsum("ij,ij->i", up, np.broadcast_to(line, up.shape)))


def _elbow_covariance(
    up: FloatArray, place: FloatArray, elbow: ElbowBend, axis: FloatArray, followed: float
) -> FloatArray:
    """Shape (17, 17), rad²: that of the elevation at `PLACES`, for an elbow that bends, is bent or neither, as likely
    as they are, of which a share of its way from the fixed arm line, shape (3,), is followed."""
    at = np.clip(np.rint((place - PLACES[0]) / _APART).astype(int), 0, len(PLACES) - 1)
    count = np.bincount(at, minlength=len(PLACES))
    seen = count > 0

    def mean(values: FloatArray) -> FloatArray:
        each = np.bincount(at, values, len(PLACES))[seen] / count[seen]
        return np.interp(PLACES, PLACES[seen], each)

    level = np.stack([mean(column) for column in up.T], axis=-1)
    fixed = _from_down(level, np.tile(axis, (len(PLACES), 1)))
    change = followed * (_from_down(level, elbow.line) - fixed)
    covariance = (1 - elbow.bent) * np.outer(change, change)
    for likely, line, by_unknown, angles in zip(
        elbow.weights, elbow.lines, elbow.by_unknown, elbow.covariances, strict=True
    ):
        # cos θ = −up · line
        sine = np.sqrt(np.maximum(1 - (level * line).sum(axis=1) ** 2, LEAST_SINE**2))
        slope = np.einsum("ki,kij->kj", level, by_unknown) / sine[:, None]
        off = _from_down(level, line) - fixed - change
        covariance += likely * (slope @ angles @ slope.T + np.outer(off, off))
    return np.asarray(covariance)


def _changed(motion: ArmMotion, change_rad: FloatArray) -> ArmMotion:
    if not change_rad.any():
        return motion
    lifted = motion.elevation_rad + change_rad
    rate = motion.angle_rate_rad_s + rate_of_change(change_rad, motion.rate_hz)
    return replace(motion, angle_rad=lifted, elevation_rad=lifted, angle_rate_rad_s=rate)


def body_warnings(bodies: Sequence[SetBody], first_set: int) -> list[str]:
    """Say in plain words what the flags of the sets mean; sets count from `first_set`."""
    said = []
    for flag, sentence in _SENTENCES.items():
        sets = [number for number, body in enumerate(bodies, first_set) if flag in body.flags]
        if sets:
            which = f"set {sets[0]}" if len(sets) == 1 else "sets " + ", ".join(map(str, sets))
            said.append(sentence.format(which))
    return said


_SENTENCES = {
    "bent_elbow": "the arm line turned against the sensor on the way up, as it does when the elbow bends: angles and "
    "speeds of {} were corrected for it and are less certain",
    "trunk_moved": "the shoulder moved a good deal while the arm was raised, as it does when the trunk tips: starts "
    "of {} are those of arm and trunk together and less certain",
    "loose_strap": "the strap wobbled: the movement of {} was smoothed below the wobble; fasten it",
    "unsteady_sensor": "the sensor moved on the arm: angles of {} are less certain",
}


def _steps(motion: ArmMotion, bottoms: Sequence[Sequence[int]]) -> tuple[float, ...]:
    """How far the strap slipped, for every set, rad; only an arm that hangs between reps can tell."""
    hanging = []
    for group in bottoms:
        at = np.asarray(group, dtype=int)
        hanging.append(-up_in_sensor(motion.quaternion[at[motion.elevation_rad[at] < HANGING_BELOW_RAD]]))
    return strap_steps(hanging)
