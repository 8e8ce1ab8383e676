"""How far the arm lies off the plane it is raised in, as the sensor's own axis shows it.

A raise is nearly a hinge, and along the hinge's axis a sensor's readings show nothing of the lever arm. With the elbow
bent across the plane of the raise (a forearm that points forward in a lateral raise) the wrist goes round on a cone,
several centimetres off that plane; and where trunk and girdle move as well, the plane is not across the arm. The
sensor's own axis shows both, where it is said to lie along the forearm; a sensor at any angle would make up a bend.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.motion.forearm import FOREARM_SHARE
from armarc.motion.lever_arm import OFF_PLANE_M, LeverArm
from armarc.recording import FloatArray

STRAP_TILT_RAD = math.radians(6)
"""A sensor in a strap lies along the forearm within this, evenly spread (own judgement, no source)."""
HINGE_RAD, MOVED_HINGE_RAD, MOVED_SHARE = math.radians(1), math.radians(3), 0.005
"""How far the plane of a raise lies off the arm line (standard deviation): where a fixed shoulder explains all of the
acceleration, and where it leaves this share and more (looked-at bodies of two simulators: 1.5–1.7° and 2.0–3.9°)."""
MOST_TILT_RAD, MOST_BEND_RAD = math.radians(20), math.radians(40)
"""A sensor axis farther off the arm than this, in the plane of the raise and across it, lies along no forearm …"""
UNKNOWN_OFF_PLANE_M = 0.05
"""… and a bend across it is then not seen: 12° or so (four people's raises have 5–26°)."""


def off_plane(
    lever: LeverArm, sensor_axes: FloatArray | None, height_m: FloatArray | None = None
) -> LeverArm:
    """Let the arm lie off the plane of the raise as far as the sensor's own axis shows it.

    Parameters
    ----------
    lever : LeverArm
        Fitted, held near that plane by its prior.
    sensor_axes : ndarray, shape (k, 3), or None
        Unit vectors of which one is said to point along the forearm to the hand.
    height_m : ndarray, shape (3,), m, optional
        From the bone to the sensor, sensor axes, where the strap's place is known.

    Returns
    -------
    LeverArm
        With the wrist moved along the axis of the raise, and how uncertain that is.

    Notes
    -----
    The forearm's angle to the plane is h + s + e: of the plane to the arm line, of the strap on the forearm, of the
    forearm to the arm line. The arm line's own is h and the forearm's share of e; its mean and variance given their
    sum (normal), with the variance of e as the sum leaves it (empirical Bayes, after Efron and Morris 1973, from
    memory).
    """
    if lever.across is None:
        return lever
    if sensor_axes is None:
        return replace(lever, off_plane_m=UNKNOWN_OFF_PLANE_M)
    reach_m = max(lever.reach_m, 1e-9)
    arm = lever.vector_m / reach_m
    line = arm if height_m is None else arm - height_m / reach_m
    forearm = sensor_axes[int(np.argmax(sensor_axes @ arm))]
    # Where the hand turned, the fit itself has seen some of it.
    seen = math.asin(float(np.clip(forearm @ lever.across, -1.0, 1.0))) - math.asin(
        float(np.clip(line @ lever.across, -1.0, 1.0))
    )
    tilt = math.asin(float(np.clip(forearm @ np.cross(lever.across, arm), -1.0, 1.0)))
    if abs(seen) > MOST_BEND_RAD or abs(tilt) > MOST_TILT_RAD:
        return replace(lever, off_plane_m=UNKNOWN_OFF_PLANE_M)
    moved = min((1 - lever.explained) / MOVED_SHARE, 1.0)
    hinge = HINGE_RAD**2 + moved * (MOVED_HINGE_RAD**2 - HINGE_RAD**2)
    strap = STRAP_TILT_RAD**2 / 3
    bent = max(seen**2 - hinge - strap, 0.0)
    together = hinge + FOREARM_SHARE * bent
    share = together / (hinge + strap + bent)
    unsure = hinge + FOREARM_SHARE**2 * bent - share * together
    return replace(
        lever,
        vector_m=lever.vector_m + lever.across * (reach_m * math.sin(seen) * share),
        off_plane_m=math.hypot(OFF_PLANE_M, reach_m * math.sqrt(unsure)),
        forearm_rad=math.sqrt(bent),
    )
