"""How large the errors of a fit really are, from what it leaves over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from armarc.motion.tolerance import UNCALIBRATED_SCALE_SE, tolerance_by_noise
from armarc.recording import FloatArray

PRIOR_SCALE: Final = 0.03 / math.sqrt(3)
"""Evenly within ±3 %, the widest sensitivity tolerance consumer datasheets state (from memory)."""
SUPPOSED: Final = 1.0
"""What was supposed of the errors beforehand counts as much as this many residuals."""
ROUNDS: Final = 8
CONVERGED: Final = 1e-3
HELD: Final = 0.975
"""Share of errors that two of the stated ones shall hold. Rests are shared by two turns and one accelerometer serves
all of them, which a fit that takes them as independent does not see: with 0.9545, as for two standard deviations, 91
to 97 of 100 scales were held on 70 synthetic sensors with turns rough to 0.15 and 0.5°."""


def error_factor(scaled_squares: float, freedom: float, least: float) -> float:
    """By how much the supposed standard errors of a fit's readings have to be multiplied.

    What a table, a hand or a part leaves over in one recording is told by its residuals; what was supposed
    beforehand keeps a small weight (the scaled inverse χ² of Bayesian least squares), because few residuals may be
    small by chance. For the same reason errors from few residuals are widened, so that two of them hold in 95 of
    100 cases (Student's t).

    Parameters
    ----------
    scaled_squares : float
        Sum of the squared residuals, each over its supposed standard error.
    freedom : float
        Number of residuals less that of the parameters they settle.
    least : float
        The factor is never smaller: the part of the supposed errors that is sure, such as noise.
    """
    from scipy.stats import t

    left = SUPPOSED + max(freedom, 0.0)
    widened = float(t.ppf(0.5 + HELD / 2, left + 1)) / 2
    return max(math.sqrt((SUPPOSED + scaled_squares) / left) * widened, least)


def unturned_scale_se(turned_off: FloatArray, window_sd_rad_s: Sequence[float]) -> float:
    """Standard error of the scale of an axis nobody turned: trimmed as loosely as the others of the same part.

    Three scales spread evenly over the same tolerance lie within 3/n times the root mean square of n others in 94 of
    100 cases for two others, 92 for one, at two standard errors (integrated); a part that happens to be right on the
    others is not believed better than its noise says, or than a sensor nobody calibrated.

    Parameters
    ----------
    turned_off : ndarray, shape (n,)
        How far the scales of the axes that were turned were off, relative.
    window_sd_rad_s : sequence of float, rad/s
        Spread of the gyroscope's means over a tenth of a second, rest by rest.
    """
    # density² / (2 · 0.1 s) is the variance of such means.
    density = math.sqrt(0.2 * float(np.mean(np.square(window_sd_rad_s))))
    by_others = 3 / len(turned_off) * math.sqrt(float(np.mean(np.square(turned_off))))
    return max(UNCALIBRATED_SCALE_SE, tolerance_by_noise(density).gyroscope, min(by_others, PRIOR_SCALE))
