"""How front-loaded a raise was: its start velocity beside that of a smooth raise as long and as large.

A short raise passes the start gate fast without any momentum at all. So the start is put beside that of a
minimum-jerk raise (Flash and Hogan 1985, J Neurosci 5:1688) of the same range and the same concentric time: 1 is as
smooth as a raise can be, above 1 it was fast at the start and slow later. A description, no target.
"""

from __future__ import annotations

import math

from armarc.reps.phases import ON_RATE_RAD_S, ON_SHARE_OF_PEAK

PEAK_OVER_MEAN = 15 / 8
"""Largest rate of a minimum-jerk movement over its mean."""
_MOST_STEPS, _NEAR = 60, 1e-12
"""Of Newton's search: it ends at a millionth of a millionth."""


def smooth_duration_s(rom_rad: float, concentric_s: float) -> float | None:
    """Duration from rest to rest of the minimum-jerk raise whose concentric lasts `concentric_s`.

    A concentric is on while the rate exceeds the larger of 5 °/s and 5 % of its peak. A minimum-jerk rate is
    ``16 u²(1 − u)²`` of its peak, so it exceeds the share ``s`` of it over ``√(1 − √s)`` of its duration.

    Parameters
    ----------
    rom_rad : float, rad
    concentric_s : float, s

    Returns
    -------
    float or None, s
        None where no smooth raise lasts that long above 5 °/s.
    """
    if rom_rad <= 0 or concentric_s <= 0:
        return None

    # With x² = s, on for a duration d: d √(1 − x), where x² is 5 %, or d over the duration at which the peak is 5 °/s.
    longest_s = PEAK_OVER_MEAN * rom_rad / ON_RATE_RAD_S
    duration_s = concentric_s / math.sqrt(1 - math.sqrt(ON_SHARE_OF_PEAK))
    if duration_s <= ON_SHARE_OF_PEAK * longest_s:
        return duration_s
    # Longer raises are on for longer until their peak nears 5 °/s: x⁴ (1 − x) has its top at x = 4/5.
    square = (concentric_s / longest_s) ** 2
    if square > 0.8**4 * 0.2:
        return None
    # In logarithms it is concave, so that Newton's steps from below end at the root, from ever nearer.
    x = math.sqrt(math.sqrt(square))
    for _ in range(_MOST_STEPS):
        step = (4 * math.log(x) + math.log1p(-x) - math.log(square)) / (4 / x - 1 / (1 - x))
        x -= step
        if step > -_NEAR * x:
            break
    return longest_s * x * x


def smooth_gate_velocity_rad_s(
    rom_rad: float, duration_s: float, gate_rad: tuple[float, float]
) -> float | None:
    """Start velocity of a minimum-jerk raise: the gate's width over the time it takes to pass it.

    Parameters
    ----------
    rom_rad : float, rad
    duration_s : float, s
        From rest to rest.
    gate_rad : tuple of float, rad
        Edges of the gate, as rise above the bottom.

    Returns
    -------
    float or None, rad/s
        None where the raise does not pass the gate.
    """
    low, high = gate_rad
    if not 0 <= low < high < rom_rad:
        return None
    passage = (_fraction_at(high / rom_rad) - _fraction_at(low / rom_rad)) * duration_s
    return (high - low) / passage


def start_ratio(
    start_velocity_rad_s: float | None, rom_rad: float, concentric_s: float, gate_rad: tuple[float, float]
) -> float | None:
    """Start velocity over that of a minimum-jerk raise of the same range and concentric time.

    Parameters
    ----------
    start_velocity_rad_s : float or None, rad/s
    rom_rad : float, rad
    concentric_s : float, s
        As measured: above 5 °/s and 5 % of the peak rate.
    gate_rad : tuple of float, rad
        As rise above the bottom.

    Returns
    -------
    float or None
        None without a start velocity, or where the range hardly exceeds the gate.
    """
    duration = smooth_duration_s(rom_rad, concentric_s)
    if start_velocity_rad_s is None or duration is None:
        return None
    smooth = smooth_gate_velocity_rad_s(rom_rad, duration, gate_rad)
    return None if smooth is None else start_velocity_rad_s / smooth


def _fraction_at(share: float) -> float:
    """Share of the duration at which a minimum-jerk movement has gone `share` of its way."""
    if not 0 < share < 1:
        return min(max(share, 0.0), 1.0)
    # The curve bends one way on either side of the middle: Newton's steps from there go to the root and not beyond.
    u = 0.5
    for _ in range(_MOST_STEPS):
        step = (u**3 * (10 - 15 * u + 6 * u * u) - share) / (30 * (u * (1 - u)) ** 2)
        u -= step
        if abs(step) < _NEAR:
            break
    return u
