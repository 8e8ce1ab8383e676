"""Accelerometer offset, scale and cross-axis from rests: every reading must lie on the sphere of gravity.

The readings of any poses are turned into true specific force by ``matrix @ (reading − offset)`` with a symmetric
matrix; its norm has to be gravity. Nine unknowns, least squares by Gauss–Newton, with weak prior knowledge of what
such sensors are (zero-g offset, scale and cross-axis of consumer parts), so that what the poses do not show stays at
its usual value with its usual uncertainty instead of running away.
"""

from __future__ import annotations

import math

import numpy as np

from armarc.errors import InputError
from armarc.recording import FloatArray
from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.calibration.poses import Rest
from armarc.sensor.calibration.scatter import CONVERGED, ROUNDS, error_factor
from armarc.sensor.calibration.types import AccelerometerCalibration

LEAST_POSES = 6
POSE_APART_RAD = math.radians(20)
PRIOR_OFFSET_M_S2 = 0.6
"""±60 mg, the widest zero-g offset consumer datasheets state."""
PRIOR_SCALE = 0.02
PRIOR_CROSS = 0.01
"""1 % cross-axis sensitivity, common in datasheets."""
LEAST_REST_SE_M_S2 = 0.005
"""Half a mg: what a table, a bend of the case and non-linearity leave."""
MOST_OFFSET_M_S2 = 1.5
MOST_SCALE = 0.08
MOST_OFFSET_SE_M_S2 = 0.05
MOST_SPREAD_M_S2 = 0.12
ROUGH_M_S2 = 0.02
"""Poses that fit this well say how good the sensor is even where there was nothing to correct."""
OUTLIER = 5.0
LEAST_KEPT = 0.8
"""Outliers are left out one at a time, down to this share."""
_CROSS = ((0, 1), (0, 2), (1, 2))


def fit_accelerometer(
    rests: tuple[Rest, ...], *, gravity_m_s2: float = STANDARD_GRAVITY_M_S2
) -> AccelerometerCalibration:
    """Calibrate the accelerometer from rests in different poses.

    Parameters
    ----------
    rests : tuple of Rest
        Six poses or more, on all sides.
    gravity_m_s2 : float, m/s²
        Local gravity; the standard one is right within 0.3 % anywhere, which only the common scale feels.

    Raises
    ------
    InputError
        Too few or too similar poses, readings that lie on no sphere, or implausible results; the message says which.
    """
    if not rests:
        raise InputError(
            "no rest was found: the sensor was moving throughout",
            "lay it on a table on each of its six sides, two seconds each",
        )
    readings = np.array([rest.specific_force_m_s2 for rest in rests])
    se = np.array([math.hypot(rest.force_se_m_s2, LEAST_REST_SE_M_S2) for rest in rests])
    least = float(np.median([rest.force_se_m_s2 for rest in rests] / se))
    poses = distinct_poses(readings)
    if poses < LEAST_POSES:
        raise InputError(
            f"{poses} different pose{'s' if poses != 1 else ''} in {len(rests)} rest{'s' if len(rests) != 1 else ''}: "
            f"{LEAST_POSES} are the least",
            f"lay it on each of its six sides, two seconds each{_missing_sides(readings)}",
        )
    kept = np.ones(len(rests), bool)
    while True:
        parameters, covariance, residual, leverage = _fit(readings[kept], se[kept], gravity_m_s2, least)
        predicted = residual / np.maximum(1 - leverage, 0.05)
        worst = worst_outlier(predicted, se[kept])
        if worst is None or kept.sum() <= max(LEAST_POSES + 1, LEAST_KEPT * len(rests)):
            break
        kept[np.flatnonzero(kept)[worst]] = False
    calibration = AccelerometerCalibration(
        offset_m_s2=parameters[:3],
        matrix=_matrix(parameters),
        offset_se_m_s2=np.sqrt(np.diag(covariance)[:3]),
        scale_se=np.sqrt(np.diag(covariance)[3:6]),
        cross_se=float(np.sqrt(np.diag(covariance)[6:].mean())),
        poses=distinct_poses(readings[kept]),
        rests=int(kept.sum()),
        spread_before_m_s2=_root_mean_square(np.linalg.norm(readings[kept], axis=1) - gravity_m_s2),
        spread_after_m_s2=_root_mean_square(predicted),
        gravity_m_s2=gravity_m_s2,
    )
    _refuse_poor(calibration, readings, residual)
    return calibration


