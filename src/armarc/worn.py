"""How the sensor is worn, as somebody stated it, in sensor axes."""

from __future__ import annotations

import math

import numpy as np

from armarc.choices import Choices
from armarc.motion import ArmMotion, LeverArm, sensor_axis, thumb_axis
from armarc.motion.forearm import Forearm, possible_forearms
from armarc.motion.place import is_upper_arms, place_of
from armarc.options import SIDES
from armarc.recording import FloatArray

MOST_OFF_RAD = math.radians(40)
"""A sensor axis farther off the arm than this lies along no forearm, whatever was stated."""


def outward_axis(choices: Choices) -> FloatArray | None:
    """Sensor axis that points away from the skin: z for a flat sensor whose strap place was stated."""
    return None if choices.strap is None else sensor_axis("+z")


def height_over_bone(choices: Choices) -> FloatArray | None:
    """From the bone to the sensor, sensor axes, m; None where the strap's place was not stated."""
    outward = outward_axis(choices)
    place = place_of(choices.exercise.sensor_place, choices.exercise.coordinate)
    if outward is None and not place.faces_outward:
        return None
    height_m = place.height_m if choices.sensor_height_m is None else choices.sensor_height_m
    return height_m * (sensor_axis("+z") if outward is None else outward)


def hand_axes(choices: Choices) -> FloatArray | None:
    """Sensor axes of which one lies along the forearm, shape (k, 3), as stated; None where nobody said so."""
    if choices.hand_axis is not None:
        return sensor_axis(choices.hand_axis)[None]
    # A strap holds a flat sensor with its z axis away from the skin.
    return None if choices.strap is None else np.concatenate([np.eye(3)[:2], -np.eye(3)[:2]])


def forearms_of(choices: Choices, motion: ArmMotion, lever: LeverArm | None) -> tuple[Forearm, ...]:
    """Ways the sensor may sit on the forearm: first as somebody stated it, then as it may sit if nobody did.

    None for an angle that is no elevation, and none for a sensor that sits above the elbow or, where nothing was
    stated about its strap, seems to: an elbow that bends in the plane of the raise makes an arm seem as short.
    """
    exercise = choices.exercise
    if exercise.coordinate != "elevation" or exercise.sensor_place != "wrist":
        return ()
    stated = _stated(choices, motion)
    if not stated and is_upper_arms(motion.mounting.reach_m):
        return ()
    return (*stated, *_possible(choices, motion, lever))


def _stated(choices: Choices, motion: ArmMotion) -> tuple[Forearm, ...]:
    axes, outward, arm = hand_axes(choices), outward_axis(choices), motion.mounting.arm_axis
    if axes is None or outward is None or choices.strap is None:
        return ()
    hand = axes[int(np.argmax(axes @ arm))]
    if float(hand @ arm) < math.cos(MOST_OFF_RAD) or abs(float(hand @ outward)) > 0.5:
        return ()
    place = place_of(choices.exercise.sensor_place, choices.exercise.coordinate)
    return (
        Forearm(
            hand=hand,
            thumb=thumb_axis(hand, outward, choices.strap, motion.side),
            outward=outward,
            height_m=place.height_m if choices.sensor_height_m is None else choices.sensor_height_m,
            reach_m=choices.reach_m,
        ),
    )


def _possible(choices: Choices, motion: ArmMotion, lever: LeverArm | None) -> tuple[Forearm, ...]:
    if lever is None or lever.across is None:
        return ()
    raising = np.maximum(motion.angle_rate_rad_s, 0.0) @ motion.angular_velocity_rad_s
    hinge = lever.across if float(lever.across @ raising) > 0 else -lever.across
    hand = None if choices.hand_axis is None else sensor_axis(choices.hand_axis)
    arm, plane_rad = motion.mounting.arm_axis, choices.exercise.plane_rad or 0.0
    return tuple(
        way
        for side in ((motion.side,) if choices.side_said else SIDES)
        for way in possible_forearms(arm, hinge, plane_rad, side, hand=hand, reach_m=choices.reach_m)
    )
