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
_HALVINGS = 40
"""To a millionth of a millionth."""


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

    def concentric_of(duration_s: float) -> float:
        peak = PEAK_OVER_MEAN * rom_rad / duration_s
        share = max(ON_SHARE_OF_PEAK, ON_RATE_RAD_S / peak)
        return duration_s * math.sqrt(max(1 - math.sqrt(share), 0.0))

    # Longer raises are on for longer until their peak nears 5 °/s: there, at (4/5)², the concentric is longest.
    low, high = concentric_s, PEAK_OVER_MEAN * rom_rad / ON_RATE_RAD_S * 0.64
    if low > high or concentric_of(high) < concentric_s:
        return None
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if concentric_of(middle) < concentric_s else (low, middle)
    return (low + high) / 2


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
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        u = (low + high) / 2
        low, high = (u, high) if u**3 * (10 - 15 * u + 6 * u * u) < share else (low, u)
    return (low + high) / 2
