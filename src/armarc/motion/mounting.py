"""Which way the arm lies in the sensor, from the best evidence a recording holds.

Best first: the lever arm fitted to the set itself, a twist of the forearm (its long axis as the gyroscope sees it, off
the arm's line by half of what the elbow is bent), the hanging pose. The one used is reported with its uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.motion.lever_arm import LeverArm
from armarc.motion.place import UPPER_ARM, WRIST, Place
from armarc.motion.tolerance import UNKNOWN_TOLERANCE, Tolerance
from armarc.motion.twist import Twist
from armarc.motion.types import Mounting
from armarc.recording import FloatArray

METHODS = ("auto", "twist", "lever_arm", "hanging", "stated")
HANGING_SE_RAD = math.radians(8.0)
"""An arm with a weight in the hand hangs 7–11° off the vertical."""
ELBOW_SE_RAD = math.radians(5.0)
"""How far the forearm lies off the line from the shoulder to the wrist: an elbow that is bent, or points outward when
straight, by 10° turns the forearm off that line by half of it (own judgement, no source)."""
STATED_SE_RAD = math.radians(10.0)
"""How far a sensor axis that was said, or taken, to lie along the arm may lie off it (own judgement, no source)."""
UNFITTED_LEVER_SE_M = 0.05
"""How far the line to the sensor may lie off the arm where no lever arm was fitted (own judgement, no source)."""
STRAP_ROLL_SE_RAD = math.radians(10)
"""How near a strap sits to the place that was stated, all round the wrist, and how near the hanging thumb points to
the front (own judgement, no source)."""
FACING_SE_RAD = math.radians(6)
"""How straight to the front a person raises the arm (common practice, no source)."""
SCALE_ACROSS, SCALE_IN_PLANE = 4.6, 1.0
"""rad of the arm's direction per unit of the accelerometer's scale error, along the axis of the raise and in its plane
(found on synthetic sets with one error at a time)."""
WITH_ARM_M = 0.025
"""Standard error of the arm's direction in the plane of the raise, at the sensor: a shoulder that moves with the arm's
angle up and down alike turns the fitted line, and nothing shows it. A girdle that rises by 3.5 cm over a raise of 80°
goes 2.5 cm a radian, and trunks that lean along as much again (set after looking at 40 straight arms of a physics
engine, whose lines lie 3° off and 2° too high on average; those of one person's raises with optics lie too low)."""
MOST_LEVER_SE_RAD = math.radians(6.0)
LEAST_EXPLAINED = 0.3
CONVINCING = 0.8
"""A fit that explains this share of the acceleration is one of the arm even where its reach is another place's."""


_AXES = {
    f"{sign}{name}": (1.0 if sign == "+" else -1.0) * np.eye(3)[k]
    for k, name in enumerate("xyz")
    for sign in "+-"
}
STRAPS = ("back", "inside", "thumb", "little-finger")


def sensor_axis(name: str) -> FloatArray:
    """Turn ``"+x"`` … ``"-z"`` into a unit vector.

    Raises
    ------
    UsageError
        For any other name.
    """
    key = name.strip().lower()
    key = key if key[:1] in "+-" else f"+{key}"
    if key not in _AXES:
        raise UsageError(f"{name!r} is not a sensor axis", "use one of " + ", ".join(_AXES))
    return np.array(_AXES[key])


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmEvidence:
    """What a recording shows of the direction of the arm, each None where it shows nothing.

    Parameters
    ----------
    lever : LeverArm or None
    twist : Twist or None
    hanging : ndarray, shape (3,), or None
        Down in sensor axes while the arm hangs.
    """

    lever: LeverArm | None = None
    twist: Twist | None = None
    hanging: FloatArray | None = None


def choose_mounting(
    evidence: ArmEvidence,
    *,
    method: str = "auto",
    hand_axis: str | None = None,
    outward: FloatArray | None = None,
    sensor_height_m: float | None = None,
    reach_m: float | None = None,
    tolerance: Tolerance = UNKNOWN_TOLERANCE,
    place: Place = WRIST,
) -> tuple[Mounting, tuple[str, ...]]:
    """Settle the direction of the arm in the sensor.

    Parameters
    ----------
    evidence : ArmEvidence
    method : str
        One of `METHODS`; ``"auto"`` takes the best there is.
    hand_axis : str or None
        Sensor axis said to point to the hand; used by ``"stated"``.
    outward : ndarray, shape (3,), or None
        Sensor axis that points away from the skin, where the strap's place was stated.
    sensor_height_m : float or None, m
        Height of the sensor above the bone, taken out of the lever arm where `outward` is known.
    reach_m : float or None, m
        Measured distance from the shoulder to the sensor; replaces the fitted length.
    tolerance : Tolerance
        Scale errors of the sensor.
    place : Place
        Where on the arm the exercise wants the sensor.

    Returns
    -------
    Mounting, notes
        Its standard error leaves out skin that slides and a wrist that bends.

    Raises
    ------
    UsageError
        For an unknown method, or one the recording holds no evidence for.
    """
    notes: list[str] = []
    lever, hanging = evidence.lever, evidence.hanging
    place, lever_ok = (place, False) if lever is None else _judged(lever, place, notes)
    _check_method(method, evidence, hand_axis)
    if method == "auto":
        method = _best_method(evidence, lever_ok=lever_ok)

    vector = None
    if lever is not None and (lever_ok or method == "lever_arm"):
        vector = lever.vector_m
        if reach_m is not None:
            vector = vector * (reach_m / float(np.linalg.norm(vector)))
    if method == "twist" and evidence.twist is not None:
        line = _along_twist(evidence.twist, vector if lever_ok else None)
    elif method == "lever_arm" and lever is not None and vector is not None:
        if outward is None and place.faces_outward:
            outward = sensor_axis("+z")
            notes.append(
                f"nobody said how the sensor sits: it was taken to lie flat, {100 * place.height_m:.1f} cm above the "
                "bone, its z axis pointing away from the skin (--strap and --sensor-height-cm say it better)"
            )
        axis, height = _bone_line(vector, outward, sensor_height_m, place)
        line = _Line(axis, _arm_spread(lever, axis, height, tolerance, is_known=outward is not None))
    elif method == "hanging" and hanging is not None:
        line = _as_it_hangs(hanging, None if lever_ok else lever, notes)
    else:
        method = "stated"
        axis = sensor_axis(hand_axis or "+x")
        line = _Line(axis, _all_round(axis, STATED_SE_RAD))
        if hand_axis is None:
            notes.append(
                "nothing shows which way the arm lies in the sensor: its x axis was assumed to be the arm"
            )
    axis = line.axis / np.linalg.norm(line.axis)
    if vector is None and reach_m is not None:
        vector = reach_m * axis
    mounting = Mounting(
        method=method,
        arm_axis=axis,
        uncertainty_rad=math.sqrt(max(float(np.trace(line.covariance_rad2)) / 2, 0.0)),
        reach_m=None if vector is None else float(np.linalg.norm(vector)),
        lever_arm_m=vector,
        lever_se_m=_in_plane_se(lever) if lever is not None else UNFITTED_LEVER_SE_M,
        axis_covariance_rad2=line.covariance_rad2,
        wobble_rad=0.0 if lever is None else lever.wobble_rad,
        height_known=outward is not None,
    )
    return mounting, tuple(notes)


@dataclass(frozen=True, slots=True)
class _Line:
    """A direction of the arm in the sensor and its covariance, rad²."""

    axis: FloatArray
    covariance_rad2: FloatArray


def _check_method(method: str, evidence: ArmEvidence, hand_axis: str | None) -> None:
    """Raise where the recording holds no evidence for the way that was asked for."""
    if method not in METHODS:
        raise UsageError(f"{method!r} is not a way to find the mounting", "use one of " + ", ".join(METHODS))
    if method == "lever_arm" and evidence.lever is None:
        raise UsageError(
            "the recording holds too little rotation to fit the lever arm", "try --mounting hanging"
        )
    if method == "twist" and evidence.twist is None:
        raise UsageError(
            "no twist of the hanging forearm was found in the recording",
            "turn palm in, palm out a few times before lifting, or leave --mounting at auto",
        )
    if method == "stated" and hand_axis is None:
        raise UsageError("the mounting is said to be stated, but not how", "add --hand-axis, for example +x")


def _best_method(evidence: ArmEvidence, *, lever_ok: bool) -> str:
    if lever_ok:
        return "lever_arm"
    if evidence.twist is not None:
        return "twist"
    return "stated" if evidence.hanging is None else "hanging"


def _along_twist(twist: Twist, lever_m: FloatArray | None) -> _Line:
    """The forearm's own axis, turned to where the lever arm points, off the arm's line by half of the elbow's bend."""
    axis = twist.arm_axis
    points_back = lever_m is not None and float(axis @ lever_m) < 0
    return _Line(
        -axis if points_back else axis,
        _all_round(axis, math.hypot(twist.uncertainty_rad, ELBOW_SE_RAD)),
    )


def _as_it_hangs(hanging: FloatArray, refused: LeverArm | None, notes: list[str]) -> _Line:
    """The hanging pose, with room for a lever arm that was refused for its reach but points elsewhere."""
    spread = _all_round(hanging, HANGING_SE_RAD)
    against = None if refused is None or not _is_direction(refused) else _against(hanging, refused.vector_m)
    if against is None:
        off = (
            "as much as the arm hangs off the vertical (7–11° with a weight); angles are shifted by that, "
            "differences hardly"
        )
    else:
        spread = spread + np.outer(against, against)
        off = (
            f"{math.degrees(np.linalg.norm(against)):.0f}° if the movement is right, which turns about a point in "
            "another direction; all angles and speeds are that uncertain"
        )
    notes.append(f"the arm's direction was taken from the hanging pose, which is off by {off}")
    return _Line(hanging, spread)


def _judged(lever: LeverArm, place: Place, notes: list[str]) -> tuple[Place, bool]:
    """Whether the fitted lever arm can be one, and where on the arm the sensor then sits."""
    if not _is_direction(lever):
        notes.append("the movement does not turn about a steady shoulder: the lever arm was not used")
        return place, False
    if place.least_reach_m <= lever.reach_m <= place.most_reach_m:
        return place, True
    if (
        place is WRIST
        and UPPER_ARM.least_reach_m <= lever.reach_m < place.least_reach_m
        and lever.explained > CONVINCING
    ):
        notes.append(
            f"the sensor turns about a point {100 * lever.reach_m:.0f} cm away: taken as worn on the upper arm "
            "(then say --sensor-place upper-arm); if it sits on the wrist, the arm turned about the elbow (a curl): "
            "say --exercise unknown"
        )
        return UPPER_ARM, True
    if (
        place is UPPER_ARM
        and place.most_reach_m < lever.reach_m <= WRIST.most_reach_m
        and lever.explained > CONVINCING
    ):
        notes.append(
            f"the sensor turns about a point {100 * lever.reach_m:.0f} cm away: taken as worn on the wrist of a "
            "straight arm (then say --sensor-place wrist), not on the upper arm"
        )
        return WRIST, True
    above_elbow = place is WRIST and UPPER_ARM.least_reach_m <= lever.reach_m <= UPPER_ARM.most_reach_m
    notes.append(
        f"the fitted distance from shoulder to sensor ({100 * lever.reach_m:.0f} cm) is not an arm's: not used"
        + ("; if it sits above the elbow, say --sensor-place upper-arm" if above_elbow else "")
    )
    return place, False


def _is_direction(lever: LeverArm) -> bool:
    """Whether the movement turns about a point in a direction that is well seen, at whatever distance."""
    return lever.direction_se_rad <= MOST_LEVER_SE_RAD and lever.explained >= LEAST_EXPLAINED


def _against(axis: FloatArray, vector: FloatArray) -> FloatArray | None:
    """How far a direction lies from an axis, as a turn across it, rad; None where they agree as such poses do."""
    along = vector / np.linalg.norm(vector)
    apart = math.acos(max(-1.0, min(1.0, float(axis @ along))))
    across = along - (axis @ along) * axis
    length = float(np.linalg.norm(across))
    return None if apart <= 2 * HANGING_SE_RAD or length < 1e-9 else np.asarray(apart / length * across)


def _bone_line(
    vector: FloatArray, outward: FloatArray | None, height_m: float | None, place: Place
) -> tuple[FloatArray, FloatArray]:
    """Take the sensor's height above the bone out of the lever arm; also the covariance this leaves, (3, 3), m²."""
    along = vector / np.linalg.norm(vector)
    unknown = _all_round(along, place.unknown_height_m)
    if outward is None:
        return along, unknown
    height_se = 0.003
    if height_m is None:
        height_m, height_se = place.height_m, place.height_se_m
    away = outward - (outward @ along) * along
    length = float(np.linalg.norm(away))
    if length < 0.3:
        return along, unknown
    away = away / length
    line = vector - height_m * away
    beside = np.cross(along, away)
    roll_se = height_m * STRAP_ROLL_SE_RAD
    spread = np.outer(away, away) * height_se**2 + np.outer(beside, beside) * roll_se**2
    return line / np.linalg.norm(line), np.asarray(spread)


def _arm_spread(
    lever: LeverArm, axis: FloatArray, height_m2: FloatArray, tolerance: Tolerance, *, is_known: bool
) -> FloatArray:
    """Covariance of the arm's direction from the fit, the sensor's height and the sensor's scale errors."""
    across = np.zeros(3) if lever.across is None else lever.across
    across = across - (across @ axis) * axis
    across = across / max(float(np.linalg.norm(across)), 1e-9)
    in_plane = np.cross(across, axis)
    if lever.across is not None and is_known:
        # The arm lies in the plane it is raised in, wherever the sensor sits: a known height counts within it.
        within = np.outer(in_plane, in_plane)
        height_m2 = within @ height_m2 @ within
    metres = lever.covariance_m2 + height_m2 + np.outer(across, across) * lever.off_plane_m**2
    metres = metres + np.outer(in_plane, in_plane) * WITH_ARM_M**2
    level = np.eye(3) - np.outer(axis, axis)
    scale = tolerance.accelerometer
    return np.asarray(
        level @ metres @ level / lever.reach_m**2
        + np.outer(across, across) * (SCALE_ACROSS * scale) ** 2
        + np.outer(in_plane, in_plane) * (SCALE_IN_PLANE * scale) ** 2
    )


def _all_round(axis: FloatArray, se_rad: float) -> FloatArray:
    """Covariance of a direction that is equally uncertain all round."""
    return np.asarray((np.eye(3) - np.outer(axis, axis)) * se_rad**2)


def _in_plane_se(lever: LeverArm) -> float:
    values = np.linalg.eigvalsh(lever.full_covariance_m2)
    return math.sqrt(float(values[0] + values[1]))


def thumb_axis(arm_axis: FloatArray, outward: FloatArray, strap: str, side: str) -> FloatArray:
    """Direction of the thumb in sensor axes, across the arm.

    Parameters
    ----------
    arm_axis : ndarray, shape (3,)
        Shoulder → hand.
    outward : ndarray, shape (3,)
        Sensor axis that points away from the skin.
    strap : str
        ``"back"``, ``"inside"``, ``"thumb"`` or ``"little-finger"``.
    side : str

    Raises
    ------
    UsageError
        For an unknown strap place.

    Notes
    -----
    With the hand hanging and the thumb forward, a right hand's back faces right: thumb = back × distal; the
    left hand is its mirror image.
    """
    if strap not in STRAPS:
        raise UsageError(f"{strap!r} is not a place for the strap", "use one of " + ", ".join(STRAPS))
    away = outward - (outward @ arm_axis) * arm_axis
    away = away / np.linalg.norm(away)
    if strap in ("thumb", "little-finger"):
        return away if strap == "thumb" else -away
    back = away if strap == "back" else -away
    thumb = np.cross(back, arm_axis)
    return np.asarray(thumb if side == "right" else -thumb)
