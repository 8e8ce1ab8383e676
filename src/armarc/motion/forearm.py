"""How a sensor sits on the forearm: as it was stated, or as it may be where nobody said so."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray

FOREARM_SHARE = 0.45
"""Share of the reach below the elbow (de Leva 1996, Table 4: upper arm 28.2 cm, elbow to wrist 26.9 cm in men; a strap
sits some 4 cm above the wrist)."""
ASKEW_RAD = math.radians(5)
"""How far a strap sits askew (working limit, no source)."""
TAKEN_RAD = math.radians(12.5)
"""How far a forearm lies off the arm line where that is all there is to go by: elbows bent by 25° and less."""
NEAR_RAD = math.radians(25)
"""A sensor axis farther off the arm line than this does not lie along the forearm."""
BENDS_TOWARDS_RAD = (0.0, math.radians(60))
BENDS_WITHIN_RAD = math.radians(25)
"""Where an arm hangs, its elbow bends forward (palms to the thighs) or inward (palms back); together these are within
25° of any direction from 25° outward of forward to 5° short of inward (common practice, no source)."""
HEIGHT_WITHIN_M = 0.03
"""A sensor lies so far from the bone, on one side of the wrist or the other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forearm:
    """How the sensor sits on the forearm: unit vectors in sensor axes, shape (3,), and its height.

    Parameters
    ----------
    hand : ndarray
        Along the forearm to the hand.
    thumb : ndarray
        To the thumb's side, across the forearm: there an elbow bends.
    outward : ndarray
        Away from the skin.
    height_m : float, m
    reach_m : float or None, m
        From the shoulder to the sensor of the straight arm, where somebody measured it.
    askew_rad, thumb_within_rad, height_within_m : float, rad, rad, m
        Standard deviations of hand, thumb and height.
    is_stated : bool
        Whether somebody said so.
    """

    hand: FloatArray
    thumb: FloatArray
    outward: FloatArray
    height_m: float
    reach_m: float | None = None
    askew_rad: float = ASKEW_RAD
    thumb_within_rad: float = math.radians(20)
    height_within_m: float = 0.01
    is_stated: bool = True


def possible_forearms(
    arm: FloatArray,
    hinge: FloatArray,
    plane_rad: float,
    side: str,
    *,
    hand: FloatArray | None = None,
    reach_m: float | None = None,
) -> tuple[Forearm, ...]:
    """Ways a sensor may sit on the forearm where its place round the wrist was not stated, each as likely as another.

    Which way an elbow bends follows from the plane the arm is raised in; the forearm lies along the nearest axis of
    the sensor, or about along the arm line.

    Parameters
    ----------
    arm : ndarray, shape (3,)
        From the shoulder to the sensor, sensor axes.
    hinge : ndarray, shape (3,)
        Axis the arm turns about as it is raised, right-handed.
    plane_rad : float, rad
        Of the raise: 0 to the side, π/2 forward.
    side : str
        ``"right"`` or ``"left"``.
    hand : ndarray, shape (3,), or None
        Along the forearm to the hand, where somebody said so.
    reach_m : float or None, m
    """
    # A right arm raised to the side turns about an axis that points back, raised forward about one to the right.
    up_to = np.cross(hinge, arm)
    about = hinge if side == "right" else -hinge
    forward = math.sin(plane_rad) * up_to - math.cos(plane_rad) * about
    inward = -math.cos(plane_rad) * up_to - math.sin(plane_rad) * about
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    nearest = axes[int(np.argmax(axes @ arm))] if hand is None else hand
    hands = [(arm, TAKEN_RAD)]
    if float(nearest @ arm) > math.cos(NEAR_RAD):
        hands.append((nearest, ASKEW_RAD))
    return tuple(
        Forearm(
            hand=along,
            thumb=math.cos(towards) * forward + math.sin(towards) * inward,
            outward=axes[2] if abs(along[2]) < math.sqrt(0.5) else axes[0],
            height_m=0.0,
            reach_m=reach_m,
            askew_rad=askew,
            thumb_within_rad=BENDS_WITHIN_RAD,
            height_within_m=HEIGHT_WITHIN_M,
            is_stated=False,
        )
        for along, askew in hands
        for towards in BENDS_TOWARDS_RAD
    )
