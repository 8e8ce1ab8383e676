"""Calibration of the sensor itself: fitted, kept for each sensor, applied to its recordings."""

from armarc.sensor.calibration.calibrate import CalibrationRun, calibrate
from armarc.sensor.calibration.poses import Move, Rest, rests_and_moves
from armarc.sensor.calibration.sphere import fit_accelerometer
from armarc.sensor.calibration.store import (
    find_calibration,
    forget_calibration,
    load_calibrations,
    save_calibration,
)
from armarc.sensor.calibration.turns import fit_gyroscope, usable_turns
from armarc.sensor.calibration.types import (
    AccelerometerCalibration,
    Calibration,
    GyroscopeCalibration,
    apply_calibration,
    correct_samples,
    gyroscope_scale_se,
    tolerance_of,
)

__all__ = [
    "AccelerometerCalibration",
    "Calibration",
    "CalibrationRun",
    "GyroscopeCalibration",
    "Move",
    "Rest",
    "apply_calibration",
    "calibrate",
    "correct_samples",
    "find_calibration",
    "fit_accelerometer",
    "fit_gyroscope",
    "forget_calibration",
    "gyroscope_scale_se",
    "load_calibrations",
    "rests_and_moves",
    "save_calibration",
    "tolerance_of",
    "usable_turns",
]
