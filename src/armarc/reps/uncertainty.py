"""Standard errors of angles, ranges and start velocities.

Four sources are carried: the direction of the arm in the sensor (mounting), the tilt left over by the fusion, and the
scale errors of gyroscope and accelerometer. The mounting is propagated by turning the arm axis and taking the change
of the measure, so that a constant offset of θ costs nothing where only a difference counts. What a set shows of a
bending elbow, a moving trunk, a slipping or wobbling strap comes on top (`armarc.reps.body`). Skin that slides and a
wrist that bends are not in it: no sensor on the skin sees them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from armarc.motion import ArmMotion, Mounting, up_in_sensor
from armarc.motion.angles import cross_matrix, up_of
from armarc.motion.tolerance import Tolerance
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray
from armarc.reps.arm_axes import beside_axis
from armarc.reps.body import RIGID, SetBody
from armarc.reps.unseen import SLIPPED_ABOUT_RAD, by_hand, leaning, leans, running_sum

SHORT_TERM_RAD = math.radians(0.01)
"""Noise of θ differences over a gate's passage: 7 mdps/√Hz over 0.2 s, and the interpolation between samples."""
GYROSCOPE_LEFT = 0.65
"""Share of the gyroscope's scale error left in a range and in a speed: gravity holds the ends of every movement. With
2 % more put on the gyroscope ranges of four people changed by 0.6 of it (root mean square), a rigid arm's by 0.3."""
ACCELEROMETER_LEFT = 0.42
"""The same of the accelerometer's: it turns and bends what the fusion and the fit of the lever arm hold on to."""
GYROSCOPE_IN_ANGLE, ACCELEROMETER_IN_ANGLE = 0.5, 0.6
"""rad of an absolute angle per unit of the scale errors. These four were found on synthetic sets with one error at a
time; the sensors' zero-g offset, drawn with their scale, is in them."""
TILT_IN_RANGE = 0.5
"""Share of the inclination's error that is not the same at both ends of a range."""
BESIDE = 0.45
"""Share of an arm axis turned sideways that shows in a range or a speed where the lever arm was fitted: what turns the
axis turns the vertical with it, as both hang on the same accelerometer (found on synthetic sets)."""
GYROSCOPE_IN_RATE, ACCELEROMETER_IN_RATE, RATE_LEFT = 0.8, 0.37, 0.001
"""Shares of the scale errors in a mean or peak rate, and what even a perfect sensor leaves; found the same way."""
AT_THE_BOTTOM = 0.7
"""Share of an angle's error that is there while the arm hangs: the fit of the lever arm saw it rest there."""
SHOULDER_IN_SPEED, SHOULDER_ON_RIGID, SHOULDER_MOST = 0.6, 0.08, 0.06
"""Share of a start velocity for each share of the raise's acceleration that the shoulder itself made, beyond what a
swing of 4 cm and noise make of it; and the most of it: trunks that tip more are seen to set off no worse."""
UNTESTED_SHARE = 0.02
"""Share of a range and of a speed that body, elbow and skin leave in an angle that raises no arm: nothing in such a
set shows them (working limit: 1–3 % in flies and rotations of bodies simulated outside the project)."""
STEP_IN_ANGLE, STEP_IN_RANGE = 0.3, 0.12
"""Shares of a strap's slip (rad) in an angle; in a range, and in a speed as a share of it."""
WOBBLE_AT_THE_ENDS = 0.7
"""Share of a strap's wobble at the top and at the bottom of a rep, which are where θ is farthest out."""
WOBBLE_LEFT, WOBBLE_RATE_RAD_S = 0.12, 2 * math.pi * 7 * 0.12
"""Share of a strap's wobble in θ on its way; rad/s of a peak rate per rad of wobble: 7 Hz, low-passed."""
LEAST_SHARE_OF_SPEED = 0.2
"""The arm is taken to pass an edge of the gate at no less than this share of its speed through it."""


