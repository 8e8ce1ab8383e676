"""Gyroscope scale and alignment from turns between rests.

Between two rests the turned readings must carry the gravity direction of the first into that of the second; that
shows the turn about every axis but the vertical one. A turn about the vertical needs its stated angle instead. Nine
unknowns (a full matrix), Gauss–Newton, with prior knowledge of what an uncalibrated gyroscope is: an axis nobody
turned keeps its usual uncertainty.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from armarc.errors import InputError
from armarc.recording import FloatArray
from armarc.sensor.calibration.poses import Move, Rest
from armarc.sensor.calibration.scatter import (
    CONVERGED,
    PRIOR_SCALE,
    ROUNDS,
    error_factor,
    unturned_scale_se,
)
from armarc.sensor.calibration.sphere import LEAST_KEPT, worst_outlier
from armarc.sensor.calibration.tipping import Tipping, linearised, residuals
from armarc.sensor.calibration.types import AccelerometerCalibration, GyroscopeCalibration

LEAST_TURN_RAD = math.radians(40)
LONGEST_TURN_S = 30.0
MOST_MISSING = 0.02
LEAST_TURNS = 3
PRIOR_CROSS = 0.01
LEAST_TURN_SE_RAD = math.radians(0.15)
"""Gyroscope non-linearity, sensitivity to acceleration, a sensor that settles on its cushion of air."""
STATED_SE_RAD = math.radians(0.5)
"""How well an edge against a table's edge repeats an angle (common practice, no source)."""
UPRIGHT = math.cos(math.radians(12))
STATED_TOLERANCE = 0.12
UNCALIBRATED_TILT_RAD = 0.035
"""Zero-g offset anywhere within ±60 mg, the widest consumer datasheets state."""
LEAST_BIAS_SE_RAD_S, MOST_SCALE = math.radians(0.1), 0.1
ROUGH_RAD = math.radians(0.3)
"""Turns that fit this well tighten the scale even where there was nothing to correct."""
IMPROVED = 0.9
"""Turns predicted from the others must be that much better than as delivered where gravity itself is uncertain."""
MOST_ERROR_RAD = math.radians(4)
WRONG_SIGN_RAD = math.radians(25)
SETTLED_SE = 0.006
"""An axis counts as turned when its scale is known that well: three times better than beforehand."""


