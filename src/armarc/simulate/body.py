"""The body behind the wrist: what a person does that a rigid arm on a fixed shoulder does not.

The arm line (shoulder to wrist) follows the plan of the reps; a bent elbow puts the upper arm and the forearm on
either side of it and brings the wrist closer. Sizes are working limits and common practice, no source, unless said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from armarc.errors import UsageError
from armarc.recording import FloatArray

UPPER_ARM_SHARE = 0.335 / (0.335 + 0.263)
"""Of the straight arm from shoulder to sensor: upper arm 0.335 m, elbow to a sensor at the wrist 0.263 m."""
HIP_TO_SHOULDER_M = 0.50
HALF_SHOULDER_WIDTH_M = 0.18
GIRDLE_INWARD = 0.3
"""The girdle takes the shoulder toward the neck by this share of its rise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A body; everything at its default is the rigid arm.

    Parameters
    ----------
    elbow_bottom_rad, elbow_top_rad : float, rad
        Bend of the elbow at the bottom and at the top; it changes in proportion to the movement angle. `elbow_top_rad`
        of None keeps the bend.
    pronation_rad : float, rad
        How far the forearm turns from bottom to top on top of the arm's own turning; positive turns the thumb
        inward.
    girdle_rise_m : float, m
        How far the shoulder girdle has risen, along the trunk, when the arm is level; grows with 1 − cos θ.
    lean_rad, stoop_rad : float, rad
        Standing lean of the trunk to the side away from the arm, and forward.
    lean_travel_rad : float, rad
        Further lean away from the arm at the top, in proportion to the movement angle.
    tip_rad : float, rad
        The trunk tips forward by this about the start of each rep, and back.
    tip_s : float, s
        Time of the tipping forward, and of the way back.
    tip_lead_s : float, s
        How long before the arm sets off the tipping begins.
    sway_rad : float, rad
        Typical wander of the trunk about the hips, forward and sideways.
    arm_follows_trunk : float
        Share of the trunk's tilt that the arm takes along, 0 (the arm keeps to the vertical) to 1 (it turns as
        one with the trunk).
    rest_plane_rad : float or None, rad
        Plane of elevation where the weight rests between reps, for example 75° in front of the thighs; the arm
        swings out of it in the first half of the concentric. None: the plane of the movement.
    swing_rise_rad : float, rad
        Direction of the planned body swing above straight forward.
    swing_peak : float
        Share of the concentric after which the body swing is farthest out.
    wobble_rad : float, rad
        Amplitude of the sensor's turning about the wrist in a loose strap, about the forearm; across it 0.6 of that.
    wobble_hz : float, Hz
    wobble_damping : float
        0: the wobble lasts through every rep; above: it is struck at the start and end of every phase and dies away
        with this damping ratio.
    slip_roll_rad, slip_tilt_rad : float, rad
        The strap slips once, while the weight is lowered in the middle of the middle set: about the forearm, and
        askew to it.
    """

    elbow_bottom_rad: float = 0.0
    elbow_top_rad: float | None = None
    pronation_rad: float = 0.0
    girdle_rise_m: float = 0.0
    lean_rad: float = 0.0
    stoop_rad: float = 0.0
    lean_travel_rad: float = 0.0
    tip_rad: float = 0.0
    tip_s: float = 0.5
    tip_lead_s: float = 0.5
    sway_rad: float = 0.0
    arm_follows_trunk: float = 1.0
    rest_plane_rad: float | None = None
    swing_rise_rad: float = math.acos(0.4)
    swing_peak: float = 0.5
    wobble_rad: float = 0.0
    wobble_hz: float = 7.0
    wobble_damping: float = 0.0
    slip_roll_rad: float = 0.0
    slip_tilt_rad: float = 0.0

    def __post_init__(self) -> None:
        for name, low, high, hint in _LIMITS:
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise UsageError(*_out_of_range(name, value, low, high, hint))

    @property
    def elbow_high_rad(self) -> float:
        """Bend of the elbow at the top, rad."""
        return self.elbow_bottom_rad if self.elbow_top_rad is None else self.elbow_top_rad

    @property
    def is_rigid(self) -> bool:
        """True when the body is the rigid arm."""
        plain = Body()
        how = {
            "tip_s",
            "tip_lead_s",
            "arm_follows_trunk",
            "swing_rise_rad",
            "swing_peak",
            "wobble_hz",
            "wobble_damping",
        }
        return all(
            getattr(self, field.name) == getattr(plain, field.name)
            for field in fields(self)
            if field.name not in how
        )

    @property
    def has_elbow(self) -> bool:
        """True when something happens below the elbow that an upper arm cannot show."""
        return any((self.elbow_bottom_rad, self.elbow_high_rad, self.pronation_rad))


def _degrees(degrees: float) -> float:
    return math.radians(degrees) + 1e-12


_LIMITS = (
    ("elbow_bottom_rad", 0.0, _degrees(120), "10° to 25° is soft"),
    ("elbow_top_rad", 0.0, _degrees(120), "10° to 25° is soft"),
    ("pronation_rad", -_degrees(150), _degrees(150), "30° is a usual turn"),
    ("girdle_rise_m", 0.0, 0.1, "3 to 4 cm is usual"),
    ("lean_rad", -_degrees(60), _degrees(60), "2° to 5° is a slight lean"),
    ("stoop_rad", -_degrees(60), _degrees(60), "2° to 5° is a slight stoop"),
    ("lean_travel_rad", -_degrees(45), _degrees(45), "2° to 5° is usual"),
    ("tip_rad", -_degrees(45), _degrees(45), "5° to 12° is a cheat"),
    ("tip_s", 0.15, 3.0, "0.5 is brisk"),
    ("tip_lead_s", 0.0, 3.0, "0.5 is usual"),
    ("sway_rad", 0.0, _degrees(10), "0.3° is usual"),
    ("arm_follows_trunk", 0.0, 1.0, "a share"),
    ("rest_plane_rad", -_degrees(30), _degrees(130), "75° is in front of the thighs"),
    ("swing_rise_rad", -_degrees(90), _degrees(90), "66° is a push from the legs"),
    ("swing_peak", 0.2, 0.8, "0.5 is the middle of the way up"),
    ("wobble_rad", 0.0, _degrees(10), "1° is a loose strap"),
    ("wobble_hz", 2.0, 20.0, "5 to 9 Hz"),
    ("wobble_damping", 0.0, 1.0, "0.1 dies away in a few turns"),
    ("slip_roll_rad", -_degrees(60), _degrees(60), "5° to 10° is a slip"),
    ("slip_tilt_rad", -_degrees(60), _degrees(60), "5° to 10° is a slip"),
)


def _out_of_range(name: str, value: float, low: float, high: float, hint: str) -> tuple[str, str]:
    stem, _, unit = name.rpartition("_")
    scale, mark = {
        "rad": (180 / math.pi, "°"),
        "m": (100.0, " cm"),
        "s": (1.0, " s"),
        "hz": (1.0, " Hz"),
    }.get(unit, (1.0, ""))
    words = (stem if mark else name).replace("_", " ")
    return (
        f"{words} must lie between {low * scale:.4g} and {high * scale:.4g}{mark}, got {value * scale:.4g}",
        hint,
    )


def forearm_off_line(bend: FloatArray) -> FloatArray:
    """How a bent elbow sets the forearm off the line from shoulder to wrist.

    Parameters
    ----------
    bend : ndarray, shape (3, n), rad, rad/s, rad/s²
        Bend of the elbow and its derivatives, 0 straight.

    Returns
    -------
    ndarray, shape (3, n)
        Angle between the forearm and the line, φ = atan2(l₁ sin β, l₂ + l₁ cos β), and its derivatives; l₁ and l₂ are
        the shares of upper arm and forearm.
    """
    l1, l2 = UPPER_ARM_SHARE, 1 - UPPER_ARM_SHARE
    b, db, ddb = bend
    c, s = np.cos(b), np.sin(b)
    square = l1**2 + l2**2 + 2 * l1 * l2 * c
    slope = (l1**2 + l1 * l2 * c) / square
    curve = l1 * l2 * s * (l1**2 - l2**2) / square**2
    return np.stack([np.arctan2(l1 * s, l2 + l1 * c), slope * db, slope * ddb + curve * db**2])