def _refuse_poor(found: AccelerometerCalibration, readings: FloatArray, residual: FloatArray) -> None:
    worst = float(np.abs(found.offset_m_s2).max())
    scale = float(np.abs(np.diag(found.matrix) - 1).max())
    if worst > MOST_OFFSET_M_S2 or scale > MOST_SCALE:
        raise InputError(
            f"the result is implausible: offset up to {worst:.2f} m/s², scale off by up to {100 * scale:.0f} %",
            "check the units and the columns of the recording",
        )
    left = _root_mean_square(residual)
    if left > MOST_SPREAD_M_S2:
        raise InputError(
            f"gravity still differs by {left:.2f} m/s² from pose to pose: the rests lie on no sphere",
            "let go of the sensor in every pose, and keep off the table",
        )
    if found.spread_after_m_s2 > max(found.spread_before_m_s2, ROUGH_M_S2):
        raise InputError(
            f"it improves nothing: gravity differs by {found.spread_before_m_s2:.3f} m/s² from pose to pose as "
            f"delivered and by {found.spread_after_m_s2:.3f} m/s² corrected",
            "let go of the sensor for two seconds in every pose, and use more poses",
        )
    if float(found.offset_se_m_s2.max()) > MOST_OFFSET_SE_M_S2:
        axis = "xyz"[int(found.offset_se_m_s2.argmax())]
        raise InputError(
            f"the poses are too alike: the offset of axis {axis} stays uncertain by "
            f"{float(found.offset_se_m_s2.max()):.2f} m/s²",
            f"lay it on each of its six sides{_missing_sides(readings)}",
        )


def distinct_poses(readings: FloatArray) -> int:
    """Number of poses that are `POSE_APART_RAD` or more from each other, taken in turn."""
    directions = readings / np.linalg.norm(readings, axis=1)[:, None]
    chosen: list[FloatArray] = []
    for direction in directions:
        if all(float(direction @ other) < math.cos(POSE_APART_RAD) for other in chosen):
            chosen.append(direction)
    return len(chosen)


def worst_outlier(predicted: FloatArray, se: FloatArray) -> int | None:
    """Place of the value that is off the most, each predicted from all the others, if that is beyond chance."""
    size = np.abs(predicted)
    rough = 1.4826 * float(np.median(size))
    worst = int(size.argmax())
    return worst if size[worst] > OUTLIER * max(rough, float(se[worst])) else None


def _missing_sides(readings: FloatArray) -> str:
    directions = readings / np.linalg.norm(readings, axis=1)[:, None]
    sides = [
        f"{sign}{name}"
        for k, name in enumerate("xyz")
        for sign, way in (("+", 1.0), ("-", -1.0))
        if float((way * directions[:, k]).max()) < math.cos(math.radians(40))
    ]
    return f"; missing: {', '.join(sides)} up" if sides else ""


def _matrix(parameters: FloatArray) -> FloatArray:
    matrix = np.diag(1.0 + parameters[3:6])
    for value, (i, j) in zip(parameters[6:], _CROSS, strict=True):
        matrix[i, j] = matrix[j, i] = value
    return matrix


def _fit(
    readings: FloatArray, se: FloatArray, gravity: float, least: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Parameters, their covariance, residuals of the norm, and each residual's leverage.

    The residuals tell whether the errors were supposed too small or too large: the fit is made again with better
    ones, so that prior knowledge gets the weight it deserves.
    """
    prior = np.repeat([PRIOR_OFFSET_M_S2, PRIOR_SCALE, PRIOR_CROSS], 3)
    x: FloatArray = np.zeros(9)
    supposed, factor = se, 1.0
    for _ in range(ROUNDS):
        se = supposed * factor
        x = _minimum(readings, se, gravity, prior, x)
        norm, jacobian = _linearised(readings, x)
        residual = np.asarray(norm - gravity)
        information = jacobian.T @ (jacobian / se[:, None] ** 2) + np.diag(prior**-2.0)
        covariance = np.asarray(np.linalg.inv(information))
        leverage = np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian) / se**2
        before, squares = factor, float((residual**2 / supposed**2).sum())
        factor = error_factor(squares, float((1 - leverage).sum()), least)
        if abs(factor / before - 1) < CONVERGED:
            break
    return x, covariance, residual, np.asarray(leverage)


def _minimum(
    readings: FloatArray, se: FloatArray, gravity: float, prior: FloatArray, x: FloatArray
) -> FloatArray:
    for _ in range(20):
        norm, jacobian = _linearised(readings, x)
        rows = np.concatenate([jacobian / se[:, None], np.diag(1 / prior)])
        wanted = np.concatenate([(gravity - norm) / se, -x / prior])
        step, *_ = np.linalg.lstsq(rows, wanted, rcond=None)
        x = np.asarray(x + step, dtype=np.float64)
        if float(np.abs(step / prior).max()) < 1e-10:
            break
    return x


def _linearised(readings: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    matrix = _matrix(x)
    centred = readings - x[:3]
    true = centred @ matrix.T
    norm = np.linalg.norm(true, axis=1)
    unit = true / norm[:, None]
    columns = [-(unit @ matrix), unit * centred]
    cross = [unit[:, i] * centred[:, j] + unit[:, j] * centred[:, i] for i, j in _CROSS]
    return np.asarray(norm), np.concatenate([*columns, np.stack(cross, axis=1)], axis=1)


def _root_mean_square(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))
