"""What to simulate: the plan of a session, all in SI units."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

from armarc.errors import UsageError
from armarc.simulate.body import Body
from armarc.simulate.grades import SENSOR_GRADES
from armarc.simulate.patterns import LATERAL_RAISE, Pattern

STRAP_PLACES = ("back", "inside", "thumb", "little-finger")
HAND_AXES = ("+x", "-x", "+y", "-y", "+z", "-z")
SIDES = ("right", "left")


def _check(condition: bool, message: str, hint: str) -> None:
    if not condition:
        raise UsageError(message, hint)


@dataclass(frozen=True, slots=True, kw_only=True)
class RepPlan:
    """One repetition, bottom to bottom.

    Parameters
    ----------
    bottom_rad, top_rad : float, rad
        Movement angle at the start and at the top.
    end_rad : float or None, rad
        Bottom after the rep; None means `bottom_rad`.
    concentric_s, hold_s, eccentric_s, pause_s : float, s
        From rest to rest; `pause_s` comes after the rep. The measures of the truth start and end at
        rate thresholds and are a little shorter.
    start_velocity_rad_s : float or None, rad/s
        Wanted speed through the start gate (10° to 20° above the bottom); None leaves the whole
        concentric a minimum-jerk move.
    swing_m : float, m
        Travel of the shoulder, up and forward, during the concentric.
    swing_returns : str
        ``"within"``: back by the end of the concentric; ``"after"``: back during the eccentric.
    dip_m : float, m
        How far the shoulder sinks just before the rep, as part of a dip and drive.
    tremor_rad : float, rad
        Amplitude of an 8–12 Hz tremor of the arm; 0.05° already shakes the wrist with 2 m/s².
    grind : float
        0 to 1: how much the speed drops at a sticking point about two thirds up.
    pulses : int
        How often the arm sinks by `pulse_rad` and rises again before it is lowered, each within `pulse_s`; one is
        a double top.
    sink_rad : float, rad
        How far the held arm sinks, evenly from soon after the top on, until it is lowered; needs a hold, takes no
        pulses.
    """

    bottom_rad: float = math.radians(8)
    top_rad: float = math.radians(90)
    end_rad: float | None = None
    concentric_s: float = 1.6
    hold_s: float = 0.0
    eccentric_s: float = 2.0
    pause_s: float = 0.3
    start_velocity_rad_s: float | None = None
    swing_m: float = 0.0
    swing_returns: str = "within"
    dip_m: float = 0.0
    tremor_rad: float = 0.0
    grind: float = 0.0
    pulses: int = 0
    pulse_rad: float = math.radians(12)
    pulse_s: float = 0.7
    sink_rad: float = 0.0

    def __post_init__(self) -> None:
        rom = self.top_rad - self.bottom_rad
        _check(rom >= math.radians(5), f"a rep of {math.degrees(rom):.1f}° is too small", "5° at least")
        _check(
            self.top_rad - self.lowest_end_rad >= math.radians(5),
            "the rep must come down again",
            "choose an end at least 5° below the top",
        )
        for name in ("concentric_s", "eccentric_s"):
            _check(
                0.1 <= getattr(self, name) <= 60,
                f"{name} must lie between 0.1 and 60 s, got {getattr(self, name):g}",
                "seconds, for example 1.5",
            )
        for name in ("hold_s", "pause_s"):
            _check(
                0 <= getattr(self, name) <= 600,
                f"{name} must lie between 0 and 600 s, got {getattr(self, name):g}",
                "seconds, 0 for none",
            )
        _check(
            self.swing_returns in ("within", "after"),
            "the swing returns 'within' the concentric or 'after' it",
            "choose one",
        )
        _check(
            0 <= self.swing_m <= 0.3, "shoulder travel must lie between 0 and 30 cm", "2 to 6 cm is a cheat"
        )
        _check(0 <= self.dip_m <= 0.3, "the dip must lie between 0 and 30 cm", "1 to 3 cm is usual")
        _check(0 <= self.grind < 1, "grind must lie between 0 and 1", "0.8 is a hard sticking point")
        _check(
            0 <= self.tremor_rad <= math.radians(5),
            "tremor must lie between 0° and 5°",
            "0.05° is a tired arm",
        )
        _check(0 <= self.pulses <= 50, f"a rep has 0 to 50 pulses, got {self.pulses}", "2 or 3 are usual")
        _check(0.2 <= self.pulse_s <= 10, "a pulse takes 0.2 to 10 s", "0.7 is usual")
        _check(
            not self.pulses
            or math.radians(1) <= self.pulse_rad <= 0.6 * (self.top_rad - self.lowest_end_rad),
            "a pulse must be at least 1° deep and stay within the upper 60 % of the range",
            "10° to 15° is usual",
        )
        _check(
            0 <= self.sink_rad <= 0.6 * (self.top_rad - self.lowest_end_rad),
            "a held arm sinks within the upper 60 % of the range",
            "5° to 15° is usual",
        )
        _check(
            not self.sink_rad or (self.hold_s >= 0.2 and not self.pulses),
            "an arm sinks in a hold of 0.2 s or more, without pulses",
            "lengthen the hold, or leave the pulses",
        )

    @property
    def lowest_end_rad(self) -> float:
        """The bottom after the rep, rad."""
        return self.bottom_rad if self.end_rad is None else self.end_rad


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPlan:
    """Consecutive reps and what surrounds them.

    ``rest_s`` comes after the set (ignored after the last one); ``pick_up``/``put_down`` bend down for the
    weight; ``walk`` and ``fidget`` fill the rest. ``alternating``: the other arm does its rep in the pauses, and the
    body moves a little with it.
    """

    reps: tuple[RepPlan, ...]
    ready_s: float = 1.0
    rest_s: float = 30.0
    pick_up: bool = False
    put_down: bool = False
    walk: bool = False
    fidget: bool = False
    alternating: bool = False

    def __post_init__(self) -> None:
        _check(len(self.reps) >= 1, "a set needs at least one rep", "ask for 1 or more")
        for one, following in pairwise(self.reps):
            _check(
                math.isclose(one.lowest_end_rad, following.bottom_rad, abs_tol=1e-9),
                "a rep must start where the one before ended",
                "set end_rad of each rep to bottom_rad of the next",
            )
        _check(0 <= self.rest_s <= 3600, "a rest must lie between 0 and 3600 s", "60 is usual")
        _check(0 <= self.ready_s <= 60, "getting ready must lie between 0 and 60 s", "1 is usual")


@dataclass(frozen=True, slots=True, kw_only=True)
class MountPlan:
    """How the sensor sits on the arm.

    The sensor's face axis (outward from the skin) is +z, or +x when `hand_axis` is ±z.

    Parameters
    ----------
    strap : str
        ``"back"``, ``"inside"``, ``"thumb"``, ``"little-finger"``: the side of the wrist it sits on.
    hand_axis : str
        Sensor axis that points to the hand.
    roll_rad : float, rad
        Turn of the strap about the forearm; positive is a right-handed turn about the direction to the hand.
    tilt_rad : float, rad
        Angle between `hand_axis` and the forearm, from a skewed strap and the taper of the forearm.
    height_m : float, m
        Sensor above the bone, outward.
    reach_m : float or None, m
        Shoulder to sensor along the arm line with a straight elbow; None takes the exercise's.
    """

    strap: str = "back"
    hand_axis: str = "+y"
    roll_rad: float = 0.0
    tilt_rad: float = 0.0
    height_m: float = 0.025
    reach_m: float | None = None

    def __post_init__(self) -> None:
        _check(
            self.strap in STRAP_PLACES,
            f"unknown strap place {self.strap!r}",
            "one of " + ", ".join(STRAP_PLACES),
        )
        _check(
            self.hand_axis in HAND_AXES,
            f"unknown sensor axis {self.hand_axis!r}",
            "one of " + ", ".join(HAND_AXES),
        )
        _check(
            abs(self.tilt_rad) <= math.radians(45),
            "the tilt must stay within 45°",
            "a loose strap gives 5 to 10°",
        )
        _check(-0.1 <= self.height_m <= 0.1, "the sensor's height must stay within 10 cm", "2.5 cm is usual")
        _check(
            self.reach_m is None or 0.05 <= self.reach_m <= 1.0,
            "the reach must lie between 0.05 and 1 m",
            "shoulder to wrist is 0.5 to 0.65 m",
        )
        _check(math.isfinite(self.roll_rad), "the strap's roll must be an angle", "0 to 360")


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorPlan:
    """The sensor: sampling, losses and errors.

    Parameters
    ----------
    noise : str
        Grade, a key of `SENSOR_GRADES`.
    rate_hz : float, Hz
    gyroscope_bias_rad_s : tuple of float or None, rad/s
        Constant zero-rate offset per axis; None draws one within the grade.
    accelerometer_range_m_s2, gyroscope_range_rad_s : float
        Ends of the range; readings beyond are clipped and flagged.
    gaps_s : tuple of (at, length), s
    drop_fraction : float
        Share of the samples lost, in packets of `packet_samples`.
    jitter_s : float, s
        Standard deviation of the error of the time stamps.
    temperature : bool
        Add a temperature column that warms up.
    """

    noise: str = "common"
    rate_hz: float = 100.0
    gyroscope_bias_rad_s: tuple[float, float, float] | None = None
    accelerometer_range_m_s2: float = 16 * 9.80665
    gyroscope_range_rad_s: float = math.radians(2000)
    gaps_s: tuple[tuple[float, float], ...] = ()
    drop_fraction: float = 0.0
    packet_samples: int = 4
    jitter_s: float = 0.0
    temperature: bool = False

    def __post_init__(self) -> None:
        _check(
            self.noise in SENSOR_GRADES,
            f"unknown noise grade {self.noise!r}",
            "one of " + ", ".join(SENSOR_GRADES),
        )
        _check(
            10 <= self.rate_hz <= 2000, f"a rate of {self.rate_hz:g} Hz is out of range", "25 to 400 is usual"
        )
        _check(
            0 <= self.drop_fraction <= 0.5,
            "lost samples must lie between 0 and 50 %",
            "1 to 5 % is a bad link",
        )
        _check(0 <= self.jitter_s <= 0.1, "the jitter must lie between 0 and 100 ms", "2 ms is usual")
        _check(self.packet_samples >= 1, "a packet carries at least one sample", "4 is usual")
        _check(
            0 < self.accelerometer_range_m_s2 < 1e5, "no such accelerometer range", "4, 8 or 16 g are usual"
        )
        _check(0 < self.gyroscope_range_rad_s < 1e4, "no such gyroscope range", "500, 1000 or 2000 °/s")
        for at, length in self.gaps_s:
            sensible = at >= 0 and 0 < length <= 3600
            _check(sensible, f"a gap at {at:g} s of {length:g} s makes no sense", "for example 5:0.3")


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionSetup:
    """What is the same in every set of a session.

    Parameters
    ----------
    pattern : Pattern
        The exercise's movement.
    side : str
        ``"right"`` or ``"left"``.
    still_s : float, s
        Standing still at the beginning.
    press_start, press_stop : bool
        The recording begins with the wrist before the face, where start was pressed, and ends there, where stop is
        pressed, 2 to 4 s after the last rep. Nothing is trimmed.
    walk_up, walk_away : bool
        Walk to the place of the set first, and away from it after the last one.
    twist, front_raise : bool
        Reference moves before the first set: forearm palm in/palm out, and a straight raise to the front.
    sway_m : float, m
        Typical wander of the trunk.
    hand_rotation_rad : float or None, rad
        Elevation of the thumb above horizontal at the top; None takes the exercise's.
    hang_turn_rad : float, rad
        How far the thumb is turned inward from forward while the arm hangs.
    load_kg : float or None
        Written into the metadata only.
    body : Body
        What the body does that a rigid arm does not.
    """

    pattern: Pattern = LATERAL_RAISE
    side: str = "right"
    still_s: float = 2.0
    press_start: bool = False
    press_stop: bool = False
    walk_up: bool = False
    walk_away: bool = False
    twist: bool = False
    front_raise: bool = False
    sway_m: float = 0.003
    hand_rotation_rad: float | None = None
    hang_turn_rad: float = 0.0
    load_kg: float | None = None
    body: Body = field(default_factory=Body)
    mount: MountPlan = field(default_factory=MountPlan)
    sensor: SensorPlan = field(default_factory=SensorPlan)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionPlan(SessionSetup):
    """Everything that is recorded in one file."""

    sets: tuple[SetPlan, ...]

    @property
    def reach_m(self) -> float:
        """Pivot to sensor with a straight elbow, m."""
        return self.pattern.reach_m if self.mount.reach_m is None else self.mount.reach_m

    def __post_init__(self) -> None:
        _check(len(self.sets) >= 1, "a session needs at least one set", "ask for 1 or more")
        _check(self.side in SIDES, f"unknown side {self.side!r}", "right or left")
        _check(0 <= self.still_s <= 600, "standing still must lie between 0 and 600 s", "2 is usual")
        if not self.pattern.about_vertical:
            lowest = min(rep.lowest_end_rad for one in self.sets for rep in one.reps)
            lowest = min(lowest, *(one.reps[0].bottom_rad for one in self.sets))
            highest = max(rep.top_rad for one in self.sets for rep in one.reps)
            _check(
                lowest >= 0 and highest <= math.radians(175),
                f"elevations from {math.degrees(lowest):.1f}° to {math.degrees(highest):.1f}° leave the range",
                "an arm hangs at 0° and reaches up to 175°",
            )
        _check(
            self.pattern.whole_arm or not self.body.has_elbow,
            f"in {self.pattern.key} the sensor's segment has no elbow to bend and no forearm to turn",
            "leave elbow and pronation out",
        )
        _check(
            not self.pattern.about_vertical or self.body.rest_plane_rad is None,
            f"{self.pattern.key} has no plane of rest beside its own",
            "leave the rest plane out",
        )
        for angle in (self.pattern.plane_rad, self.hand_rotation_rad or 0.0, self.hang_turn_rad):
            _check(math.isfinite(angle), "plane and hand rotation must be angles", "degrees from -180 to 180")
        _check(0 <= self.sway_m <= 0.05, "the sway must lie between 0 and 5 cm", "3 mm is usual")
