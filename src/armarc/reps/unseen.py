"""What nothing in a set shows and standard errors have room for: a strap that gives, a forearm off the arm line.

Skin and strap are a spring for the case on them. The pull along the arm acts at the case's centre above the skin, and
the case's own inertia holds it back when the arm speeds up: it leans by ``(c·f − θ̈)/ω²``, ω its own swinging and c the
height of its centre over the square of its radius of gyration (a mass on a spring, slower than it swings by itself).
"""

from __future__ import annotations

import math

import numpy as np

from armarc.recording import FloatArray

GIVES_S2, PER_M = 5e-5, 30.0
"""1/ω² of a case that swings by itself at 18–30 Hz, on a strap as tight as a watch's, with its centre 1 cm above the
skin and a radius of gyration of 15 mm (working limits; bodies of a physics engine). An arm that hangs leans it by
0.8°, one that is thrown by 1–2° more."""
OVER_S = 0.03
"""Half the time over which pull and acceleration are taken: slower than that swinging."""


FOREARM_OFF_RAD, USUAL_HAND_TURN_RAD = math.radians(3), math.radians(30)
"""A forearm lies this far off the arm line where the elbow is straight (half of its carrying angle and of a slight
bend), and goes round it when the hand turns; a hand that turns by less has its room in `armarc.reps.body` (working
limits)."""
SLIPPED_ABOUT_RAD = math.radians(20)
"""A strap that slipped along the arm has turned about it as well, and no gravity shows by how much (working limit)."""
UNEXPLAINED_IN_ANGLE, UNEXPLAINED_ON_RIGID = 0.6, 0.015**2
"""rad of an angle, a range, and of a speed times the range, per root of the share of the lowering's acceleration that
no arm about a fixed shoulder explains, beyond what a sensor's errors and a swing that goes home leave: had it all gone
into the arm's direction it would be a whole radian. Found on simulated bodies."""


def unexplained_rad(share: float) -> float:
    """What a shoulder that moves and an arm that is no rigid one leave in an angle, rad, by the unexplained share."""
    return UNEXPLAINED_IN_ANGLE * math.sqrt(max(share - UNEXPLAINED_ON_RIGID, 0.0))


def by_hand(turn_rad: float) -> float:
    """What a hand that turns by so much about the arm leaves in an angle or a range, rad."""
    return FOREARM_OFF_RAD * math.sqrt(max(turn_rad**2 - USUAL_HAND_TURN_RAD**2, 0.0))


def running_sum(values: FloatArray) -> FloatArray:
    """Sums of the first 0, 1, … of n values, shape (n + 1,): a mean of any stretch is then two of them away."""
    sums = np.zeros(len(values) + 1)
    np.cumsum(values, out=sums[1:])
    return sums


def leans(
    pulled_m_s2: FloatArray,
    angle_rad: FloatArray,
    at: int,
    rate_hz: float,
    beyond_rad_s2_m: float = 0.0,
) -> tuple[float, float]:
    """How far the sensor leans at a sample.

    Parameters
    ----------
    pulled_m_s2 : ndarray, shape (n + 1,), m/s²
        Running sum of the specific force along the arm.
    angle_rad : ndarray, shape (n,), rad
    at : int
    rate_hz : float, Hz
    beyond_rad_s2_m : float, rad per m/s²
        How much further than a firm strap this one may let it lean per pull.

    Returns
    -------
    by_pull, by_inertia : float, rad
        Sizes; how their signs go together depends on the side of the arm that wears the sensor.
    """
    half = max(round(OVER_S * rate_hz), 1)
    before, after = max(at - half, 0), min(at + half, len(angle_rad) - 1)
    pull = float(pulled_m_s2[after + 1] - pulled_m_s2[before]) / (after + 1 - before)
    bends = float(angle_rad[after] - 2 * angle_rad[at] + angle_rad[before])
    gives = math.hypot(GIVES_S2 * PER_M, beyond_rad_s2_m)
    return gives * pull, gives / PER_M * bends * (rate_hz / half) ** 2


def leaning(
    pulled_m_s2: FloatArray,
    angle_rad: FloatArray,
    at: int,
    rate_hz: float,
    beyond_rad_s2_m: float = 0.0,
) -> tuple[float, float]:
    """How fast it leans at a sample, rad/s; otherwise as `leans`."""
    step = max(round(OVER_S * rate_hz), 1)
    before, after = max(at - step, 0), min(at + step, len(angle_rad) - 1)
    per_s = rate_hz / max(after - before, 1)
    first = leans(pulled_m_s2, angle_rad, before, rate_hz, beyond_rad_s2_m)
    last = leans(pulled_m_s2, angle_rad, after, rate_hz, beyond_rad_s2_m)
    return (last[0] - first[0]) * per_s, (last[1] - first[1]) * per_s
