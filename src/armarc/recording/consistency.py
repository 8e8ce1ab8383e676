"""What gravity says about the gyroscope: its unit, its axes.

Gravity is fixed in the room, so in sensor axes its direction u turns by du/dt = u × ω (kinematics of a rotating
frame). Over windows of a third of a second the accelerometer's mean direction is close to gravity's, and
regressing its change on the integral of u × ω gives the size of the gyroscope's unit in rad/s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.recording.types import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How the turning of gravity agrees with the gyroscope.

    ``scale`` is the size of the gyroscope's unit in rad/s, ``correlation`` that of the two turnings (1 is
    perfect, −1 mirrored), ``turned_rad`` how far gravity turned in the root mean square per window.
    """

    scale: float
    correlation: float
    turned_rad: float
    windows: int

    @property
    def usable(self) -> bool:
        """Whether there was enough turning, and enough agreement, to conclude something."""
        return self.windows >= 5 and self.turned_rad > 0.02 and self.correlation > 0.6


def gravity_agreement(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray
) -> Agreement:
    """Compare the turning of gravity with the gyroscope.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    acceleration : ndarray, shape (n, 3), any unit
    angular_velocity : ndarray, shape (n, 3), any unit

    Returns
    -------
    Agreement
    """
    nothing = Agreement(scale=float("nan"), correlation=0.0, turned_rad=0.0, windows=0)
    n = len(time_s)
    if n < 20:
        return nothing
    period = float(np.median(np.diff(time_s)))
    if not period > 0:
        return nothing
    n = min(n, int(600.0 / period))
    width = max(3, round(0.33 / period))
    count = n // width
    if count < 6:
        return nothing
    used = count * width
    blocks = (count, width, 3)
    force = acceleration[:used].reshape(blocks)
    rate = angular_velocity[:used].reshape(blocks)
    norm = np.linalg.norm(force, axis=2, keepdims=True)
    typical = float(np.median(norm))
    if not typical > 0:
        return nothing
    # Samples far from 1 g say more about the push than about gravity.
    weight = ((norm > 0.5 * typical) & (norm < 1.7 * typical)).astype(float)
    direction = (force * weight).sum(axis=1)
    length = np.linalg.norm(direction, axis=1, keepdims=True)
    good = length[:, 0] > 0.3 * typical * width
    direction = direction / np.where(length > 0, length, 1.0)
    middle = time_s[:used].reshape(count, width).mean(axis=1)
    step = np.diff(middle)
    turned = np.diff(direction, axis=0)
    between = direction[:-1] + direction[1:]
    between /= np.maximum(np.linalg.norm(between, axis=1, keepdims=True), 1e-9)
    mean_rate = rate.mean(axis=1)
    expected = np.cross(between, 0.5 * (mean_rate[:-1] + mean_rate[1:])) * step[:, None]
    usable = good[:-1] & good[1:] & (step < 3.0 * width * period) & (np.linalg.norm(turned, axis=1) < 1.2)
    usable &= np.isfinite(expected).all(axis=1)
    if usable.sum() < 5:
        return nothing
    turned, expected = turned[usable], expected[usable]
    power, cross, own = float((expected**2).sum()), float((turned * expected).sum()), float((turned**2).sum())
    if power <= 0 or own <= 0:
        return nothing
    return Agreement(
        scale=cross / power,
        correlation=cross / float(np.sqrt(power * own)),
        turned_rad=float(np.sqrt(own / len(turned))),
        windows=len(turned),
    )
