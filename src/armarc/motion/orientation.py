"""Orientation of the sensor from its gyroscope and accelerometer: one door to every method."""

from __future__ import annotations

from functools import partial
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armarc.errors import InputError, UsageError
from armarc.motion.filters import low_pass
from armarc.motion.kinematics import angular_acceleration
from armarc.motion.smoother import Priors, Smoothed, smooth
from armarc.motion.strapdown import DeadReckoning, integrate, oriented
from armarc.motion.textbook import TEXTBOOK_FILTERS, TILT_SE_RAD, run_textbook_filter
from armarc.motion.types import Orientation
from armarc.recording import FloatArray

Sampling = Literal["means", "instants"]

METHODS: tuple[str, ...] = ("smoother", *TEXTBOOK_FILTERS)
"""Names accepted by ``method``: the smoother of this package, then textbook filters for comparison."""

NODE_RATE_HZ = 12.5
"""Rate at which tilt errors are estimated; faster nodes change nothing."""

LEVER_PRIORS = Priors(
    tilt_walk_rad=float(np.radians(0.1)), velocity_m_s=0.05, raising_velocity_m_s=0.15, offset_m_s2=0.2
)
"""With the lever arm's acceleration removed what is left is the shoulder's, and the shoulder goes nowhere."""


def estimate_orientation(
    angular_velocity_rad_s: ArrayLike,
    specific_force_m_s2: ArrayLike,
    rate_hz: float,
    method: str = "smoother",
) -> FloatArray:
    """Orientation of the sensor at every sample.

    Parameters
    ----------
    angular_velocity_rad_s : array_like, shape (n, 3), rad/s
        Sensor axes, bias not removed.
    specific_force_m_s2 : array_like, shape (n, 3), m/s²
        Sensor axes; at rest it reads +g upward.
    rate_hz : float, Hz
    method : str
        One of :data:`METHODS`.

    Returns
    -------
    ndarray, shape (n, 4)
        Unit quaternions, Hamilton, scalar first, sensor → global (z up, heading arbitrary).

    Raises
    ------
    UsageError
        Unknown method.
    InputError
        Shapes, values or rate that cannot be used.
    """
    return fuse(angular_velocity_rad_s, specific_force_m_s2, rate_hz, method=method).quaternion


def fuse(
    angular_velocity_rad_s: ArrayLike,
    specific_force_m_s2: ArrayLike,
    rate_hz: float,
    *,
    method: str = "smoother",
    missing: ArrayLike | None = None,
    lever_arm_m: ArrayLike | None = None,
    sampling: Sampling = "means",
) -> Orientation:
    """Orientation of the sensor with the gyroscope's bias and standard errors.

    Parameters
    ----------
    angular_velocity_rad_s : array_like, shape (n, 3), rad/s
    specific_force_m_s2 : array_like, shape (n, 3), m/s²
    rate_hz : float, Hz
    method : str
        One of :data:`METHODS`.
    missing : array_like of bool, shape (n,), or None
        Samples that were filled in over gaps; only the smoother makes use of it.
    lever_arm_m : array_like, shape (3,), m, or None
        Vector from the nearly fixed shoulder to the sensor in sensor axes; its acceleration is then removed
        from the specific force. Only the smoother makes use of it.
    sampling : "means" or "instants"
        What a gyroscope sample is: the mean over the interval that ends at its time stamp, as sensors that
        filter and decimate deliver it (the orientation at the stamp is then half an interval ahead of the
        sample), or the value at the stamp. It matters by half a sampling interval of movement: 0.3° at 60 °/s
        and 100 Hz. Only the smoother makes use of it.

    Returns
    -------
    Orientation
        Its ``tilt_se_rad`` is that of the estimate as such. Without a lever arm the accelerometer's zero-g offset
        comes on top, which nothing in the movement shows: 0.6° for each 10 mg.

    Raises
    ------
    UsageError
        Unknown method or sampling.
    InputError
        Shapes, values or rate that cannot be used.
    """
    if method not in METHODS:
        raise UsageError(f"unknown fusion method {method!r}", hint=f"choose one of {', '.join(METHODS)}")
    if sampling not in get_args(Sampling):
        raise UsageError(f"unknown sampling {sampling!r}", hint="choose 'means' or 'instants'")
    if method != "smoother":
        omega, force, _ = _checked(angular_velocity_rad_s, specific_force_m_s2, rate_hz, missing)
        return Orientation(
            quaternion=run_textbook_filter(method, omega, force, rate_hz),
            gyroscope_bias_rad_s=np.zeros(3),
            bias_se_rad_s=Priors().bias_rad_s,
            tilt_se_rad=float(TILT_SE_RAD),
            method=method,
        )
    reckoning = dead_reckoning(
        angular_velocity_rad_s,
        specific_force_m_s2,
        rate_hz,
        missing=missing,
        with_lever=lever_arm_m is not None,
    )
    return fuse_reckoned(reckoning, lever_arm_m=lever_arm_m, sampling=sampling)[0]