@dataclass(frozen=True, kw_only=True)
class AngleErrors:
    """What θ's errors are made of.

    Parameters
    ----------
    has_zero : bool
        Whether θ counts from the vertical and hangs on the arm's direction; the zero of any other angle is arbitrary
        and has no error.
    quaternion : ndarray, shape (n, 4)
        Sensor → global.
    axes : five tuples of three floats
        The arm axis, then turned by √3 standard errors to either side, for two directions across the arm.
    is_fitted : bool
        Whether the axis came from the lever arm, fitted to the same accelerometer that shows the vertical.
    mounting : Mounting
    tilt_rad : float, rad
        Standard error of the inclination left by the fusion.
    tolerance : Tolerance
        Scale errors of the sensor.
    angle_rad : ndarray, shape (n,), rad
    rate_hz : float, Hz
    across_rad : float, rad
        Largest standard error of the arm's direction.
    pulled_m_s2 : ndarray, shape (n + 1,), m/s²
        Running sum of the specific force along the arm.
    body : SetBody
        What the set shows of body and strap.
    hand_turn_rad : float, rad
        How far the hand turns about the arm on the rep's way up.
    """

    has_zero: bool
    quaternion: FloatArray
    axes: tuple[tuple[float, ...], ...]
    is_fitted: bool
    mounting: Mounting
    tilt_rad: float
    tolerance: Tolerance
    angle_rad: FloatArray
    rate_hz: float
    across_rad: float
    pulled_m_s2: FloatArray
    body: SetBody = RIGID
    hand_turn_rad: float = 0.0

    def of_set(self, body: SetBody) -> AngleErrors:
        """The same with what a set shows of body and strap."""
        if body.hinge is None and not body.above_elbow:
            return replace(self, body=body)
        axes, across = beside_axis(self.mounting, body.unexplained_rad, body.hinge)
        return replace(self, body=body, axes=axes, across_rad=across)

    @cached_property
    def bent_rad(self) -> float:
        """What a moving shoulder, no rigid arm and a hand that turns leave in an angle beside its direction, rad."""
        return self.moved_rad if self.body.hinge is None else by_hand(self.hand_turn_rad)

    @cached_property
    def moved_rad(self) -> float:
        """The same in a rate or an instant."""
        turning = math.hypot(self.body.unexplained_rad, by_hand(self.hand_turn_rad))
        return 0.0 if self.body.above_elbow else turning

    @property
    def shoulder_share(self) -> float:
        """What a shoulder that moves by itself leaves in a start velocity, as a share of it."""
        if self.body.above_elbow:
            return 0.0
        beyond = max(self.body.signs.shoulder_share - SHOULDER_ON_RIGID, 0.0)
        return min(SHOULDER_IN_SPEED * beyond, SHOULDER_MOST)

    @property
    def wobble_rad(self) -> float:
        """What a strap's wobble leaves in θ, rad."""
        return WOBBLE_LEFT * self.body.wobble_rad

    @property
    def beside(self) -> float:
        """Share of an axis turned sideways that shows where angles are subtracted."""
        return BESIDE if self.is_fitted else 1.0

    @property
    def untested_share(self) -> float:
        """What a body leaves in a range or a speed where no test of it exists, as a share."""
        return 0.0 if self.has_zero else UNTESTED_SHARE

    def of_angle(self, at: int) -> float:
        """Standard error of θ at a sample, rad."""
        # What a scale error does comes with the way up from the hanging arm.
        level = abs(math.sin(float(self.angle_rad[at])))
        is_shared = self.is_fitted and self.mounting.height_known
        share = AT_THE_BOTTOM + (1 - AT_THE_BOTTOM) * level if is_shared else 1.0
        shared = math.hypot(
            self.bent_rad,
            self.body.doubt_rad_at(float(self.angle_rad[at])),
            STEP_IN_ANGLE * self.body.strap_step_rad,
            WOBBLE_AT_THE_ENDS * self.body.wobble_rad,
            self.mounting.lean_se_rad_s2_m * STANDARD_GRAVITY_M_S2,
            self.tilt_rad,
            GYROSCOPE_IN_ANGLE * self.tolerance.gyroscope * level,
            ACCELEROMETER_IN_ANGLE * self.tolerance.accelerometer * level,
            *self.spread([at], np.ones(1), linear=1.0),
        )
        return math.hypot(share * shared, self.body.turned_rad / 2)

    def of_range(self, top: int, bottom: float) -> float:
        """Standard error of the difference of θ between two samples, rad."""
        low = round(bottom)
        moved = float(self.angle_rad[top] - self.angle_rad[low])
        leaning = np.subtract(self.lean(leans, top), self.lean(leans, low))
        return math.hypot(
            self.bent_rad,
            self.body.doubt_rad,
            STEP_IN_RANGE * self.body.strap_step_rad,
            math.sqrt(2) * WOBBLE_AT_THE_ENDS * self.body.wobble_rad,
            TILT_IN_RANGE * self.tilt_rad,
            *leaning.tolist(),
            self.untested_share * moved,
            GYROSCOPE_LEFT * self.tolerance.gyroscope * moved,
            ACCELEROMETER_LEFT * self.tolerance.accelerometer * moved,
            *self.spread([top, low], np.array([1.0, -1.0]), linear=self.beside),
        )

    def of_speed(self, speed_rad_s: float, gate: tuple[float, float], bottom: float) -> float:
        """Standard error of the start velocity, rad/s: scale, noise of the passage, and mounting."""
        near, far, low = round(gate[0]), round(gate[1]), round(bottom)
        width = float(self.angle_rad[far] - self.angle_rad[near])
        if abs(width) < math.radians(1):
            return abs(speed_rad_s)
        noise = speed_rad_s * math.sqrt(2) * SHORT_TERM_RAD / abs(width)
        # A rise that reads δ more is seen to pass an edge δ/rate earlier; both edges move, and what matters is
        # how differently.
        slow, fast = (max(self._rate(at), LEAST_SHARE_OF_SPEED * speed_rad_s) for at in (near, far))
        duration_s = (gate[1] - gate[0]) / self.rate_hz
        worth = np.array([-1 / slow, 1 / fast, 1 / slow - 1 / fast]) * speed_rad_s / duration_s
        edges = [float(self.angle_rad[at]) for at in (near, far, low)]
        leaning = worth @ np.array([self.lean(leans, at) for at in (near, far, low)])
        return math.hypot(
            noise,
            self.bent_rad / self.body.swept_rad * speed_rad_s,
            self.body.speed_doubt(edges, (worth / speed_rad_s).tolist()) * speed_rad_s,
            self.shoulder_share * speed_rad_s,
            *leaning.tolist(),
            STEP_IN_RANGE * self.body.strap_step_rad * speed_rad_s,
            math.sqrt(2) * self.wobble_rad / abs(width) * speed_rad_s,
            self.untested_share * speed_rad_s,
            GYROSCOPE_LEFT * self.tolerance.gyroscope * speed_rad_s,
            ACCELEROMETER_LEFT * self.tolerance.accelerometer * speed_rad_s,
            *self.spread([near, far, low], worth, linear=self.beside),
        )

    def of_rate(self, rate_rad_s: float) -> float:
        """Standard error of a mean or peak rate of θ, rad/s, but for what its range and its instants leave in it."""
        return abs(rate_rad_s) * self._rate_share

    @cached_property
    def _rate_share(self) -> float:
        """The same as a share of the rate."""
        return math.hypot(
            self.moved_rad / self.body.swept_rad,
            self.body.doubt_rad / self.body.swept_rad,
            STEP_IN_RANGE * self.body.strap_step_rad,
            self.untested_share,
            GYROSCOPE_IN_RATE * self.tolerance.gyroscope,
            ACCELEROMETER_IN_RATE * self.tolerance.accelerometer,
            RATE_LEFT,
        )

    def of_peak(self, rate_rad_s: float, at: int) -> float:
        """Standard error of a peak rate of θ at a sample, rad/s.

        That of a rate, of the arm's direction, of a strap that leans, and the wobble that adds to the largest.
        """
        around = [max(at - 1, 0), min(at + 1, len(self.angle_rad) - 1)]
        worth = np.array([-1.0, 1.0]) * self.rate_hz / max(around[1] - around[0], 1)
        turned = self.spread(around, worth, linear=self.beside) if self.is_fitted else []
        wobbles = WOBBLE_RATE_RAD_S * self.body.wobble_rad
        return math.hypot(self.of_rate(rate_rad_s), wobbles, *self.lean(leaning, at), *turned)

    def of_plane(self, at: int) -> float | None:
        """Standard error of the plane, rad: who faces where, and the arm's direction seen from above."""
        facing = self._facing_rad
        if facing is None or not self.has_zero:
            return None
        level = max(math.sin(float(self.angle_rad[at])), 0.34)  # the plane is not given below 20°
        return math.hypot(facing, self.across_rad / level)

    def of_hand_rotation(self, at: int) -> float | None:
        """Standard error of the hand rotation at a sample, rad: the thumb turned about the arm."""
        thumb, se = self.mounting.thumb_axis, self._facing_rad
        if thumb is None or se is None or not self.has_zero:
            return None
        up, beside = up_in_sensor(self.quaternion[at : at + 1])[0], cross_matrix(self._axis) @ thumb
        plain = math.asin(max(-1.0, min(1.0, float(thumb @ up))))
        turns = [
            math.asin(max(-1.0, min(1.0, float((math.cos(step) * thumb + math.sin(step) * beside) @ up))))
            for step in (math.sqrt(3) * se, -math.sqrt(3) * se)
        ]
        return math.hypot(self.tilt_rad, *((turn - plain) / math.sqrt(6) for turn in turns))

    def spread(self, samples: list[int], worth: FloatArray, *, linear: float) -> list[float]:
        """What the uncertain direction of the arm does to a sum of angles: one standard error each way across it.

        The change is linear where the arm swings towards the other direction and quadratic where it passes beside
        the vertical; three points of Gauss and Hermite's rule (the direction itself, and √3 standard errors to
        either side, worth a sixth each) give the root mean square of both. The linear part counts by `linear`.
        """
        if not self.has_zero:
            return []
        # Two or three samples and five axes, many times over: plain numbers are five times as fast as arrays.
        changes = [0.0, 0.0, 0.0, 0.0]
        for q, share in zip(self.quaternion[samples].tolist(), worth.tolist(), strict=True):
            x, y, z = up_of(*q)
            cosines = [-(x * a + y * b + z * c) for a, b, c in self.axes]
            plain, *turned = [math.acos(c if -1 < c < 1 else max(-1.0, min(1.0, c))) for c in cosines]
            for k, angle in enumerate(turned):
                changes[k] += share * (angle - plain)
        # An arm line that follows a bending elbow is that fit's own, and so is its error.
        fixed = 1.0 if self.body.elbow_rad2 is None else 1 - self.body.signs.certainty
        out = []
        for one, other in (changes[:2], changes[2:]):
            straight, curved = linear * (one - other) / 2, (one + other) / 2
            out.append(math.sqrt(fixed * (straight**2 + curved**2) / 3))
        return out

    def lean(self, of: Callable[..., tuple[float, float]], at: int) -> tuple[float, float]:
        """What a strap that gives does to θ (`leans`, rad) or θ̇ (`leaning`, rad/s) at a sample."""
        if not self.has_zero:
            return 0.0, 0.0
        beyond = self.mounting.lean_se_rad_s2_m
        return of(self.pulled_m_s2, self.angle_rad, at, self.rate_hz, beyond)

    @property
    def _facing_rad(self) -> float | None:
        """Standard error of where the thumb is about the arm, rad."""
        se = self.mounting.thumb_se_rad
        return math.hypot(se, SLIPPED_ABOUT_RAD) if se is not None and self.body.strap_step_rad > 0 else se

    @property
    def _axis(self) -> FloatArray:
        return np.array(self.axes[0])

    def _rate(self, at: int) -> float:
        """Slope of θ around a sample, rad/s."""
        before, after = max(at - 1, 0), min(at + 1, len(self.angle_rad) - 1)
        return float(self.angle_rad[after] - self.angle_rad[before]) * self.rate_hz / (after - before)


def angle_errors(motion: ArmMotion) -> AngleErrors:
    """Work out how uncertain θ is, for `ArmMotion` of any coordinate.

    Parameters
    ----------
    motion : ArmMotion
    """
    axes, across = beside_axis(motion.mounting)
    return AngleErrors(
        has_zero=motion.coordinate == "elevation",
        quaternion=motion.quaternion,
        axes=axes,
        is_fitted=motion.mounting.method == "lever_arm",
        mounting=motion.mounting,
        tilt_rad=motion.orientation.tilt_se_rad,
        tolerance=motion.tolerance,
        angle_rad=motion.angle_rad,
        rate_hz=motion.rate_hz,
        across_rad=across,
        pulled_m_s2=running_sum(motion.specific_force_m_s2 @ motion.mounting.arm_axis),
    )
