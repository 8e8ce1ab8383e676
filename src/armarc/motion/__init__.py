"""From the raw stream to what the arm did: orientation, mounting, arm angles, shoulder path."""

from armarc.motion.angles import (
    angle_about,
    angle_from_down,
    axial_change,
    dominant_axis,
    elevation,
    elevation_rate,
    hand_rotation,
    horizontal_angle,
    horizontal_rate,
    plane_of_elevation,
    remove_drift,
    up_in_sensor,
)
from armarc.motion.filters import low_pass
from armarc.motion.kinematics import angular_acceleration, lever_acceleration
from armarc.motion.lever_arm import LeverArm, fit_lever_arm
from armarc.motion.mounting import choose_mounting, sensor_axis, thumb_axis
from armarc.motion.orientation import METHODS as FUSION_METHODS
from armarc.motion.orientation import estimate_orientation, fuse
from armarc.motion.shoulder import (
    integrate_cycle,
    path_diameter,
    path_diameters,
    shoulder_acceleration,
    spatial_medians,
)
from armarc.motion.twist import Twist, find_twist
from armarc.motion.types import ArmMotion, Mounting, Orientation

__all__ = [
    "FUSION_METHODS",
    "ArmMotion",
    "LeverArm",
    "Mounting",
    "Orientation",
    "Twist",
    "angle_about",
    "angle_from_down",
    "angular_acceleration",
    "axial_change",
    "choose_mounting",
    "dominant_axis",
    "elevation",
    "elevation_rate",
    "estimate_orientation",
    "find_twist",
    "fit_lever_arm",
    "fuse",
    "hand_rotation",
    "horizontal_angle",
    "horizontal_rate",
    "integrate_cycle",
    "lever_acceleration",
    "low_pass",
    "path_diameter",
    "path_diameters",
    "plane_of_elevation",
    "remove_drift",
    "sensor_axis",
    "shoulder_acceleration",
    "spatial_medians",
    "thumb_axis",
    "up_in_sensor",
]
