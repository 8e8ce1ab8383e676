"""One planned rep as a course over time: the arm's angle and the shoulder's swing, with exact derivatives."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray
from armarc.simulate.body import Body
from armarc.simulate.plan import RepPlan
from armarc.simulate.rep_shape import concentric_knots
from armarc.simulate.tracks import Knot, Track


@dataclass(frozen=True, slots=True, kw_only=True)
class RepCourse:
    """A rep from rest at the bottom to rest at the bottom; n instants.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
        From the start of the concentric.
    angle : ndarray, shape (3, n)
        Movement angle in rad and its first two derivatives.
    forward, up : ndarray, shape (3, n)
        The shoulder's path in m and its first two derivatives.
    """

    time_s: FloatArray
    angle: FloatArray
    forward: FloatArray
    up: FloatArray


def rep_course(rep: RepPlan, rate_hz: float = 500.0) -> RepCourse:
    """The course of a rep as a simulated session would go through it, without pulses, dip, tremor and a body's sway.

    Raises
    ------
    UsageError
        If the start takes longer than the concentric.
    """
    lowered_s = rep.concentric_s + rep.hold_s
    end_s = lowered_s + rep.eccentric_s
    time = np.arange(round(end_s * rate_hz) + 1) / rate_hz
    rise = [*concentric_knots(rep, 0.0)]
    if rep.hold_s > 0:
        rise.append(Knot(lowered_s, rep.top_rad))
    knots = [*rise, Knot(end_s, rep.lowest_end_rad)]
    body = Body()
    back_s = rep.concentric_s if rep.swing_returns == "within" else lowered_s + 0.5 * rep.eccentric_s
    out_s = body.swing_peak * rep.concentric_s

    def swung(reach_m: float) -> FloatArray:
        return Track(knots=(Knot(0.0, 0.0), Knot(out_s, reach_m), Knot(back_s, 0.0))).sample(time)

    return RepCourse(
        time_s=time,
        angle=Track(knots=tuple(knots)).sample(time),
        forward=swung(math.cos(body.swing_rise_rad) * rep.swing_m),
        up=swung(math.sin(body.swing_rise_rad) * rep.swing_m),
    )
