"""Movements the synthetic arm can do: which angle moves, and where the rest of the arm is meanwhile.

Ranges and planes are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from armarc.errors import UsageError


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """How one exercise moves.

    Parameters
    ----------
    key : str
        Name on the command line.
    coordinate : str
        Which angle the exercise's measures speak of: ``"elevation"``, ``"horizontal"`` or ``"movement"``.
    about_vertical : bool
        False: the arm is raised in the plane `plane_rad`, the movement angle is its elevation. True: the arm
        is held at `elevation_rad` and swings about the vertical; the movement angle is 0 pointing straight
        ahead and grows outward.
    plane_rad : float, rad
        Plane of elevation, 0 frontal, π/2 sagittal (elevation exercises).
    elevation_rad : float, rad
        Elevation held (exercises about the vertical).
    bottom_rad, top_rad : float, rad
        Usual range of the movement angle.
    reach_m : float, m
        From the pivot (shoulder; elbow for external rotation) to the sensor.
    hand_rotation_rad : float, rad
        Elevation of the thumb direction above horizontal at the top.
    sensor_place : str
        ``"wrist"`` or ``"upper arm"``.
    whole_arm : bool
        The pivot is the shoulder and the sensor lies beyond the elbow.
    """

    key: str
    coordinate: str = "elevation"
    about_vertical: bool = False
    plane_rad: float = 0.0
    elevation_rad: float = math.radians(88)
    bottom_rad: float = math.radians(8)
    top_rad: float = math.radians(90)
    reach_m: float = 0.58
    hand_rotation_rad: float = 0.0
    sensor_place: str = "wrist"
    whole_arm: bool = True


LATERAL_RAISE = Pattern(key="lateral-raise", plane_rad=math.radians(15))
_FRONT = Pattern(key="front-raise", plane_rad=math.radians(88), hand_rotation_rad=math.radians(60))
_SIDEWAYS = ("cable-lateral-raise", "machine-lateral-raise", "band-lateral-raise")
PATTERNS = {
    pattern.key: pattern
    for pattern in (
        LATERAL_RAISE,
        *(replace(LATERAL_RAISE, key=key) for key in _SIDEWAYS),
        Pattern(key="scaption-raise", plane_rad=math.radians(35), hand_rotation_rad=math.radians(45)),
        _FRONT,
        replace(_FRONT, key="front-raise-little-finger-up", hand_rotation_rad=math.radians(-20)),
        # Bent over, the arms hang and are lifted sideways.
        Pattern(
            key="reverse-fly",
            coordinate="movement",
            plane_rad=math.radians(5),
            top_rad=math.radians(85),
        ),
        Pattern(
            key="machine-reverse-fly",
            coordinate="horizontal",
            about_vertical=True,
            elevation_rad=math.radians(87),
            bottom_rad=math.radians(5),
            top_rad=math.radians(95),
            hand_rotation_rad=math.radians(80),
        ),
        # The pivot is the elbow, bent 90° at the side.
        Pattern(
            key="band-external-rotation",
            coordinate="horizontal",
            about_vertical=True,
            elevation_rad=math.radians(86),
            bottom_rad=math.radians(-40),
            top_rad=math.radians(45),
            reach_m=0.24,
            hand_rotation_rad=math.radians(80),
            whole_arm=False,
        ),
        Pattern(
            key="upright-row",
            plane_rad=math.radians(25),
            bottom_rad=math.radians(10),
            top_rad=math.radians(95),
            reach_m=0.25,
            sensor_place="upper arm",
            whole_arm=False,
        ),
        Pattern(
            key="overhead-press",
            plane_rad=math.radians(30),
            bottom_rad=math.radians(55),
            top_rad=math.radians(155),
            reach_m=0.25,
            sensor_place="upper arm",
            whole_arm=False,
        ),
    )
}


def find_pattern(key: str) -> Pattern:
    """Look up a movement by its name.

    Raises
    ------
    UsageError
        If there is none of that name.
    """
    try:
        return PATTERNS[key]
    except KeyError:
        raise UsageError(
            f"no synthetic movement for exercise {key!r}", "one of " + ", ".join(PATTERNS)
        ) from None
