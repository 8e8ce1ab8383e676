"""How far each set keeps to a rigid arm with a firm strap: what is flagged, what the standard errors have to carry."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.motion import ArmMotion, LeverArm, up_in_sensor
from armarc.motion.body_signs import NO_SIGNS, BodySigns, find_body_signs
from armarc.recording import FloatArray
from armarc.reps.steadiness import strap_steps

HANGING_BELOW_RAD = math.radians(40)
BENT_RAD, BENT_ERRORS = math.radians(4.5), 3.0
"""A rigid arm seems to turn in the sensor by up to 3.5° over the range, an elbow that bends by 10° turns it by some 5°
(own simulated bodies)."""
TRUNK_SHARE = 0.1
"""A swing of 4 cm leaves up to 0.08 of a raise's acceleration unexplained, a trunk that tips by 8–15° 0.12 and more
(own simulated bodies)."""
LOOSE_RAD = math.radians(0.35)
"""A strap that wobbles by more than this (root mean square) moves the edges of a 10° gate by 5 %."""
BODY_FLAGS = ("bent_elbow", "trunk_moved", "loose_strap", "unsteady_sensor")
"""What `SetBody.flags` may hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
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
    """

    signs: BodySigns = NO_SIGNS
    strap_step_rad: float = 0.0
    wobble_rad: float = 0.0
    swept_rad: float = math.pi / 2

    @property
    def flags(self) -> tuple[str, ...]:
        """Flags of every rep of the set."""
        turned, se = self.signs.turned_rad, self.signs.turned_se_rad
        found = {
            "bent_elbow": turned > max(BENT_RAD, BENT_ERRORS * se),
            "trunk_moved": self.signs.shoulder_share > TRUNK_SHARE,
            "loose_strap": self.wobble_rad > LOOSE_RAD,
            "unsteady_sensor": self.strap_step_rad > 0,
        }
        return tuple(flag for flag, is_seen in found.items() if is_seen)


RIGID = SetBody()


def set_bodies(
    motion: ArmMotion,
    ranges: Sequence[tuple[int, int]],
    bottoms: Sequence[Sequence[int]],
    weight: FloatArray,
    lever: LeverArm | None,
) -> tuple[SetBody, ...]:
    """Look at body and strap of every set.

    Parameters
    ----------
    motion : ArmMotion
    ranges : sequence of (first, stop)
        Samples of every set.
    bottoms : sequence of sequences of int
        Samples at which the arm rests between its reps.
    weight : ndarray, shape (n,)
        Worth of each sample for the lever arm.
    lever : LeverArm or None
        As fitted to the recording; without it, and for any angle but the elevation, only a wobble is known.
    """
    is_elevation = motion.coordinate == "elevation"
    steps = _steps(motion, bottoms) if is_elevation else tuple(0.0 for _ in bottoms)
    bodies = []
    for (first, stop), step in zip(ranges, steps, strict=True):
        signs = NO_SIGNS
        if is_elevation and lever is not None and motion.mounting.method == "lever_arm":
            # The filters guess at the ends: some more than the set, which counts for nothing.
            margin = round(2 * motion.rate_hz)
            cut = slice(max(first - margin, 0), min(stop + margin, len(weight)))
            worth = weight[cut].copy()
            worth[: first - cut.start] = 0.0
            worth[stop - cut.start :] = 0.0
            worth[motion.missing[cut]] = 0.0
            signs = find_body_signs(
                motion.quaternion[cut],
                motion.angular_velocity_rad_s[cut],
                motion.specific_force_m_s2[cut],
                motion.elevation_rad[cut],
                worth,
                motion.rate_hz,
                lever,
            )
        swept = float(np.ptp(np.quantile(motion.angle_rad[first:stop], [0.03, 0.97])))
        bodies.append(
            SetBody(
                signs=signs,
                strap_step_rad=step,
                wobble_rad=motion.mounting.wobble_rad,
                swept_rad=max(swept, math.radians(5)),
            )
        )
    return tuple(bodies)


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
    "bent_elbow": "the arm line turned against the sensor on the way up, as it does when the elbow bends: ranges and "
    "speeds of {} are less certain",
    "trunk_moved": "the shoulder moved a good deal while the arm was raised, as it does when the trunk tips: starts "
    "of {} are those of arm and trunk together and less certain",
    "loose_strap": "the strap wobbled: the movement of {} was smoothed below the wobble; fasten it",
    "unsteady_sensor": "the sensor moved on the arm: angles of {} are less certain",
}


def _steps(motion: ArmMotion, bottoms: Sequence[Sequence[int]]) -> tuple[float, ...]:
    """How far the strap slipped, for every set, rad; only an arm that hangs between reps can tell."""
    up = up_in_sensor(motion.quaternion)
    hanging = []
    for group in bottoms:
        at = np.asarray(group)
        hanging.append(-up[at[motion.elevation_rad[at] < HANGING_BELOW_RAD]])
    return strap_steps(hanging)
