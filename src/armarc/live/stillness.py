"""How calm the arm is, sample by sample."""

from __future__ import annotations

import math
from math import exp, sqrt

QUIET_RAD_S = math.radians(8)
QUIET_S = 0.4
"""As the offline search for the hanging pose."""
LONG_QUIET_S = 1.5
CALM_RAD_S = math.radians(12)
CALM_FORCE_M_S2 = 0.7
"""Spread of the specific force's magnitude; walking gives 2 m/s² and more."""
STEADY_FORCE_M_S2 = 1.6
_RATE_TAU_S, _FORCE_TAU_S = 0.15, 0.4


class Stillness:
    """Running judgement of stillness and steadiness."""

    def __init__(self) -> None:
        self._rate_square = 1.0
        self._force = 9.80665
        self._force_square = 1.0
        self.last_calm_s = -math.inf
        self.quiet_since_s = math.nan
        self._sum = [0.0, 0.0, 0.0]
        self.quiet_samples = 0

    def step(
        self,
        time_s: float,
        dt_s: float,
        omega: tuple[float, float, float],
        force: tuple[float, float, float],
        up: tuple[float, float, float],
    ) -> None:
        """Take one sample: ω without bias, specific force, global up in sensor axes."""
        ox, oy, oz = omega
        square = ox * ox + oy * oy + oz * oz
        fx, fy, fz = force
        size = sqrt(fx * fx + fy * fy + fz * fz)
        share = 1.0 - exp(-dt_s / _RATE_TAU_S)
        self._rate_square += share * (square - self._rate_square)
        share = 1.0 - exp(-dt_s / _FORCE_TAU_S)
        off = size - self._force
        self._force += share * off
        self._force_square += share * (off * off - self._force_square)
        if self._rate_square < CALM_RAD_S**2 and self._force_square < CALM_FORCE_M_S2**2:
            self.last_calm_s = time_s
        total = self._sum
        if square < QUIET_RAD_S**2:
            if self.quiet_samples == 0:
                self.quiet_since_s = time_s
            self.quiet_samples += 1
            total[0] += up[0]
            total[1] += up[1]
            total[2] += up[2]
        elif self.quiet_samples:
            self.quiet_samples = 0
            total[0] = total[1] = total[2] = 0.0

    def interrupt(self) -> None:
        """Nobody knows whether it is still: samples are missing."""
        self.quiet_samples = 0
        self._sum = [0.0, 0.0, 0.0]

    @property
    def steady(self) -> bool:
        """Whether the arm's owner stands rather than walks."""
        return self._force_square < STEADY_FORCE_M_S2**2

    def quiet_for_s(self, now_s: float) -> float:
        """How long the arm has been quiet, s."""
        return now_s - self.quiet_since_s if self.quiet_samples else 0.0

    def down(self) -> tuple[float, float, float]:
        """Mean direction of down in sensor axes over the quiet stretch."""
        x, y, z = self._sum
        size = sqrt(x * x + y * y + z * z) or 1.0
        return (-x / size, -y / size, -z / size)
