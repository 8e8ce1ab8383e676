"""Invented raises in closed form for the rep tests: minimum-jerk phases between rests.

θ(τ) = bottom + ROM·(10τ³ − 15τ⁴ + 6τ⁵), τ from 0 to 1 over a phase (Flash & Hogan 1985, J Neurosci 5:1688).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.reps.movements import Movement
from invented_sets import ramp, ramp_rate
from turns import turning_points


@dataclass(frozen=True)
class Curve:
    """An angle and its rate, rad and rad/s, with the planned instants of each rep."""

    rate_hz: float
    angle_rad: np.ndarray
    rate_rad_s: np.ndarray
    begins_s: tuple[float, ...]


def raises(
    tops_deg=(90.0,),
    *,
    bottom_deg=10.0,
    up_s=2.0,
    hold_s=0.5,
    down_s=2.0,
    pause_s=1.0,
    still_s=1.0,
    after_s=1.0,
    rate_hz=100.0,
):
    """One raise per top; `pause_s` may be a sequence (after each rep but the last)."""
    pauses = [pause_s] * len(tops_deg) if np.isscalar(pause_s) else [*pause_s, 0.0]
    begins, at = [], still_s
    for pause in pauses:
        begins.append(at)
        at += up_s + hold_s + down_s + pause
    n = round((begins[-1] + up_s + hold_s + down_s + after_s) * rate_hz) + 1
    t = np.arange(n) / rate_hz
    angle, rate = np.full(n, bottom_deg), np.zeros(n)
    for begin, top in zip(begins, tops_deg, strict=True):
        rising, falling = (t - begin) / up_s, (t - begin - up_s - hold_s) / down_s
        angle = angle + (top - bottom_deg) * (ramp(rising) - ramp(falling))
        rate = rate + (top - bottom_deg) * (ramp_rate(rising) / up_s - ramp_rate(falling) / down_s)
    return Curve(rate_hz, np.radians(angle), np.radians(rate), tuple(begins))


def movements_of(angle_rad, least_rad):
    """Every up-and-down of a clean curve that rises by `least_rad`, with both its bottoms in sight."""
    turns = turning_points(angle_rad, least_rad)
    tops = [k for k, turn in enumerate(turns) if turn.is_top]
    found = []
    for k in tops:
        begun, opened = k == 0, k + 1 == len(turns)
        before = 0 if begun else turns[k - 1].at
        after = len(angle_rad) - 1 if opened else turns[k + 1].at
        rise = float(turns[k].angle_rad - angle_rad[before])
        fall = float(turns[k].angle_rad - angle_rad[after])
        found.append(
            Movement(
                bottom=before,
                top=turns[k].at,
                bottom_after=after,
                earliest=turns[k - 2].at if k >= 2 else 0,
                latest=turns[k + 2].at if k + 2 < len(turns) else len(angle_rad) - 1,
                rise_rad=fall if begun else rise,
                fall_rad=fall,
                is_open=opened,
                is_begun=begun or (before == 0 and rise < 0.75 * fall),
            )
        )
    return found
