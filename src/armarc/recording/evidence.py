"""Gravity turned back by the gyroscope's numbers under each reading of them, and the unit that this tells."""

from __future__ import annotations

import math
from dataclasses import dataclass

from armarc.recording.consistency import TurnedBack, Windows, windows_of
from armarc.recording.types import FloatArray, largest
from armarc.recording.units import scale_of

FASTEST_DEG_S = 5000.0
"""Beyond any gyroscope in deg/s: larger numbers are in thousandths."""
_DEGREE = math.pi / 180.0
_CLEARLY_LESS = 0.7
_CLEARLY_MORE = 2.0
_KEPT = 0.7
"""Gravity that a false scale (57 times too fast) leaves standing is a few tenths at the most."""
_LEAST_TILTING_RAD = 3.0
_FASTEST_SET_RAD_S = 20.0
"""Mean speed of the liveliest two seconds: three turns a second, which no exercise holds."""
_SLOWEST_LIFT_DEG_S = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The gyroscope's numbers tried as rad/s and as deg/s."""

    short: Windows
    long: Windows
    rad_s: TurnedBack
    deg_s: TurnedBack
    fastest: float

    @property
    def unturned(self) -> TurnedBack:
        """The readings as they are, as if the gyroscope had said nothing; seldom asked for."""
        return self._at(0.0)

    @property
    def unit(self) -> str | None:
        """The unit that gravity tells, or None.

        The true scale leaves gravity and one lever arm; degrees read as radians spin gravity all over; radians read
        as degrees hardly turn it, which explains nothing, but in a pendulum or a row little needs explaining. There
        the long windows tell: turned by several radians, gravity stands only if they were radians.
        """
        rad, deg = self.rad_s, self.deg_s
        if rad.misfit < _CLEARLY_LESS * deg.misfit:
            return "rad/s"
        if rad.speed_rad_s > _FASTEST_SET_RAD_S:
            return "deg/s"
        clearly_more = rad.misfit > _CLEARLY_MORE * deg.misfit
        if clearly_more and self.fastest > _SLOWEST_LIFT_DEG_S:
            return "deg/s"
        kept = rad.gravity > _KEPT * deg.gravity
        if clearly_more and not kept:
            return "deg/s"
        if rad.tilting_rad < _LEAST_TILTING_RAD:
            return None
        return "rad/s" if kept else "deg/s"

    @property
    def certain(self) -> bool:
        """Whether the evidence is strong enough to contradict what a column's name says."""
        rad, deg = self.rad_s, self.deg_s
        if self.unit == "rad/s":
            return rad.misfit < _CLEARLY_LESS * deg.misfit
        return self.unit == "deg/s" and deg.misfit < 0.8 * self.unturned.misfit

    def at(self, unit: str) -> TurnedBack:
        """Turned back in any unit of angular velocity."""
        known = {"rad/s": self.rad_s, "deg/s": self.deg_s}
        return known.get(unit) or self._at(scale_of(unit, "angular_velocity"))

    def _at(self, scale: float) -> TurnedBack:
        return TurnedBack(short=self.short, long=self.long, scale=scale)

    def __str__(self) -> str:
        numbers = (self.rad_s, self.deg_s, self.unturned)
        left, stands = (f"{a.misfit:.2g}" for a in numbers), (f"{a.gravity:.3g}" for a in numbers)
        return "unexplained by gravity and one arm {} as rad/s, {} as deg/s, {} unturned; ".format(
            *left
        ) + "gravity then is {}, {} and {}".format(*stands)


def gravity_evidence(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray
) -> Evidence | None:
    """Try the units of a gyroscope on its accelerometer.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    acceleration, angular_velocity : ndarray, shape (n, 3), any unit

    Returns
    -------
    Evidence or None
        None for fewer than 20 samples.
    """
    windows = windows_of(time_s, acceleration, angular_velocity)
    if windows is None:
        return None
    short, long = windows
    rad, deg = (TurnedBack(short=short, long=long, scale=scale) for scale in (1.0, _DEGREE))
    fastest = largest(angular_velocity)
    return Evidence(short=short, long=long, rad_s=rad, deg_s=deg, fastest=fastest)
