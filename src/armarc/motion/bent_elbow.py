"""How far a bent elbow takes the wrist off the plane the arm is raised in.

A raise is nearly a hinge, and along the hinge's axis a sensor's readings show nothing of the lever arm. With the elbow
bent across the plane of the raise (a forearm that points forward in a lateral raise) the wrist goes round on a cone,
several centimetres off that plane. The sensor's own axis shows it, where it is said to lie along the forearm;
a sensor at any angle would make up a bend.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.motion.lever_arm import OFF_PLANE_M, LeverArm
from armarc.recording import FloatArray

FOREARM_SHARE = 0.45
"""Share of the reach below the elbow (de Leva 1996, Table 4: upper arm 28.2 cm, elbow to wrist 26.9 cm in men; a strap
sits some 4 cm above the wrist)."""
STRAP_TILT_RAD = math.radians(6)
"""A sensor in a strap lies along the forearm within this, evenly spread (own judgement, no source)."""
MOST_TILT_RAD, MOST_BEND_RAD = math.radians(20), math.radians(40)
"""A sensor axis farther off the arm than this, in the plane of the raise and across it, lies along no forearm …"""
UNKNOWN_OFF_PLANE_M = 0.05
"""… and a bend across it is then not seen: 12° or so (four people's raises have 5–26°)."""


def off_plane(lever: LeverArm, sensor_axes: FloatArray | None) -> LeverArm:
    """Let the sensor lie off the plane of the raise as far as its own axis shows a bent elbow to take it there.

    Parameters
    ----------
    lever : LeverArm
        Fitted, held near that plane by its prior.
    sensor_axes : ndarray, shape (k, 3), or None
        Unit vectors of which one is said to point along the forearm to the hand.

    Returns
    -------
    LeverArm
        With the wrist moved along the axis of the raise, and how uncertain that is. What a strap's tilt explains is
        not believed: the positive part of James and Stein's estimate (1961, from memory).
    """
    if lever.across is None:
        return lever
    if sensor_axes is None:
        return replace(lever, off_plane_m=UNKNOWN_OFF_PLANE_M)
    arm = lever.vector_m / max(lever.reach_m, 1e-9)
    forearm = sensor_axes[int(np.argmax(sensor_axes @ arm))]
    # Where the hand turned, the fit itself has seen some of it.
    bend = math.asin(float(np.clip(forearm @ lever.across, -1.0, 1.0))) - math.asin(float(arm @ lever.across))
    tilt = math.asin(float(np.clip(forearm @ np.cross(lever.across, arm), -1.0, 1.0)))
    if abs(bend) > MOST_BEND_RAD or abs(tilt) > MOST_TILT_RAD:
        return replace(lever, off_plane_m=UNKNOWN_OFF_PLANE_M)
    forearm_m = FOREARM_SHARE * lever.reach_m
    believed = max(1 - (STRAP_TILT_RAD / bend) ** 2, 0.0) if bend else 0.0
    return replace(
        lever,
        vector_m=lever.vector_m + lever.across * (forearm_m * math.sin(bend) * believed),
        off_plane_m=math.hypot(OFF_PLANE_M, forearm_m * STRAP_TILT_RAD / math.sqrt(3)),
        forearm_rad=math.sqrt(max(bend**2 - STRAP_TILT_RAD**2 / 3, 0.0)),
    )