class WrongColumns(InputError):
    """Gyroscope and accelerometer do not belong together: nothing of such a recording may be kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnsFound:
    """Usable turns, and why others were left out."""

    turns: tuple[Tipping, ...]
    left_out: tuple[tuple[float, str], ...]
    """Start, s, and reason."""

    def reasons(self) -> tuple[str, ...]:
        """Each reason once, with the number of turns it left out."""
        counts = Counter(reason for _, reason in self.left_out)
        return tuple(
            f"{count} turn{'s' if count > 1 else ''} left out: {reason}" for reason, count in counts.items()
        )


def usable_turns(
    moves: tuple[Move, ...],
    accelerometer: AccelerometerCalibration | None = None,
    *,
    stated_rad: float | None = None,
) -> TurnsFound:
    """Choose the turns that show the gyroscope's scale.

    Parameters
    ----------
    moves : tuple of Move
    accelerometer : AccelerometerCalibration or None
        Corrects the gravity directions; without one they are trusted less.
    stated_rad : float or None, rad
        Angle of every turn flat on the table (about the vertical).
    """
    turns: list[Tipping] = []
    left_out: list[tuple[float, str]] = []
    for move in moves:
        turn = _turn(move, accelerometer, stated_rad)
        if isinstance(turn, str):
            if turn:
                left_out.append((move.before.end_s, turn))
        else:
            turns.append(turn)
    return TurnsFound(turns=tuple(turns), left_out=tuple(left_out))


def _turn(move: Move, accelerometer: AccelerometerCalibration | None, stated: float | None) -> Tipping | str:
    bias = _weighted_bias(move.before, move.after)
    rate = move.angular_velocity_rad_s - bias
    speed = np.linalg.norm(rate, axis=1)
    path = float(speed.sum()) * move.step_s
    before, after = (_direction(rest, accelerometer) for rest in (move.before, move.after))
    if path < LEAST_TURN_RAD:
        return "" if path < LEAST_TURN_RAD / 3 else f"only {math.degrees(path):.0f}°, too small to tell"
    if move.missing_share > MOST_MISSING:
        return "samples are missing in it or at the end of the range"
    if move.duration_s > LONGEST_TURN_S:
        return f"it took {move.duration_s:.0f} s, longer than the bias is trusted for"
    up = before + after
    up = up / max(float(np.linalg.norm(up)), 1e-9)
    flat = float(before @ after) > UPRIGHT
    about = float((rate @ up).sum()) * move.step_s
    upright = flat and abs(about) > 0.95 * path
    bias_se = math.hypot(move.before.rate_se_rad_s, move.after.rate_se_rad_s) / 2
    pull_se = (
        UNCALIBRATED_TILT_RAD if accelerometer is None else float(accelerometer.offset_se_m_s2.max()) / 9.8
    )
    se = math.sqrt((bias_se * move.duration_s) ** 2 + 2 * pull_se**2 + LEAST_TURN_SE_RAD**2)
    known: float | None = None
    if upright:
        if stated is None:
            return "it is about the vertical, which gravity does not show; state its angle with --turn"
        times = max(1, round(abs(about) / stated))
        if abs(abs(about) / (times * stated) - 1) > STATED_TOLERANCE:
            return (
                f"the gyroscope says {math.degrees(about):+.0f}°, which is no multiple of the stated "
                f"{math.degrees(stated):.0f}°"
            )
        known = math.copysign(times * stated, about)
        se = math.hypot(se, STATED_SE_RAD)
    return Tipping(
        rate_rad_s=rate,
        step_s=move.step_s,
        gravity_before=before,
        gravity_after=after,
        stated_rad=known,
        turned_rad=abs(about) if upright else path,
        se_rad=se,
        noise_se_rad=bias_se * move.duration_s,
    )


def _weighted_bias(before: Rest, after: Rest) -> FloatArray:
    """Mean of both rests: a bias that drifts evenly is then right in the middle."""
    return np.asarray((before.angular_velocity_rad_s + after.angular_velocity_rad_s) / 2)


def _direction(rest: Rest, accelerometer: AccelerometerCalibration | None) -> FloatArray:
    force = rest.specific_force_m_s2
    if accelerometer is not None:
        force = accelerometer.matrix @ (force - accelerometer.offset_m_s2)
    return np.asarray(force / np.linalg.norm(force))


def fit_gyroscope(
    found: TurnsFound, rests: tuple[Rest, ...], *, levelled: bool = True
) -> GyroscopeCalibration:
    """Calibrate the gyroscope.

    Parameters
    ----------
    found : TurnsFound
    rests : tuple of Rest
    levelled : bool
        Whether the gravity directions were corrected; where not, only a clear improvement counts.

    Raises
    ------
    InputError
        Too few turns, a gyroscope that turns against the accelerometer, turns that do not fit, or an implausible
        scale; the message says which.
    """
    turns = found.turns
    if len(turns) < LEAST_TURNS:
        why = f" ({'; '.join(found.reasons())})" if found.left_out else ""
        raise InputError(
            f"{len(turns)} usable turn{'s' if len(turns) != 1 else ''}, {LEAST_TURNS} are the least{why}",
            "turn it by 90° or more from rest to rest, a few times about each axis, in under 10 s each",
        )
    _refuse_wrong_sign(turns)
    se = np.array([turn.se_rad for turn in turns])
    least = float(np.median([turn.noise_se_rad for turn in turns] / se))
    kept = np.ones(len(turns), bool)
    while True:
        chosen = tuple(turn for turn, keep in zip(turns, kept, strict=True) if keep)
        x, covariance, residual, leverage = _fit(chosen, se[kept], least)
        predicted = _sizes(residual) / np.maximum(1 - leverage, 0.05)
        worst = worst_outlier(predicted, se[kept])
        if worst is None or kept.sum() <= max(LEAST_TURNS, LEAST_KEPT * len(turns)):
            break
        kept[np.flatnonzero(kept)[worst]] = False
    before = _sizes(residuals(chosen, np.zeros(9)))
    scale_se = np.sqrt(np.diag(covariance)[[0, 4, 8]])
    settled = scale_se < SETTLED_SE
    if not settled.any():
        raise InputError(
            f"the turns are too rough: the best axis's scale stays uncertain by {100 * float(scale_se.min()):.1f} %",
            "turn it by 90° or more from rest to rest, several times about each axis, and keep the receiver close",
        )
    matrix = np.eye(3) + x.reshape(3, 3)
    # A scale the turns hardly show stays as delivered.
    matrix[np.diag_indices(3)] = np.where(settled, np.diag(matrix), 1.0)
    spreads = [rest.window_sd_rad_s for rest in rests]
    unturned = unturned_scale_se(np.diag(matrix)[settled] - 1, spreads)
    off_diagonal = [1, 2, 3, 5, 6, 7]
    calibration = GyroscopeCalibration(
        bias_rad_s=np.median([rest.angular_velocity_rad_s for rest in rests], axis=0),
        bias_se_rad_s=_bias_se(rests),
        matrix=matrix,
        scale_se=np.where(settled, scale_se, unturned),
        cross_se=float(np.sqrt(np.diag(covariance)[off_diagonal].mean())),
        turns=len(chosen),
        turned_axes=tuple(name for name, one in zip("xyz", settled, strict=True) if one),
        error_before_rad=_root_mean_square(before),
        error_after_rad=_root_mean_square(predicted),
        mean_turn_rad=float(np.mean([turn.turned_rad for turn in chosen])),
    )
    _refuse_poor(calibration, 1.0 if levelled else IMPROVED)
    return calibration


def best_factor(turns: tuple[Tipping, ...]) -> float:
    """The one factor for all gyroscope readings with which the turns end where gravity says."""
    seen = [turn for turn in turns if turn.stated_rad is None]
    if not seen:
        return 1.0

    def left(factor: float) -> float:
        x = np.diag(np.full(3, factor - 1.0)).ravel()
        return float(np.median(_sizes(residuals(seen, x))))

    tried = np.geomspace(0.2, 5.0, 162)
    near = float(tried[int(np.argmin([left(float(one)) for one in tried]))])
    closer = near * np.linspace(0.98, 1.02, 21)
    return float(closer[int(np.argmin([left(float(one)) for one in closer]))])


def _bias_se(rests: tuple[Rest, ...]) -> float:
    means = np.array([rest.angular_velocity_rad_s for rest in rests])
    return max(LEAST_BIAS_SE_RAD_S, float(means.std(axis=0).max()))


def _refuse_wrong_sign(turns: tuple[Tipping, ...]) -> None:
    """Gravity must go where the gyroscope says; if it goes the other way, an axis is mirrored."""
    signs = np.array([[sx, sy, sz] for sx in (1, -1) for sy in (1, -1) for sz in (1, -1)], dtype=float)
    seen = [turn for turn in turns if turn.stated_rad is None]
    if not seen:
        return
    errors = []
    for sign in signs:
        x = np.diag(sign - 1.0).ravel()
        errors.append(_root_mean_square(_sizes(residuals(seen, x))))
    best = int(np.argmin(errors))
    if errors[0] > WRONG_SIGN_RAD and errors[best] < 0.5 * errors[0]:
        turned = ", ".join(name for name, sign in zip("xyz", signs[best], strict=True) if sign < 0)
        raise WrongColumns(
            f"the gyroscope turns the wrong way round about {turned} against the accelerometer: a mirrored "
            "axis",
            "check the order and signs of the columns",
        )
    if errors[0] > WRONG_SIGN_RAD:
        raise WrongColumns(
            f"gyroscope and accelerometer disagree by {math.degrees(errors[0]):.0f}° over a turn",
            "check the units and the order of the columns",
        )


def _refuse_poor(found: GyroscopeCalibration, improved: float) -> None:
    off = float(np.abs(np.diag(found.matrix) - 1).max())
    if off > MOST_SCALE:
        raise InputError(
            f"the result is implausible: the gyroscope's scale is off by {100 * off:.0f} %",
            "check the units of the recording, and the stated angle of the turns",
        )
    if found.error_after_rad > max(improved * found.error_before_rad, ROUGH_RAD):
        raise InputError(
            f"the turns are too rough: ±{math.degrees(found.error_before_rad):.1f}° as delivered and "
            f"±{math.degrees(found.error_after_rad):.1f}° corrected",
            "turn in one go along an edge, let go for two seconds in between, and keep the receiver close",
        )
    if found.error_after_rad > MOST_ERROR_RAD:
        raise InputError(
            f"the turns do not fit together: {math.degrees(found.error_after_rad):.1f}° are left over per turn",
            "turn along an edge, let it lie still two seconds before and after, stay below the end of the range, and "
            "lay it on all six sides as well: an accelerometer nobody calibrated misleads by degrees",
        )


def _fit(
    turns: tuple[Tipping, ...], se: FloatArray, least: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Change of the matrix from identity (9, row by row), covariance, residuals (3 for each turn), leverage.

    The residuals tell whether the errors were supposed too small or too large: the fit is made again with better
    ones, so that prior knowledge gets the weight it deserves.
    """
    seen = np.array([2.0 if turn.stated_rad is None else 1.0 for turn in turns])
    prior = np.full(9, PRIOR_CROSS)
    prior[[0, 4, 8]] = PRIOR_SCALE
    x: FloatArray = np.zeros(9)
    supposed, factor = se, 1.0
    for _ in range(ROUNDS):
        se = supposed * factor
        weight = 1 / np.repeat(se, 3)
        x = _minimum(turns, weight, prior, x)
        residual, jacobian = linearised(turns, x)
        scaled = jacobian * weight[:, None]
        covariance = np.asarray(np.linalg.inv(scaled.T @ scaled + np.diag(prior**-2.0)))
        hat = np.einsum("ij,jk,ik->i", scaled, covariance, scaled).reshape(-1, 3)
        scaled_squares = float(((residual / np.repeat(supposed, 3)) ** 2).sum())
        before, factor = factor, error_factor(scaled_squares, float(seen.sum() - hat.sum()), least)
        if abs(factor / before - 1) < CONVERGED:
            break
    return x, covariance, residual, np.asarray(np.minimum(hat.sum(axis=1) / seen, 1.0))


def _minimum(turns: tuple[Tipping, ...], weight: FloatArray, prior: FloatArray, x: FloatArray) -> FloatArray:
    for _ in range(8):
        residual, jacobian = linearised(turns, x)
        rows = np.concatenate([jacobian * weight[:, None], np.diag(1 / prior)])
        wanted = np.concatenate([-residual * weight, -x / prior])
        step, *_ = np.linalg.lstsq(rows, wanted, rcond=None)
        x = np.asarray(x + step, dtype=np.float64)
        if float(np.abs(step).max()) < 1e-9:
            break
    return x


def _sizes(residual: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.norm(residual.reshape(-1, 3), axis=1))


def _root_mean_square(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))
