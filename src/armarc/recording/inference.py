"""Units of acceleration and angular velocity: stated, named, or told by gravity."""

from __future__ import annotations

import math

import numpy as np

from armarc.errors import FormatError, UnitError
from armarc.recording.consistency import TurnedBack, better_arrangement, tilt_travel
from armarc.recording.evidence import FASTEST_DEG_S, Evidence
from armarc.recording.types import STANDARD_GRAVITY_M_S2, FloatArray, largest
from armarc.recording.units import SCALE, scale_of

_LEAST_TRAVEL = 0.15
_SLOW_LIFT_DEG_S = 20.0
_FASTEST_ARM_RAD_S = 70.0
_GRAVITY_TOLERANCE = 0.25
_LEAST_SHARE = 0.35
"""Gravity's share of the readings' root mean square: above 0.4 in the most violent swings of an arm, below 0.1 where
gravity was removed well, mostly below 0.2 where badly."""
_FITTING = 0.25
"""A misfit that a gyroscope in the wrong unit stays above: whatever spins is a centrifuge by half."""
NO_GRAVITY_HINT = (
    "record the accelerometer including gravity, or give gravity in columns of its own beside (gravity_x, …); without "
    "it nobody can tell which way the arm points"
)
_MUCH_LEFT = 0.3
"""Of the median magnitude (working limit)."""
_CLEARLY_BETTER = 0.5
"""As axes are doubted (`sensor_axes.axes_warning`): half of what is left unexplained."""
_STEADY = 0.7
"""All but a twentieth of an accelerometer's readings stay above this share of their median, violent swings aside
(working limit); a gyroscope that is ever still falls far below."""


