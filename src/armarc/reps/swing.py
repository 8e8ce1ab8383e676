"""How much the body swung: how far the shoulder centre moved in the concentric beyond what it does on the lowering.

The shoulder girdle rises with the arm by some centimetres, an elbow bends with it, and a lever arm that is a little
wrong moves the seeming shoulder along an arc. All three are functions of the arm's angle and show the same on the way
up and on the way down; a swing of the body does not. So the path of the shoulder is followed over the whole rep, from
rest to rest, what the lowering says as a function of the angle is taken away, and the rest of the concentric is the
swing. What the body does with the arm's angle both ways cannot be told from the girdle with one wrist sensor: then
there is no number, and the reason says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from armarc.motion import (
    ArmMotion,
    integrate_cycle,
    low_pass,
    path_diameters,
    shoulder_acceleration,
)
from armarc.motion.kinematics import curvature
from armarc.recording import FloatArray
from armarc.reps.pauses import REST_WITHIN_S, rests_beside
from armarc.reps.phases import Instants

BANDWIDTH_HZ = 4.0
"""A body swings slower than this; tremor above it would leave a false velocity at the ends of the window."""
LEAST_PHASE_S = 0.2
LONGEST_CYCLE_S = 12.0
"""From rest to rest (working limit): what tilt's drift adds to the path grows faster than the square of the time."""
RESTING_RAD_S = math.radians(15)
"""An arm faster than this is not at rest (working limit)."""

OFFSET_M_S2 = 0.1
"""Spread of what is left of the accelerometer's zero-g offset and of tilt errors that grow with the angle."""
ARC_M = 0.03
"""Spread of the arc along which a shoulder goes with the arm: a girdle rises 3 to 5 cm."""
SPREADS = np.array([OFFSET_M_S2, OFFSET_M_S2, ARC_M, ARC_M])
BEFORE_S, AFTER_S = 0.3, 0.2
"""Around the concentric the body may swing: no sample there says what the errors are."""
READ_HZ = 25.0
"""After the low-pass, samples closer than this hold nothing new."""
INDEPENDENT_PER_S = 2.0
"""A slow disturbance of a rep repeats itself from sample to sample."""
HUBER = 2.3
"""Residuals longer than this many standard deviations of one axis count less; 2.3 keeps 85 of 100 of a normal's."""

FLOOR_M = 0.001
"""Double-integrated noise of a good sensor."""
DRIFT_M_S2 = 3e-5
"""Per square second from rest to rest: drift that bends, which neither the rests nor the lowering show."""
SEEMING_TRAVEL = 2.0
"""Peak-to-peak of a random path over its root mean square, about: a sine's is 2.8, a ramp's 3.5, and part of what
the lowering leaves is sway, which is real."""
SCATTER_SHARE = 0.7
TAKEN_SHARE = 0.03
"""The fit of the lever arm takes about this share of a swing for the arm's own; so does the low-pass."""
GIRDLE_SHARE, GIRDLE_DOUBT = 0.3, 0.3
"""Shares, in the standard error, of what moves with the arm's angle and of what taking it away has changed."""
HIDDEN_SHARE = 0.8
"""Share, in the standard error, of the path that the arm's direction may have hidden from the fit of the lever arm."""
FOLLOWS_M = 0.009
"""What a trunk does with the arm's angle both ways and the fit of the lever arm takes for the arm's own: it leans away
from a weight by 1°, give or take as much, at half a metre above the hips (working limit; 1–2.5 cm by the chest sensor
of a lifter's correct raises)."""
WITH_ARM_M = 0.008
"""More than this with the arm's angle is more than a rigid arm shows on any grade of sensor (at most 0.7 cm)."""
MOST_WITH_ARM_M, MOST_SWING_M = 0.08, 0.15
"""A girdle rises 3 to 5 cm and no body swings farther in a raise (working limits): beyond, the lever arm is wrong."""
WIDEST_SE_M, WIDEST_SE_SHARE = 0.02, 0.5
"""A standard error beyond both, the second as a share of the swing, says that the number says nothing."""

NOT_YET = "measured once the set is over"
NO_RAISE = "no raise about the shoulder"
NO_LEVER_ARM = "no lever arm: the recording does not show where the shoulder is"
GAP = "samples are missing"
SHORT = "too short a concentric or lowering"
NO_REST = "no rest before or after the rep"
LONG = "too long from rest to rest"
ADRIFT = "the arm does not turn about one point"
GIRDLE = "cannot be told from the girdle or the elbow"
UNCERTAIN = "too uncertain"


