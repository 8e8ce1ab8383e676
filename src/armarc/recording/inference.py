"""Units of acceleration and angular velocity: stated, named, or told by gravity."""

from __future__ import annotations

import math

import numpy as np

from armarc.errors import FormatError, UnitError
from armarc.recording.consistency import Smear, gravity_smear, gravity_spread, tilt_travel
from armarc.recording.types import STANDARD_GRAVITY_M_S2, FloatArray
from armarc.recording.units import SCALE, scale_of

_LEAST_TRAVEL = 0.15
_SLOW_LIFT_DEG_S = 20.0
_FASTEST_ARM_RAD_S = 70.0
_FASTEST_DEG_S = 5000.0
_GRAVITY_TOLERANCE = 0.25
_NO_GRAVITY_HINT = (
    "record the accelerometer including gravity; without it nobody can tell which way the arm points"
)


def acceleration_unit(
    acceleration: FloatArray, *, stated: str | None, named: str | None, file: str, column: str
) -> tuple[str, list[str]]:
    """Unit of the accelerometer and why.

    At rest an accelerometer reads standard gravity (9.80665 m/s², CGPM 1901), and over a set its median
    magnitude stays near it.

    Raises
    ------
    UnitError
        The unit cannot be told, or the stated one contradicts gravity.
    FormatError
        Gravity is missing from the data.
    """
    step = max(1, len(acceleration) // 200_000)
    x, y, z = acceleration[::step].T
    norm = np.sqrt(x * x + y * y + z * z)
    median = float(np.median(norm))
    if not median > 0:
        raise FormatError("the accelerometer reads zero", "check the sensor", file=file, column=column)
    fitting = [
        unit
        for unit in ("m/s2", "g", "mg")
        if abs(median * SCALE["acceleration"][unit] / STANDARD_GRAVITY_M_S2 - 1.0) < _GRAVITY_TOLERANCE
    ]
    unit = stated or named
    if unit is not None:
        ratio = median * scale_of(unit, "acceleration") / STANDARD_GRAVITY_M_S2
        if 0.5 < ratio < 2.0:
            return unit, []
        if stated is None and not fitting and ratio < 0.5 and _looks_gravity_free(norm):
            raise FormatError(
                f"the acceleration is only {median:.3g} {unit} at its median: gravity was removed from it",
                _NO_GRAVITY_HINT,
                file=file,
                column=column,
            )
        better = f"; in {fitting[0]} it would fit" if fitting else ""
        advice = (
            f"state --units acceleration={fitting[0]}"
            if fitting
            else "state the true unit: --units acceleration=…"
        )
        raise UnitError(
            f"the accelerometer's median of {median:.4g} {unit} is {ratio:.2g} times gravity{better}",
            advice,
            file=file,
            column=column,
        )
    if fitting:
        return fitting[0], [f"acceleration is in {fitting[0]}: its median magnitude is {median:.4g}"]
    if _looks_gravity_free(norm):
        raise FormatError(
            f"the acceleration has a median of only {median:.3g} and falls to "
            f"{float(np.quantile(norm, 0.05)):.2g}: "
            "gravity was removed from it",
            _NO_GRAVITY_HINT,
            file=file,
            column=column,
        )
    counts = 2.0 ** round(np.log2(median)) if median > 200 else 0.0
    advice = "state it: --units acceleration=m/s2 (or g, or mg)"
    if counts:
        advice = f"if these are raw counts, state them per g, for example --units acceleration=g/{counts:.0f}"
    raise UnitError(
        f"the unit of acceleration cannot be told: the median magnitude is {median:.4g}, gravity would be "
        "9.81 m/s², 1 g or 1000 mg",
        advice,
        file=file,
        column=column,
    )


def _looks_gravity_free(norm: FloatArray) -> bool:
    """Without gravity the magnitude falls near zero at rest; with it, it stays near one value."""
    return bool(np.quantile(norm, 0.05) < 0.3 * np.median(norm))


def angular_velocity_unit(
    time_s: FloatArray,
    specific_force_m_s2: FloatArray,
    angular_velocity: FloatArray,
    *,
    stated: str | None,
    named: str | None,
    file: str,
    column: str,
) -> tuple[str, list[str], list[str]]:
    """Unit of the gyroscope, why, and warnings.

    Returns
    -------
    unit, inferences, warnings

    Raises
    ------
    UnitError
        Neither gravity's turning nor the size of the values tells the unit, or they contradict the column's
        name.
    """
    smear = gravity_smear(time_s, specific_force_m_s2, angular_velocity)
    fastest = float(np.abs(angular_velocity).max())
    unit = stated or named
    if unit is None:
        travel = tilt_travel(time_s, specific_force_m_s2, angular_velocity)
        unit, why = _told_unit(smear, travel, fastest, file, column)
        return unit, [why], _axis_warning(time_s, specific_force_m_s2, angular_velocity, unit, smear)
    scale = scale_of(unit, "angular_velocity")
    if smear.certain and smear.unit and not 0.2 < SCALE["angular_velocity"][smear.unit] / scale < 5.0:
        message = (
            f"the gyroscope is said to be in {unit}, but gravity turns in the sensor as if it were in "
            f"{smear.unit} ({_numbers(smear)})"
        )
        if stated:
            return unit, [], [message]
        hint = f"state it: --units gyroscope={smear.unit} (or {unit})"
        raise UnitError(message, hint, file=file, column=column)
    if fastest * scale > 2.5 * _FASTEST_ARM_RAD_S and stated is None:
        raise UnitError(
            f"{fastest:.4g} {unit} is faster than any arm",
            "state the true unit: --units gyroscope=deg/s",
            file=file,
            column=column,
        )
    return unit, [], _axis_warning(time_s, specific_force_m_s2, angular_velocity, unit, smear)


def _told_unit(smear: Smear, travel: float, fastest: float, file: str, column: str) -> tuple[str, str]:
    if fastest > _FASTEST_DEG_S:
        why = f"angular velocity is in mdeg/s: its largest value, {fastest:.4g}, is beyond any gyroscope in deg/s"
        return "mdeg/s", why
    if smear.unit:
        why = f"angular velocity is in {smear.unit}: turned back by it, gravity stands still ({_numbers(smear)})"
        return smear.unit, why
    if fastest > _FASTEST_ARM_RAD_S:
        why = f"angular velocity is in deg/s: its largest value, {fastest:.4g}, would be faster than any arm in rad/s"
        return "deg/s", why
    if travel > _LEAST_TRAVEL:
        why = (
            "angular velocity is in rad/s: gravity wanders in the sensor about as far as that turns it "
            f"({travel:.2g} of it; {travel * 180 / math.pi:.3g} times as far as the same numbers in deg/s)"
        )
        return "rad/s", why
    if travel * 180 / math.pi > _LEAST_TRAVEL and travel < _LEAST_TRAVEL / 5 and fastest > _SLOW_LIFT_DEG_S:
        why = (
            "angular velocity is in deg/s: gravity wanders in the sensor about as far as that turns it "
            f"({travel * 180 / math.pi:.2g} of it)"
        )
        return "deg/s", why
    raise UnitError(
        "the unit of the gyroscope cannot be told: the column names do not say it, and the sensor tilts too "
        f"little, or not as its accelerometer does, for gravity to tell ({_numbers(smear)})",
        "state it: --units gyroscope=deg/s (or rad/s)",
        file=file,
        column=column,
    )


def _numbers(smear: Smear) -> str:
    return f"smear {smear.rad_s:.2g} as rad/s, {smear.deg_s:.2g} as deg/s, {smear.unturned:.2g} unturned"


def _axis_warning(
    time_s: FloatArray, force: FloatArray, angular_velocity: FloatArray, unit: str, smear: Smear
) -> list[str]:
    rotation = angular_velocity * scale_of(unit, "angular_velocity")
    known = {"rad/s": smear.rad_s, "deg/s": smear.deg_s}
    spread = known.get(unit)
    spread = gravity_spread(time_s, force, rotation) if spread is None else spread
    if not spread > max(0.05, 1.2 * smear.unturned):
        return []
    reversed_spread = gravity_spread(time_s, force, -rotation)
    if reversed_spread < 0.5 * spread and reversed_spread < 0.7 * smear.unturned:
        return [
            "accelerometer and gyroscope turn against each other: the axes of one of them are mirrored or "
            "its sign is reversed; angles from this recording cannot be trusted"
        ]
    return [
        "accelerometer and gyroscope do not turn together: their axes may be mixed up (see --columns); "
        "angles from this recording cannot be trusted"
    ]