def acceleration_unit(
    acceleration: FloatArray,
    evidence: Evidence | None,
    *,
    stated: str | None,
    named: str | None,
    gyroscope: str | None = None,
    file: str,
    column: str,
) -> tuple[str, list[str]]:
    """Unit of the accelerometer and why.

    Turned back by the gyroscope and averaged over 8 s, the readings of a moving accelerometer leave standard gravity
    (9.80665 m/s², CGPM 1901), or nothing where gravity was removed. The median magnitude would not do: in fast raises
    it is twice gravity.

    Parameters
    ----------
    acceleration : ndarray, shape (n, 3)
    evidence : Evidence or None
        None for too few samples: the median magnitude then has to do.
    stated, named : str or None
        The accelerometer's unit as the user and the columns' names have it.
    gyroscope : str or None
        The gyroscope's unit, stated or named.

    Raises
    ------
    UnitError
        The unit cannot be told, or the stated one contradicts gravity.
    FormatError
        Gravity is missing from the data.
    """
    step = max(1, len(acceleration) // 20_000)
    x, y, z = acceleration[::step].T
    norm = np.sqrt(x * x + y * y + z * z)
    median = float(np.median(norm))
    if not median > 0:
        raise FormatError("the accelerometer reads zero", "check the sensor", file=file, column=column)
    gravity, removed, turned = _gravity(evidence, gyroscope, norm, median)
    fitting = _near_gravity(gravity)
    unit = stated or named
    if unit is not None:
        ratio = gravity * scale_of(unit, "acceleration") / STANDARD_GRAVITY_M_S2
        least = 0.3 if turned else 0.5
        if least < ratio < 1.0 / 0.3 and not (removed and ratio < 0.5):
            return unit, []
        if stated is None and removed and ratio < 0.5:
            raise FormatError(
                _removed_words(gravity, median, f" {unit}"), NO_GRAVITY_HINT, file=file, column=column
            )
        better = f"; in {fitting[0]} it would fit" if fitting else ""
        advice = "state the true unit: --units acceleration=…"
        if fitting:
            advice = f"state --units acceleration={fitting[0]}"
        elif ratio < 0.5:
            advice += "; if gravity was removed, record it including gravity"
        raise UnitError(
            f"the accelerometer's mean of {gravity:.4g} {unit} is {ratio:.2g} times gravity{better}",
            advice,
            file=file,
            column=column,
        )
    if removed:
        raise FormatError(_removed_words(gravity, median), NO_GRAVITY_HINT, file=file, column=column)
    if fitting:
        return fitting[0], [
            f"acceleration is in {fitting[0]}: turned back by the gyroscope it averages {gravity:.4g}"
        ]
    if usual := _near_gravity(median):
        # The gyroscope does not fit the accelerometer; that is said where its axes are looked at.
        return usual[0], [f"acceleration is in {usual[0]}: its median magnitude is {median:.4g}"]
    counts = 2.0 ** round(np.log2(gravity)) if gravity > 200 else 0.0
    advice = "state it: --units acceleration=m/s2 (or g, or mg)"
    if counts:
        advice = f"if these are raw counts, state them per g, for example --units acceleration=g/{counts:.0f}"
    raise UnitError(
        f"the unit of acceleration cannot be told: it averages {gravity:.4g}, gravity would be 9.81 m/s², 1 g or "
        "1000 mg",
        advice,
        file=file,
        column=column,
    )


def _removed_words(gravity: float, median: float, unit: str = "") -> str:
    """Why there is no gravity in the readings; where much is left, a gyroscope of other axes may turn it."""
    other = ", or its axes are not those of the gyroscope" if gravity > _MUCH_LEFT * median else ""
    return (
        f"turned back by the gyroscope, the acceleration averages {gravity:.3g}{unit} where gravity would stand (its "
        f"median is {median:.3g}{unit}): gravity was removed from it{other}"
    )


def check_not_exchanged(
    acceleration: FloatArray, angular_velocity: FloatArray, file: str, column: str
) -> None:
    """That what is taken as the gyroscope is not an accelerometer, and the other way round.

    Parameters
    ----------
    acceleration, angular_velocity : ndarray, shape (n, 3), in the file's units

    Raises
    ------
    FormatError
        The gyroscope's readings are as long as gravity all the time, the accelerometer's are not.
    """
    step = max(1, len(acceleration) // 20_000)
    low_g, median_g = _lengths(angular_velocity[::step])
    if not (low_g > _STEADY * median_g and _near_gravity(median_g)):
        return
    low_a, median_a = _lengths(acceleration[::step])
    if low_a < (1 - _STEADY) * median_a:
        raise FormatError(
            f"what is taken as the gyroscope holds gravity (its median is {median_g:.3g}, never far from it), what is "
            "taken as the accelerometer does not: their columns are exchanged",
            "name the columns rightly in the header, or state them: --columns ax=…,ay=…,az=…,gx=…,gy=…,gz=…",
            file=file,
            column=column,
        )


def _lengths(rows: FloatArray) -> tuple[float, float]:
    """Length that a twentieth of the rows fall short of, and their median length."""
    low, median = np.quantile(np.sqrt(np.einsum("ij,ij->i", rows, rows)), [0.05, 0.5])
    return float(low), float(median)


def _near_gravity(size: float) -> list[str]:
    """Units in which `size` is gravity."""
    return [
        unit
        for unit in ("m/s2", "g", "mg")
        if abs(size * SCALE["acceleration"][unit] / STANDARD_GRAVITY_M_S2 - 1.0) < _GRAVITY_TOLERANCE
    ]


def _believed(evidence: Evidence, gyroscope: str | None) -> TurnedBack:
    """By which scale of the gyroscope to turn back: the proven one, the stated or named one, the likelier one."""
    unit = evidence.unit if evidence.certain else gyroscope or evidence.unit
    if gyroscope is None and evidence.fastest > FASTEST_DEG_S:
        unit = "mdeg/s"
    if unit is None:
        return max(evidence.rad_s, evidence.deg_s, key=lambda turned: turned.share)
    return evidence.at(unit)


def _gravity(
    evidence: Evidence | None, gyroscope: str | None, norm: FloatArray, median: float
) -> tuple[float, bool, bool]:
    """Size of gravity in the readings' unit, whether it was removed from them, and whether turning back told so."""
    turned = None if evidence is None else _believed(evidence, gyroscope)
    # Without gravity the magnitude falls near zero at rest; with it, it stays near one value.
    falls = bool(np.quantile(norm, 0.05) < 0.3 * median)
    if turned is not None and turned.share >= _LEAST_SHARE:
        # What a slow filter leaves of gravity stands still for a while, and is gravity in no unit.
        return turned.gravity, falls and not _near_gravity(turned.gravity), True
    if evidence is None or turned is None:
        return median, falls, False
    if falls or turned.misfit < _FITTING or evidence.unturned.share < _LEAST_SHARE:
        return turned.gravity, True, True
    # The gyroscope smears what stands without it: its numbers are no rates of this sensor in any unit.
    return median, False, False


def angular_velocity_unit(
    time_s: FloatArray,
    specific_force_m_s2: FloatArray,
    angular_velocity: FloatArray,
    evidence: Evidence | None,
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
    fastest = largest(angular_velocity)
    unit = stated or named
    if unit is None:
        travel = tilt_travel(time_s, specific_force_m_s2, angular_velocity)
        unit, why = _told_unit(evidence, travel, fastest, file, column)
        return unit, [why], []
    scale = scale_of(unit, "angular_velocity")
    if (
        evidence
        and evidence.certain
        and evidence.unit
        and not 0.2 < SCALE["angular_velocity"][evidence.unit] / scale < 5.0
    ):
        message = (
            f"the gyroscope is said to be in {unit}, but gravity turns in the sensor as if it were in "
            f"{evidence.unit} ({evidence})"
        )
        if stated:
            return unit, [], [message]
        hint = f"state it: --units gyroscope={evidence.unit} (or {unit})"
        raise UnitError(message, hint, file=file, column=column)
    if fastest * scale > 2.5 * _FASTEST_ARM_RAD_S and stated is None:
        raise UnitError(
            f"{fastest:.4g} {unit} is faster than any arm",
            "state the true unit: --units gyroscope=deg/s",
            file=file,
            column=column,
        )
    return unit, [], []


def _fits_rearranged(evidence: Evidence) -> bool:
    """Whether rad/s explain the readings after all, with the gyroscope's axes in another order or mirrored."""
    _, turned = better_arrangement(evidence.short, evidence.long, SCALE["angular_velocity"]["rad/s"])
    return turned.misfit < _CLEARLY_BETTER * evidence.deg_s.misfit


def _told_unit(
    evidence: Evidence | None, travel: float, fastest: float, file: str, column: str
) -> tuple[str, str]:
    if fastest > FASTEST_DEG_S:
        why = f"angular velocity is in mdeg/s: its largest value, {fastest:.4g}, is beyond any gyroscope in deg/s"
        return "mdeg/s", why
    if evidence and evidence.unit == "deg/s" and not evidence.certain and _fits_rearranged(evidence):
        why = (
            "angular velocity is in rad/s: in deg/s it turns next to nothing, and with its axes in another order or "
            f"mirrored gravity stands still in rad/s ({evidence})"
        )
        return "rad/s", why
    if evidence and evidence.unit:
        why = f"angular velocity is in {evidence.unit}: turned back by it, gravity stands still ({evidence})"
        return evidence.unit, why
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
        f"little, or not as its accelerometer does, for gravity to tell ({evidence or 'too few samples'})",
        "state it: --units gyroscope=deg/s (or rad/s)",
        file=file,
        column=column,
    )