def dead_reckoning(
    angular_velocity_rad_s: ArrayLike,
    specific_force_m_s2: ArrayLike,
    rate_hz: float,
    *,
    missing: ArrayLike | None = None,
    with_lever: bool = True,
    arm_hz: float | None = None,
) -> DeadReckoning:
    """The part of the fusion that neither a lever arm nor a zero-g offset changes, for :func:`fuse_reckoned`.

    Parameters and errors as in :func:`fuse`; `with_lever` prepares for fusions with a lever arm. Turning faster than
    `arm_hz` is that of a loose strap about the wrist: no lever carries it. At 7 Hz and 1° it would come back, squared,
    as a steady pull of 0.1–0.2 m/s² towards the shoulder, which tilts the vertical by up to a degree.
    """
    omega, force, gone = _checked(angular_velocity_rad_s, specific_force_m_s2, rate_hz, missing)
    arm_rate = omega if arm_hz is None else low_pass(omega, rate_hz, arm_hz)
    return integrate(
        omega,
        force,
        rate_hz,
        max(round(rate_hz / NODE_RATE_HZ), 1),
        arm_rate_rad_s=arm_rate if with_lever else None,
        angular_acceleration_rad_s2=angular_acceleration(arm_rate, rate_hz) if with_lever else None,
        missing=gone,
    )


def fuse_reckoned(
    reckoning: DeadReckoning,
    *,
    lever_arm_m: ArrayLike | None = None,
    offset_m_s2: FloatArray | None = None,
    sampling: Sampling = "means",
    begun: Smoothed | None = None,
) -> tuple[Orientation, Smoothed]:
    """Smooth a dead reckoning; otherwise like :func:`fuse`.

    Parameters
    ----------
    reckoning : DeadReckoning
        Made with a lever where `lever_arm_m` is given.
    lever_arm_m : array_like, shape (3,), m, or None
    offset_m_s2 : ndarray, shape (3,), m/s², or None
        Zero-g offset to take out of the specific force.
    sampling : "means" or "instants"
    begun : Smoothed or None
        What an earlier fusion of the same recording found: one with a lever arm starts from there.

    Returns
    -------
    Orientation
    Smoothed
        To begin the next one with.
    """
    lever_arm = None if lever_arm_m is None else _checked_lever(lever_arm_m)
    return _smoothed(reckoning, lever_arm, offset_m_s2, sampling, begun)


def _smoothed(
    reckoning: DeadReckoning,
    lever_arm: FloatArray | None,
    offset_m_s2: FloatArray | None,
    sampling: Sampling,
    begun: Smoothed | None = None,
) -> tuple[Orientation, Smoothed]:
    if lever_arm is None:
        state = smooth(reckoning.summary(offset_m_s2), Priors())
    else:
        # The lever's acceleration depends on the bias, quadratically: an earlier fusion or a first round finds it.
        smoothed = partial(smooth, priors=LEVER_PRIORS, lever_arm_m=lever_arm)
        if begun is None:
            begun = smoothed(reckoning.summary(offset_m_s2, np.zeros(3)), max_rounds=1)
        state = smoothed(reckoning.summary(offset_m_s2, begun.bias_rad_s), start=begun.correction)
    middle_bias = state.bias_rad_s if sampling == "instants" else None
    quaternion = oriented(reckoning, state.correction, middle_bias_rad_s=middle_bias)
    return (
        Orientation(
            quaternion=quaternion,
            gyroscope_bias_rad_s=state.bias_rad_s,
            bias_se_rad_s=float(np.sqrt(np.trace(state.bias_covariance) / 3.0)),
            tilt_se_rad=state.tilt_se_rad,
            method="smoother",
        ),
        state,
    )


def _checked_lever(lever_arm_m: ArrayLike) -> FloatArray:
    lever_arm = np.asarray(lever_arm_m, dtype=np.float64)
    if lever_arm.shape != (3,) or not np.all(np.isfinite(lever_arm)):
        raise InputError(
            "the lever arm must be three finite numbers", hint="give x, y, z in metres, sensor axes"
        )
    return lever_arm


def _checked(
    angular_velocity_rad_s: ArrayLike,
    specific_force_m_s2: ArrayLike,
    rate_hz: float,
    missing: ArrayLike | None,
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_] | None]:
    if not (np.isfinite(rate_hz) and rate_hz > 0):
        raise InputError(f"the sampling rate is {rate_hz} Hz", hint="give a positive rate in Hz")
    omega = np.ascontiguousarray(angular_velocity_rad_s, dtype=np.float64)
    force = np.ascontiguousarray(specific_force_m_s2, dtype=np.float64)
    for name, array in (("angular velocity", omega), ("specific force", force)):
        if array.ndim != 2 or array.shape[1] != 3:
            raise InputError(
                f"the {name} has shape {array.shape}",
                hint="give one row per sample with x, y and z: shape (n, 3)",
            )
        if not np.isfinite(array).all():
            bad = ~np.isfinite(array).all(axis=1)
            raise InputError(
                f"the {name} is not finite in {int(bad.sum())} samples, first in sample {int(bad.argmax())}",
                hint="fill the gaps and mark those samples as missing",
            )
    if len(omega) != len(force):
        raise InputError(
            f"{len(omega)} samples of angular velocity but {len(force)} of specific force",
            hint="give both for the same instants",
        )
    if len(omega) < 2:
        raise InputError(
            f"{len(omega)} samples are too few for an orientation", hint="give two samples at least"
        )
    if missing is None:
        return omega, force, None
    gone = np.asarray(missing, dtype=np.bool_)
    if gone.shape != (len(omega),):
        raise InputError(
            f"the mark of missing samples has shape {gone.shape}",
            hint=f"give one per sample: ({len(omega)},)",
        )
    return omega, force, gone if gone.any() else None
