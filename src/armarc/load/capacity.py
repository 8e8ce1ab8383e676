"""What a shoulder could do: moment by angle, by speed and by time since the start of the effort."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.recording import FloatArray

CURVES = ("descending", "mid-range", "flat")

FASTEST_RAD_S = math.radians(1000)
"""Speed without load: the middle of 600-2500 °/s, the span that published torque-velocity data allow."""
HILL_SHAPE = 0.25
"""a/F0 of Hill's curve (Thelen 2003, J Biomech Eng 125:70)."""
ECCENTRIC_CEILING = 1.4
"""Largest lengthening moment over isometric (Thelen 2003, young adults)."""
ACTIVATION_S = 0.05
RESTING_ACTIVATION = 0.05


def hill(
    rate_rad_s: FloatArray,
    fastest_rad_s: FloatArray | float = FASTEST_RAD_S,
    shape: FloatArray | float = HILL_SHAPE,
) -> FloatArray:
    """Moment over isometric moment by speed, at full activation.

    Shortening (positive rate): Hill's hyperbola (Hill 1938, Proc R Soc B 126:136). Lengthening (negative):
    the hyperbola of Thelen 2003 (J Biomech Eng 125:70, eqs. 6 and 7 at full activation and best length), which meets
    it at rest with twice the slope: ``v / v_max = (F - 1)(c - 1) / ((2 + 2/A)(c - F))`` with
    `ECCENTRIC_CEILING` c and A = a/F0.

    Parameters
    ----------
    rate_rad_s : ndarray, rad/s
    fastest_rad_s : float or ndarray, rad/s
    shape : float or ndarray
        a/F0.

    Returns
    -------
    ndarray
        0 at and beyond the fastest shortening.
    """
    v = np.asarray(rate_rad_s, float) / fastest_rad_s
    up = np.maximum(v, 0.0)
    shortening = np.asarray(np.maximum(1 - up, 0.0) / (1 + up / shape))
    if np.all(v >= 0):
        return shortening
    down = np.maximum(-v, 0.0)
    stiff = 2 * down * (1 + 1 / np.asarray(shape))
    above = ECCENTRIC_CEILING - 1
    lengthening = (above + stiff * ECCENTRIC_CEILING) / (above + stiff)
    return np.where(v >= 0, shortening, lengthening)


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacityCurve:
    """Isometric capacity by angle, as a share of its largest value.

    Parameters
    ----------
    name : str
    angle_rad, share : ndarray, shape (k,)
        Straight lines between; held at the ends.
    """

    name: str
    angle_rad: FloatArray
    share: FloatArray

    def __call__(self, angle_rad: FloatArray) -> FloatArray:
        """Share at `angle_rad`."""
        return np.asarray(np.interp(angle_rad, self.angle_rad, self.share))


MID_RANGE_DEG = (60, 75)
"""Peak and width of the capacity called mid-range (working values, no source)."""


def bell(angle_rad: FloatArray, peak_rad: FloatArray | float, width_rad: FloatArray | float) -> FloatArray:
    """Bell-shaped capacity ``exp(-((θ - peak) / width)²)``."""
    return np.asarray(np.exp(-(((angle_rad - peak_rad) / width_rad) ** 2)))


def capacity_curve(name: str) -> CapacityCurve:
    """One of the named curves, or a table.

    Parameters
    ----------
    name : str
        ``"descending"``: falls in a straight line from 1 at 0° to 0.55 at 90° and on to 0.4 at 120°.
        Isometric flexion falls 24 % from 0 to 45° in men (89.9 to 68.6 N m, 26 men); abduction figures were
        not within reach. ``"mid-range"``: a bell around `MID_RANGE_DEG`. ``"flat"``. Or a table of degrees:share
        such as ``"0:1,45:0.9,90:0.5"``.

    Raises
    ------
    UsageError
        For anything else.
    """
    if name == "descending":
        return CapacityCurve(
            name=name, angle_rad=np.radians([0.0, 90.0, 120.0]), share=np.array([1.0, 0.55, 0.4])
        )
    if name == "flat":
        return CapacityCurve(name=name, angle_rad=np.radians([0.0, 180.0]), share=np.ones(2))
    if name == "mid-range":
        angle = np.radians(np.arange(-20.0, 181.0))
        return CapacityCurve(
            name=f"mid-range (peak {MID_RANGE_DEG[0]}°, width {MID_RANGE_DEG[1]}°)",
            angle_rad=angle,
            share=bell(angle, *np.radians(MID_RANGE_DEG)),
        )
    return _own_curve(name)


def _own_curve(text: str) -> CapacityCurve:
    fault = UsageError(
        f"expected a capacity curve, got {text!r}",
        f"one of {', '.join(CURVES)}, or your own table of degrees:share such as 0:1,45:0.9,90:0.5",
    )
    try:
        rows = [(float(a), float(b)) for a, b in (pair.split(":") for pair in text.split(","))]
    except ValueError:
        raise fault from None
    angles, shares = np.array(rows).T
    good = np.all(np.isfinite(angles)) and np.all(np.diff(angles) > 0) and np.all(np.abs(angles) <= 200)
    if not good or not np.all(np.isfinite(shares)) or np.any(shares < 0) or shares.max() <= 0:
        raise fault
    return CapacityCurve(name="own table", angle_rad=np.radians(angles), share=shares / shares.max())


@dataclass(frozen=True, slots=True, kw_only=True)
class ShoulderCapacity:
    """A shoulder that raises the arm as hard as it can.

    Parameters
    ----------
    peak_n_m : float, N m
        Largest isometric moment over the angles.
    curve : CapacityCurve
    fastest_rad_s : float, rad/s
    hill_shape : float
    activation_s : float, s
        Time constant of the rise of effort; 0 for at once.
    """

    peak_n_m: float
    curve: CapacityCurve
    fastest_rad_s: float = FASTEST_RAD_S
    hill_shape: float = HILL_SHAPE
    activation_s: float = ACTIVATION_S

    def __post_init__(self) -> None:
        if not (0 < self.peak_n_m <= 1000):
            raise UsageError(f"a shoulder's capacity is expected in N·m, up to 1000, got {self.peak_n_m:g}")
        if not math.radians(100) <= self.fastest_rad_s <= math.radians(5000):
            raise UsageError("the speed without load is expected between 100 and 5000 °/s")
        if not 0.05 <= self.hill_shape <= 2 or not 0 <= self.activation_s <= 1:
            raise UsageError("expected a Hill shape of 0.05-2 and an activation time of 0-1 s")

    def full_n_m(self, angle_rad: FloatArray, rate_rad_s: FloatArray) -> FloatArray:
        """Moment at full activation, N m."""
        return np.asarray(
            self.peak_n_m * self.curve(angle_rad) * hill(rate_rad_s, self.fastest_rad_s, self.hill_shape)
        )
