"""Live orientation, sample by sample: the forward half of the tilt smoother.

Same model and same meaning of the state as :mod:`armarc.motion.smoother`: two tilt errors, two horizontal
velocities that stay near zero, the gyroscope's bias. Dead reckoning runs in plain floats on every sample; the
Kalman update (7 states) runs at nodes some 80 ms apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import cos, isfinite, sin, sqrt

import numpy as np

from armarc.errors import InputError
from armarc.motion.lapack import solve_few
from armarc.motion.smoother import STILL_FORCE_M_S2, STILL_RATE_RAD_S, STILL_SPREAD_RAD_S, Priors
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

Vector = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]

NODE_S = 0.08
STILL_WINDOW_S = 0.8
GAP_S = 0.1
"""A step longer than this is a gap: the turn during it is a guess."""

STATES = 7
_IDENTITY = np.eye(STATES)
_FIRST_TILT_SE_RAD = 0.2
UPRIGHT_S = 4.0
"""The arm goes nowhere for good, so its vertical force is gravity on the mean of so many seconds. Where that points
down, the first samples, taken in the middle of a movement, have put the sensor upside down, which the horizontal
velocity alone never tells (working limit: a few reps)."""
_ZERO3: Vector = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Belief:
    """What the Kalman filter carries from node to node, and the last nodes.

    Velocity (2), covariance of (φ, v, b) (7, 7); mean vertical force, m/s²; per node: duration, and the integrals of
    ω, ω² and f over it.
    """

    velocity: FloatArray
    covariance: FloatArray
    lift_m_s2: float = STANDARD_GRAVITY_M_S2
    recent: tuple[tuple[float, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CausalOrientation:
    """State of the live filter.

    Parameters
    ----------
    quaternion : tuple of 4 floats
        Sensor → global, Hamilton, scalar first; None before the first sample.
    bias_rad_s : tuple of 3 floats, rad/s
    lever_arm_m : tuple of 3 floats, m, or None
        Vector from the nearly fixed shoulder to the sensor, sensor axes: its acceleration is removed.
    still : bool
        Whether the sensor has not moved during the last 0.8 s.
    time_s : float, s
        Since the first sample.
    turned_over : int
        How often the sensor was found to be the other way up: `other_way_up` of what went before continues in it.
    """

    quaternion: Quaternion | None = None
    bias_rad_s: Vector = _ZERO3
    lever_arm_m: Vector | None = None
    still: bool = False
    time_s: float = 0.0
    turned_over: int = 0
    priors: Priors = field(default_factory=Priors)
    belief: _Belief | None = None
    sums: tuple[float, ...] = ()
    last_rate: Vector = _ZERO3
    pending_s: float = 0.0

    @property
    def tilt_se_rad(self) -> float:
        """Standard error of the inclination, rad."""
        if self.belief is None:
            return float(np.pi)
        return sqrt(float(self.belief.covariance[0, 0] + self.belief.covariance[1, 1]))

    @property
    def bias_se_rad_s(self) -> float:
        """Standard error of one axis of the bias, rad/s."""
        if self.belief is None:
            return self.priors.bias_rad_s
        return sqrt(float(np.trace(self.belief.covariance[4:, 4:])) / 3.0)


def start(*, lever_arm_m: Vector | None = None, priors: Priors | None = None) -> CausalOrientation:
    """State before the first sample.

    Parameters
    ----------
    lever_arm_m : tuple of 3 floats, m, or None
        Known vector from the shoulder to the sensor, sensor axes.
    priors : Priors or None
        Beliefs of the smoother when None.
    """
    if priors is None:
        priors = Priors() if lever_arm_m is None else Priors(velocity_m_s=0.1)
    return CausalOrientation(lever_arm_m=lever_arm_m, priors=priors)


def step(
    state: CausalOrientation,
    angular_velocity_rad_s: Vector,
    specific_force_m_s2: Vector,
    dt_s: float,
    *,
    is_guess: bool = False,
) -> CausalOrientation:
    """State after one more sample; `state` itself is not changed.

    Parameters
    ----------
    state : CausalOrientation
    angular_velocity_rad_s : sequence of 3 floats, rad/s
    specific_force_m_s2 : sequence of 3 floats, m/s²
    dt_s : float, s
        Time since the sample before; of no account for the first one.
    is_guess : bool
        The sample was filled in over a gap.

    Raises
    ------
    InputError
        When `dt_s` is not positive and finite. A sample that is not finite is skipped and its time counted as
        a gap.
    """
    gx, gy, gz = angular_velocity_rad_s
    ax, ay, az = specific_force_m_s2
    if state.quaternion is None:
        return _first(state, (gx, gy, gz), (ax, ay, az))
    if not (isfinite(dt_s) and dt_s > 0.0):
        raise InputError(f"the time step is {dt_s} s", hint="time must rise from sample to sample")
    if not isfinite(gx + gy + gz + ax + ay + az):
        return replace(state, pending_s=state.pending_s + dt_s)
    dt = dt_s + state.pending_s
    bx, by, bz = state.bias_rad_s
    ox, oy, oz = gx - bx, gy - by, gz - bz
    hx, hy, hz = 0.5 * dt * ox, 0.5 * dt * oy, 0.5 * dt * oz

    if state.lever_arm_m is not None:
        rx, ry, rz = state.lever_arm_m
        px, py, pz = state.last_rate
        ux, uy, uz = (gx - px) / dt, (gy - py) / dt, (gz - pz) / dt
        along, square = ox * rx + oy * ry + oz * rz, ox * ox + oy * oy + oz * oz
        fx = ax - (uy * rz - uz * ry + ox * along - rx * square)
        fy = ay - (uz * rx - ux * rz + oy * along - ry * square)
        fz = az - (ux * ry - uy * rx + oz * along - rz * square)
    else:
        fx, fy, fz = ax, ay, az
    # the force belongs to the middle of the interval
    fx, fy, fz = fx - hy * fz + hz * fy, fy - hz * fx + hx * fz, fz - hx * fy + hy * fx

    half = hx * hx + hy * hy + hz * hz
    if half < 0.01:
        c, s = 1.0 - half * (0.5 - half / 24.0), 1.0 - half * (1.0 / 6.0 - half / 120.0)
    else:
        angle = sqrt(half)
        c, s = cos(angle), sin(angle) / angle
    dx, dy, dz = hx * s, hy * s, hz * s
    w, x, y, z = state.quaternion
    w, x, y, z = (
        w * c - x * dx - y * dy - z * dz,
        x * c + w * dx + y * dz - z * dy,
        y * c + w * dy + z * dx - x * dz,
        z * c + w * dz + x * dy - y * dx,
    )
    r00, r01, r02 = 1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - w * z), 2.0 * (x * z + w * y)
    r10, r11, r12 = 2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - w * x)
    r20, r21, r22 = 2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)
    s0 = state.sums
    # duration; force (3); two rows of the rotation (6); ω (3), |ω|², f (3); gaps
    sums = (
        s0[0] + dt,
        s0[1] + dt * (r00 * fx + r01 * fy + r02 * fz),
        s0[2] + dt * (r10 * fx + r11 * fy + r12 * fz),
        s0[3] + dt * (r20 * fx + r21 * fy + r22 * fz),
        s0[4] + dt * r00,
        s0[5] + dt * r01,
        s0[6] + dt * r02,
        s0[7] + dt * r10,
        s0[8] + dt * r11,
        s0[9] + dt * r12,
        s0[10] + dt * gx,
        s0[11] + dt * gy,
        s0[12] + dt * gz,
        s0[13] + dt * (gx * gx + gy * gy + gz * gz),
        s0[14] + dt * ax,
        s0[15] + dt * ay,
        s0[16] + dt * az,
        s0[17] + (dt if is_guess or dt > GAP_S else 0.0),
    )
    moved = CausalOrientation(
        quaternion=(w, x, y, z),
        bias_rad_s=state.bias_rad_s,
        lever_arm_m=state.lever_arm_m,
        still=state.still,
        time_s=state.time_s + dt,
        turned_over=state.turned_over,
        priors=state.priors,
        belief=state.belief,
        sums=sums,
        last_rate=(gx, gy, gz),
    )
    return moved if sums[0] < NODE_S - 1e-9 else _update(moved)


_NO_SUMS = (0.0,) * 18


def _first(state: CausalOrientation, rate: Vector, force: Vector) -> CausalOrientation:
    """Shortest rotation that takes the first specific force upward; a useless first sample is skipped."""
    fx, fy, fz = force
    length = sqrt(fx * fx + fy * fy + fz * fz)
    if not isfinite(length + sum(rate)) or length == 0.0:
        return state
    w, x, y = length + fz, fy, -fx
    norm = sqrt(w * w + x * x + y * y)
    q = (w / norm, x / norm, y / norm, 0.0) if norm > 1e-9 * length else (0.0, 1.0, 0.0, 0.0)
    priors = state.priors
    return replace(
        state, quaternion=q, belief=_first_belief(priors), sums=_NO_SUMS, last_rate=rate, pending_s=0.0
    )


def _first_belief(priors: Priors) -> _Belief:
    variances = [_FIRST_TILT_SE_RAD**2] * 2 + [0.3**2] * 2 + [priors.bias_rad_s**2] * 3
    return _Belief(velocity=np.zeros(2), covariance=np.diag(variances))


def other_way_up(q: Quaternion) -> Quaternion:
    """An orientation after half a turn about the global x axis."""
    w, x, y, z = q
    return (-x, w, -z, y)


def after_gap(state: CausalOrientation, quaternion: Quaternion, rate: Vector) -> CausalOrientation:
    """As unsure as at the start, but for the gyroscope's bias.

    Parameters
    ----------
    state : CausalOrientation
        Before the gap.
    quaternion : tuple of 4 floats
        Orientation after it, as far as gravity shows it.
    rate : tuple of 3 floats, rad/s
        First angular velocity after it.
    """
    belief = _first_belief(state.priors)
    if state.belief is not None:
        belief.covariance[4:, 4:] = state.belief.covariance[4:, 4:]
    return replace(
        state, quaternion=quaternion, belief=belief, still=False, sums=_NO_SUMS, last_rate=rate, pending_s=0.0
    )


def up_of(q: Quaternion) -> Vector:
    """Global up in sensor axes."""
    w, x, y, z = q
    return (2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y))


def turned(q: Quaternion, omega: Vector, dt_s: float) -> Quaternion:
    """An orientation after it has turned with a rate, rad/s, sensor axes."""
    x, y, z = omega
    half = 0.5 * dt_s * sqrt(x * x + y * y + z * z)
    scale = 0.5 * dt_s * (sin(half) / half if half > 1e-9 else 1.0)
    c, a, b, d = cos(half), scale * x, scale * y, scale * z
    w, x, y, z = q
    return (
        w * c - x * a - y * b - z * d,
        x * c + w * a + y * d - z * b,
        y * c + w * b + z * a - x * d,
        z * c + w * d + x * b - y * a,
    )


def _upright(state: CausalOrientation) -> CausalOrientation:
    """The other way up, and as unsure as at the start."""
    assert state.quaternion is not None
    return replace(
        state,
        quaternion=other_way_up(state.quaternion),
        turned_over=state.turned_over + 1,
        belief=_first_belief(state.priors),
        sums=_NO_SUMS,
    )


def _update(state: CausalOrientation) -> CausalOrientation:
    """Kalman prediction over the node that has just ended, and its updates."""
    assert state.belief is not None
    assert state.quaternion is not None
    sums, priors, belief = state.sums, state.priors, state.belief
    duration, gap = sums[0], sums[17] > 0.0
    lift = belief.lift_m_s2 + (sums[3] - duration * belief.lift_m_s2) / UPRIGHT_S
    if lift < 0.0:
        return _upright(state)
    recent, still, rest_rate = _stillness(belief.recent, sums)

    # φx = θy, φy = −θx; bias turns the tilt, tilt leaks gravity into the velocity
    transition = _IDENTITY.copy()
    transition[0, 4:] = (-sums[7], -sums[8], -sums[9])
    transition[1, 4:] = sums[4:7]
    transition[2, 0] = transition[3, 1] = sums[3]
    covariance = transition @ belief.covariance @ transition.T
    walk = priors.gap_tilt_walk_rad if gap else priors.tilt_walk_rad
    noise = priors.gap_force_m_s2 if gap else priors.force_m_s2
    diagonal = covariance.ravel()[:: STATES + 1]
    diagonal[:2] += walk**2 * duration
    diagonal[2:4] += noise**2 * duration

    # pseudo-measurements: the velocity is near zero; a still gyroscope reads its bias
    velocity = belief.velocity + np.array(sums[1:3])
    sigma = priors.still_velocity_m_s if still else priors.velocity_m_s
    innovation, variance = [-float(velocity[0]), -float(velocity[1])], [sigma**2 / duration] * 2
    if still:
        # on entering a still phase its whole window speaks, later only what is new
        rate = (sums[10] / duration, sums[11] / duration, sums[12] / duration) if state.still else rest_rate
        span = duration if state.still else STILL_WINDOW_S**2 / 2.0
        innovation += [rate[i] - state.bias_rad_s[i] for i in range(3)]
        variance += [priors.still_angle_rad**2 / span] * 3
    seen = covariance[2 : 2 + len(variance)]
    spread = seen[:, 2 : 2 + len(variance)].copy()
    spread.ravel()[:: len(variance) + 1] += variance
    gain = solve_few(spread, seen).T
    error = (gain @ np.array(innovation)).tolist()
    covariance = covariance - gain @ seen
    covariance = 0.5 * (covariance + covariance.T)

    bias = state.bias_rad_s
    return CausalOrientation(
        quaternion=_tilted(state.quaternion, -0.5 * error[1], 0.5 * error[0]),
        bias_rad_s=(bias[0] + error[4], bias[1] + error[5], bias[2] + error[6]),
        lever_arm_m=state.lever_arm_m,
        still=still,
        time_s=state.time_s,
        turned_over=state.turned_over,
        priors=priors,
        belief=_Belief(velocity=velocity + error[2:4], covariance=covariance, lift_m_s2=lift, recent=recent),
        sums=_NO_SUMS,
        last_rate=state.last_rate,
    )


def _tilted(q: Quaternion, half_x: float, half_y: float) -> Quaternion:
    """Small turn about the horizontal global axes, and back to unit length."""
    w, x, y, z = q
    a, b, c, d = (
        w - half_x * x - half_y * y,
        x + half_x * w + half_y * z,
        y + half_y * w - half_x * z,
        z + half_x * y - half_y * x,
    )
    scale = 1.0 / sqrt(a * a + b * b + c * c + d * d)
    return (a * scale, b * scale, c * scale, d * scale)


def _stillness(
    recent: tuple[tuple[float, ...], ...], sums: tuple[float, ...]
) -> tuple[tuple[tuple[float, ...], ...], bool, Vector]:
    """Nodes of the window with the newest one, whether the sensor was still during them, and its mean rate."""
    if sums[17] > 0.0:
        return (), False, _ZERO3
    recent = (*recent, (sums[0], *sums[10:17]))
    total = sum([node[0] for node in recent])
    while len(recent) > 2 and total - recent[0][0] >= STILL_WINDOW_S - 1e-9:
        total -= recent[0][0]
        recent = recent[1:]
    if total < STILL_WINDOW_S - 1e-9:
        return recent, False, _ZERO3
    # In plain floats: eleven rows are too few for arrays to pay.
    _, wx, wy, wz, square, fx, fy, fz = [sum(column) / total for column in zip(*recent, strict=True)]
    rate: Vector = (wx, wy, wz)
    rate_square = wx * wx + wy * wy + wz * wz
    if square - rate_square >= STILL_SPREAD_RAD_S**2 or rate_square >= STILL_RATE_RAD_S**2:
        return recent, False, rate
    off = [(x - d * fx) ** 2 + (y - d * fy) ** 2 + (z - d * fz) ** 2 for d, *_, x, y, z in recent]
    force_variance = sum([miss / node[0] for miss, node in zip(off, recent, strict=True)]) / total
    return recent, force_variance < STILL_FORCE_M_S2**2, rate
