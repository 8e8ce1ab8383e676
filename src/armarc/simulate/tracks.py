"""Smooth functions of time with exact derivatives (piecewise quintics, enveloped waves), and frames that turn by them.

Every joint turns by a known smooth angle about an axis fixed in the frame before it, so that everything below it is
exact: no difference quotients.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PPoly
from scipy.spatial.transform import Rotation

from armarc.recording import FloatArray


@dataclass(frozen=True, slots=True)
class Knot:
    """Value and first two time derivatives at an instant."""

    time_s: float
    value: float
    rate: float = 0.0
    acceleration: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """A sine with smooth onset and end that may die away; `ramp_s` of 0 means no envelope (always on)."""

    amplitude: float
    frequency_hz: float
    phase_rad: float = 0.0
    start_s: float = -np.inf
    end_s: float = np.inf
    ramp_s: float = 0.0
    decay_per_s: float = 0.0


def quintic_coefficients(knots: Sequence[Knot]) -> FloatArray:
    """Coefficients, highest power first, of the quintics through the knots.

    Returns
    -------
    ndarray, shape (6, k − 1)
        For `scipy.interpolate.PPoly`. Between two knots at rest this is the minimum-jerk move
        10τ³ − 15τ⁴ + 6τ⁵ (Flash & Hogan 1985, J Neurosci 5:1688).
    """
    table = np.array([(k.time_s, k.value, k.rate, k.acceleration) for k in knots]).T
    t, x, v, a = table
    h = np.diff(t)
    d = np.diff(x)
    v0, v1, a0, a1 = v[:-1], v[1:], a[:-1], a[1:]
    c3 = (20 * d - (8 * v1 + 12 * v0) * h - (3 * a0 - a1) * h**2) / (2 * h**3)
    c4 = (-30 * d + (14 * v1 + 16 * v0) * h + (3 * a0 - 2 * a1) * h**2) / (2 * h**4)
    c5 = (12 * d - 6 * (v1 + v0) * h + (a1 - a0) * h**2) / (2 * h**5)
    return np.stack([c5, c4, c3, a0 / 2, v0, x[:-1]])


def _ramp(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    # Minimum-jerk step and its first two derivatives, flat outside 0..1.
    x = np.clip(x, 0, 1)
    return (
        x**3 * (10 - 15 * x + 6 * x**2),
        30 * x**2 * (1 - x) ** 2,
        60 * x * (1 - x) * (1 - 2 * x),
    )


def _add_wave(out: FloatArray, t: FloatArray, wave: Wave) -> None:
    first, last = np.searchsorted(t, [wave.start_s, wave.end_s])
    if last <= first:
        return
    t = t[first:last]
    w = 2 * np.pi * wave.frequency_hz
    angle = w * t + wave.phase_rad
    s = wave.amplitude * np.sin(angle)
    ds = wave.amplitude * w * np.cos(angle)
    dds = -(w**2) * s
    if wave.ramp_s > 0:
        h = wave.ramp_s
        up, dup, ddup = _ramp((t - wave.start_s) / h)
        down, ddown, dddown = _ramp((wave.end_s - t) / h)
        e, de = up * down, (dup * down - up * ddown) / h
        dde = (ddup * down - 2 * dup * ddown + up * dddown) / h**2
        if wave.decay_per_s > 0:
            k = wave.decay_per_s
            fade = np.exp(-k * (t - wave.start_s))
            e, de, dde = e * fade, (de - k * e) * fade, (dde - 2 * k * de + k**2 * e) * fade
        s, ds, dds = e * s, de * s + e * ds, dde * s + 2 * de * ds + e * dds
    for row, values in zip(out, (s, ds, dds), strict=True):
        row[first:last] += values


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One coordinate over time: quintics through knots, held flat beyond them, plus waves."""

    knots: tuple[Knot, ...]
    waves: tuple[Wave, ...] = ()

    def sample(self, time_s: FloatArray) -> FloatArray:
        """Value, rate and acceleration at rising instants.

        Returns
        -------
        ndarray, shape (3, n)
        """
        t = np.asarray(time_s, float)
        out = np.zeros((3, len(t)))
        if len(self.knots) == 1:
            out[0] = self.knots[0].value
        else:
            inside = np.clip(t, self.knots[0].time_s, self.knots[-1].time_s)
            poly = PPoly(quintic_coefficients(self.knots), [k.time_s for k in self.knots])
            moving = inside == t
            out[0] = poly(inside)
            out[1] = np.where(moving, poly(inside, 1), 0.0)
            out[2] = np.where(moving, poly(inside, 2), 0.0)
        for wave in self.waves:
            _add_wave(out, t, wave)
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A frame at n instants; vectors in the global frame.

    Parameters
    ----------
    rotation : Rotation, length n
        Its axes into the global frame.
    angular_velocity_rad_s : ndarray, shape (n, 3)
    joint : (Frame, axis, angle) or None
        What it was `turned` from; accelerations are only worked out where they are asked for.
    """

    rotation: Rotation
    angular_velocity_rad_s: FloatArray
    joint: tuple[Frame, FloatArray, FloatArray] | None = None

    @property
    def angular_acceleration_rad_s2(self) -> FloatArray:
        """Shape (n, 3)."""
        if self.joint is None:
            return np.zeros_like(self.angular_velocity_rad_s)
        before, axis, angle = self.joint
        along = before.direction(axis)
        step = angle[1][:, None] * along
        out: FloatArray = (
            before.angular_acceleration_rad_s2
            + angle[2][:, None] * along
            + np.cross(before.angular_velocity_rad_s, step)
        )
        return out

    def turned(self, axis: FloatArray, angle: FloatArray) -> Frame:
        """The frame after a joint.

        Parameters
        ----------
        axis : ndarray, shape (3,)
            Unit vector in this frame.
        angle : ndarray, shape (3, n), rad, rad/s, rad/s²
            Angle of the joint and its first two derivatives.
        """
        if not angle.any():
            return self
        return Frame(
            rotation=then_about(self.rotation, axis, angle[0]),
            angular_velocity_rad_s=self.angular_velocity_rad_s + angle[1][:, None] * self.direction(axis),
            joint=(self, axis, angle),
        )

    def direction(self, axis: FloatArray) -> FloatArray:
        """A direction of the frame, or a place in it from its origin, seen from outside, shape (n, 3)."""
        out: FloatArray = self.rotation.apply(axis)
        return out

    def acceleration(self, place: FloatArray, moving: FloatArray | None = None) -> FloatArray:
        """Acceleration of a point relative to the frame's origin.

        Parameters
        ----------
        place : ndarray, shape (3,) or (n, 3), m
            Where the point is in the frame.
        moving : ndarray, shape (2, n, 3), m/s, m/s², or None
            How it moves in the frame.

        Returns
        -------
        ndarray, shape (n, 3), m/s², global
            R(r̈ + …) = R r̈ + 2 ω×(R ṙ) + α×r + ω×(ω×r), rigid-body kinematics.
        """
        w, al = self.angular_velocity_rad_s, self.angular_acceleration_rad_s2
        r = self.rotation.apply(place)
        out: FloatArray = np.cross(al, r) + np.cross(w, np.cross(w, r))
        if moving is not None:
            out += self.rotation.apply(moving[1]) + 2 * np.cross(w, self.rotation.apply(moving[0]))
        return out


def then_about(rotation: Rotation, axis: FloatArray, angle_rad: FloatArray) -> Rotation:
    """Hamilton's product with turns about one axis; SciPy's takes ten times as long on as many instants."""
    quaternion = rotation.as_quat()
    v, w = quaternion[:, :3], quaternion[:, 3:]
    sine, cosine = np.sin(angle_rad / 2)[:, None], np.cos(angle_rad / 2)[:, None]
    vector = cosine * v + sine * (w * axis + np.cross(v, axis))
    return Rotation.from_quat(np.concatenate([vector, cosine * w - sine * (v @ axis)[:, None]], axis=1))


def fixed_frame(n: int) -> Frame:
    """The global frame at n instants."""
    return Frame(
        rotation=Rotation.identity(n),
        angular_velocity_rad_s=np.zeros((n, 3)),
    )