@dataclass(frozen=True, slots=True, kw_only=True)
class SwingCourse:
    """The shoulder in one rep, from a rest before it to one after it; m samples from sample `first` on.

    Parameters
    ----------
    first : int
        Sample of the motion.
    path_m : ndarray, shape (m, 3), m
        From its place of rest, global frame.
    swing_m : ndarray, shape (m, 3), m
        The same without what the lowering shows as a function of the arm's angle.
    """

    first: int
    path_m: FloatArray
    swing_m: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """Swing of one rep.

    Parameters
    ----------
    travel_m, se_m : float or None, m
        Peak-to-peak and its standard error beyond what the shoulder does with the arm's angle; None where it cannot be
        told.
    reason : str or None
        Why it cannot.
    course : SwingCourse or None
        Of the shoulder; None where the rep has no rest to begin and end at.
    """

    travel_m: float | None = None
    se_m: float | None = None
    reason: str | None = None
    course: SwingCourse | None = None

    @property
    def whole_se_m(self) -> float | None:
        """Standard error of the travel as all that the body did, m; None where it cannot be told."""
        return None if self.se_m is None else math.hypot(self.se_m, FOLLOWS_M)


def lifting_se_m(whole_se_m: float) -> float:
    """The part of such an error that lifts, m: a lean goes sideways."""
    return math.sqrt(max(whole_se_m**2 - FOLLOWS_M**2, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cycle:
    """Samples of one rep from rest to rest, and its phases in them."""

    samples: slice
    up: slice
    down: slice
    aside: slice
    """The concentric and what is near it."""

    def of(self, begin: int) -> slice:
        """The samples in what begins with sample `begin`."""
        return slice(self.samples.start - begin, self.samples.stop - begin)


def body_swings(motion: ArmMotion, reps: Sequence[Instants], hidden_m: float = 0.0) -> tuple[Swing, ...]:
    """Body swing of every rep of a set.

    Parameters
    ----------
    motion : ArmMotion
    reps : sequence of Instants
        Of one set, in order.
    hidden_m : float, m
        What the arm's uncertain direction is at the sensor: a trunk that leans with the arm and comes back with it may
        have been taken for the arm.

    Returns
    -------
    tuple of Swing
        One per rep.
    """
    lever_arm_m = motion.mounting.lever_arm_m
    if motion.coordinate != "elevation":
        return tuple(Swing(reason=NO_RAISE) for _ in reps)
    if lever_arm_m is None:
        return tuple(Swing(reason=NO_LEVER_ARM) for _ in reps)
    if not reps:
        return ()
    margin = 3 * REST_WITHIN_S * motion.rate_hz
    near = slice(max(math.floor(reps[0].start - margin), 0), math.ceil(reps[-1].end + margin))
    acceleration = shoulder_acceleration(
        motion.quaternion[near],
        motion.angular_velocity_rad_s[near],
        motion.specific_force_m_s2[near],
        motion.rate_hz,
        lever_arm_m,
        bandwidth_hz=BANDWIDTH_HZ,
    )
    return swings_of_set(motion, acceleration, reps, hidden_m, near.start)


def swings_of_set(
    motion: ArmMotion,
    acceleration_m_s2: FloatArray,
    reps: Sequence[Instants],
    hidden_m: float = 0.0,
    begin: int = 0,
) -> tuple[Swing, ...]:
    """Body swings from the acceleration of the shoulder.

    Parameters
    ----------
    motion : ArmMotion
    acceleration_m_s2 : ndarray, shape (m, 3), m/s²
        Of the shoulder, global frame, of bandwidth `BANDWIDTH_HZ`, from sample `begin` on; read around the reps only.
    reps : sequence of Instants
    hidden_m : float, m
        As in `body_swings`.
    begin : int

    Returns
    -------
    tuple of Swing
        One per rep.
    """
    rests = rests_beside(motion, acceleration_m_s2, begin, reps)
    found = [_cycle(motion, at, *around) for at, around in zip(reps, rests, strict=True)]
    cycles = [each for each in found if isinstance(each, _Cycle)]
    if not cycles:
        return tuple(Swing(reason=str(each)) for each in found)
    around = _around(motion.elevation_rad[begin : cycles[-1].samples.stop])
    turned, pushed = ([each[c.of(begin)] for c in cycles] for each in (around, acceleration_m_s2))
    error, apart = _errors_with_angle(pushed, around, begin, cycles, motion.rate_hz)
    # Beside each path, in three more columns, how much otherwise it is where the shoulder goes along an arc.
    paths = [
        integrate_cycle(np.hstack([a - x @ error, x @ apart]), motion.rate_hz)
        for a, x in zip(pushed, turned, strict=True)
    ]
    arcs = [np.column_stack([np.ones(len(x)), x]) for x in turned]
    with_arm = _with_arm(paths, arcs, cycles)
    beyond = [p - a @ with_arm for p, a in zip(paths, arcs, strict=True)]
    left = [math.sqrt(float(b[c.down, :3].var(axis=0).sum())) for b, c in zip(beyond, cycles, strict=True)]
    usual, told = float(np.median(left)), []
    for path, rest, arc, own, cycle in zip(paths, beyond, arcs, left, cycles, strict=True):
        ways = [path[:, :3], rest[:, :3], arc @ with_arm[:, :3], rest[:, 3:]]
        total, swung, along, otherwise = path_diameters([way[cycle.up] for way in ways])
        swing = _judged(
            total_m=total,
            beyond_m=swung,
            with_arm_m=along,
            scatter_m=max(usual, own),
            otherwise_m=otherwise,
            hidden_m=hidden_m,
            lasts_s=len(path) / motion.rate_hz,
        )
        course = SwingCourse(first=cycle.samples.start, path_m=ways[0].copy(), swing_m=ways[1].copy())
        told.append(replace(swing, course=course))
    following = iter(told)
    return tuple(next(following) if isinstance(each, _Cycle) else Swing(reason=each) for each in found)


def _judged(
    *,
    total_m: float,
    beyond_m: float,
    with_arm_m: float,
    scatter_m: float,
    otherwise_m: float,
    hidden_m: float,
    lasts_s: float,
) -> Swing:
    # Errors add to the path in quadrature and never shorten it: their share is taken out again.
    seen = math.sqrt(max(beyond_m**2 - (SEEMING_TRAVEL * scatter_m) ** 2, 0.0))
    se = math.sqrt(
        FLOOR_M**2
        + (HIDDEN_SHARE * hidden_m) ** 2
        + (DRIFT_M_S2 * lasts_s**2) ** 2
        + otherwise_m**2
        + (SCATTER_SHARE * scatter_m) ** 2
        + (TAKEN_SHARE * seen) ** 2
        + (GIRDLE_SHARE * with_arm_m) ** 2
        + (GIRDLE_DOUBT * (total_m - beyond_m)) ** 2
    )
    if with_arm_m > MOST_WITH_ARM_M or seen > MOST_SWING_M:
        return Swing(
            reason=f"{ADRIFT}: {100 * with_arm_m:.0f} cm with the arm's angle, {100 * seen:.0f} cm beyond it"
        )
    if with_arm_m > max(seen, WITH_ARM_M):
        return Swing(
            reason=f"{GIRDLE}: {100 * with_arm_m:.1f} cm with the arm's angle, {100 * seen:.1f} cm beyond it"
        )
    if se > max(WIDEST_SE_M, WIDEST_SE_SHARE * seen) or otherwise_m > WIDEST_SE_M:
        return Swing(reason=f"{UNCERTAIN}: {100 * seen:.1f} ± {100 * se:.1f} cm")
    return Swing(travel_m=seen, se_m=se)


def _cycle(motion: ArmMotion, at: Instants, first: int, last: int) -> _Cycle | str:
    """One rep from the rest before it to the rest after it, or why it is none."""
    hz, rate = motion.rate_hz, motion.angle_rate_rad_s
    if at.is_begun or not at.is_complete:
        return NO_REST
    if min(at.top_start - at.start, at.end - at.top_end) < LEAST_PHASE_S * hz:
        return SHORT
    if max(abs(rate[first]), abs(rate[last])) > RESTING_RAD_S:
        return NO_REST
    if last - first > LONGEST_CYCLE_S * hz:
        return LONG
    if motion.missing[first : last + 1].any():
        return GAP

    def place(x: float) -> int:
        return min(max(round(x) - first, 0), last - first)

    return _Cycle(
        samples=slice(first, last + 1),
        up=slice(place(at.start), place(at.top_start) + 1),
        down=slice(place(at.top_end), place(at.end) + 1),
        aside=slice(place(at.start - BEFORE_S * hz), place(at.top_start + AFTER_S * hz) + 1),
    )


def _around(angle_rad: FloatArray) -> FloatArray:
    return np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=1)


def _errors_with_angle(
    pushed: Sequence[FloatArray],
    around: FloatArray,
    begin: int,
    cycles: Sequence[_Cycle],
    hz: float,
) -> tuple[FloatArray, FloatArray]:
    """Acceleration error that turns with the arm, and how much otherwise it is where the shoulder goes along an arc.

    A girdle pushes one way at the top of a lowering and the other way at its end, much as such an error does. An arm
    raised as it was lowered loses both together; one let fall would leave its girdle's push in a slow raise.
    """
    curved = curvature(low_pass(around, hz, min(BANDWIDTH_HZ, 0.4 * hz)), hz)
    turned = [around[c.of(begin)] for c in cycles]
    arced = [np.hstack([x, curved[c.of(begin)]]) for x, c in zip(turned, cycles, strict=True)]
    error = _error_with_angle(pushed, turned, cycles, hz)
    return error, _error_with_angle(pushed, arced, cycles, hz)[:2] - error


def _error_with_angle(
    acceleration: Sequence[FloatArray], turned: Sequence[FloatArray], cycles: Sequence[_Cycle], hz: float
) -> FloatArray:
    """Acceleration error that turns with the arm: shape (2, 3), m/s², per cosine and sine of the elevation; with them,
    shape (4, 3), m, per second derivative of each, the arc of a shoulder that goes along.

    A zero-g offset is fixed in the sensor, and a scale error of the gyroscope tilts the more the farther the arm is
    raised. Neither is constant over a rep, so that rest at both ends does not cancel them; but they are there while
    the arm is lowered and held as well. Each rep has its own constant besides.
    """
    design, seen = [], []
    every = max(int(hz / READ_HZ), 1)
    for pushed, turn, cycle in zip(acceleration, turned, cycles, strict=True):
        outside = np.ones(len(turn), dtype=bool)
        outside[cycle.aside] = False
        outside = np.flatnonzero(outside)[::every]
        if len(outside) > 2:
            x, y = turn[outside], pushed[outside]
            design.append(x - x.mean(axis=0))
            seen.append(y - y.mean(axis=0))
    columns = turned[0].shape[1]
    error, prior = np.zeros((columns, 3)), np.diag(SPREADS[:columns] ** -2.0)
    if not design:
        return error
    x, y = np.concatenate(design), np.concatenate(seen)
    for _ in range(5):
        left = y - x @ error
        size = np.sqrt(np.einsum("ij,ij->i", left, left))
        scale = float(np.median(size)) / 1.538 + 1e-9  # median of a 3-D normal's length is 1.538 σ
        weight = np.minimum(1.0, HUBER * scale / np.maximum(size, 1e-12))
        variance = max(float(weight @ size**2) / (3 * float(weight.sum())), 1e-4)
        trust = INDEPENDENT_PER_S * every / (hz * variance)
        weighted = (x * weight[:, None]).T
        error = np.linalg.solve(trust * weighted @ x + prior, trust * weighted @ y)
    return np.asarray(error)


def _with_arm(
    paths: Sequence[FloatArray], arcs: Sequence[FloatArray], cycles: Sequence[_Cycle]
) -> FloatArray:
    """What the lowering phases of the set say the shoulder does with the arm's angle: shape (3, k), m, for k columns.

    Rows are the coefficients of 1, cos θ and sin θ: a wrong lever arm moves the shoulder along just such an arc,
    and over a raise the girdle's rise is one, too, within some millimetres.
    """
    share = [1 / math.sqrt(c.down.stop - c.down.start) for c in cycles]
    x = np.concatenate([w * a[c.down] for w, a, c in zip(share, arcs, cycles, strict=True)])
    y = np.concatenate([w * p[c.down] for w, p, c in zip(share, paths, cycles, strict=True)])
    # From the products: of all the rows the library solves with every core there is, and takes longer for it.
    return np.asarray(np.linalg.lstsq(x.T @ x, x.T @ y, rcond=None)[0])
