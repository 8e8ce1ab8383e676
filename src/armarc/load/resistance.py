"""What the hand works against: dumbbell, cable, elastic band, machine.

A resistance is described relative to the shoulder at the start of the rep, in body axes: *out* to the side
of the working arm, *up*, *forward*. `BodyAxes` carries them into the global frame of a measured rep.

Pulling force of a cable or band on the hand points from the hand to its pulley or anchor::

    cable  T = m (g + a) / ratio · (1 ± friction),   a = l̈ / ratio      l: hand to pulley
    band   T = k (l - l0), or a measured table of force against length

(Newton's second law for the moving stack; Hooke's law. Tension linear in the length of elastic tubing:
Hughes, Hurd, Jones, Sprigle 1999, JOSPT 29:413.)
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

FRICTION_SPEED_M_S = 0.02
"""Friction changes sign smoothly over this cable speed, so that a held cable is not noisy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandState:
    """Where the grip is and how it moves, shape (n, 3) each, global frame, origin at the resting shoulder.

    ``angle_rad``, ``angle_acceleration_rad_s2`` (shape (n,)) describe the arm about the movement axis;
    ``axis`` (shape (3,)) is that axis, ``reach_m`` the distance from the shoulder to the grip and ``body``
    the rows out, up, forward in the global frame, shape (3, 3).
    """

    position_m: FloatArray
    velocity_m_s: FloatArray
    acceleration_m_s2: FloatArray
    angle_rad: FloatArray
    angle_acceleration_rad_s2: FloatArray
    axis: FloatArray
    reach_m: float
    body: FloatArray


def body_axes(side: str | None, plane_rad: float, heading: FloatArray) -> FloatArray:
    """Rows out, up, forward of the body in the global frame.

    Parameters
    ----------
    side : str or None
        ``"left"`` mirrors; anything else is a right arm.
    plane_rad : float, rad
        Plane of elevation of the raise: 0 to the side, π/2 forward.
    heading : ndarray, shape (3,)
        Horizontal direction the raised arm points to, global frame.

    Returns
    -------
    ndarray, shape (3, 3)
    """
    h = np.array([heading[0], heading[1], 0.0])
    length = float(np.linalg.norm(h))
    h = np.array([1.0, 0.0, 0.0]) if length < 1e-9 else h / length
    turn = plane_rad if side == "left" else -plane_rad
    c, s = math.cos(turn), math.sin(turn)
    out = np.array([c * h[0] - s * h[1], s * h[0] + c * h[1], 0.0])
    forward = np.cross([0.0, 0.0, 1.0], out) * (-1.0 if side == "left" else 1.0)
    return np.array([out, [0.0, 0.0, 1.0], forward])


@dataclass(frozen=True, slots=True, kw_only=True)
class Dumbbell:
    """A free weight in the hand, a point mass at the grip.

    Parameters
    ----------
    mass_kg : float, kg
    beyond_grip_m : float, m
        How far its centre lies beyond the grip along the arm (negative toward the wrist).
    """

    mass_kg: float
    beyond_grip_m: float = 0.0

    def __post_init__(self) -> None:
        _within("a dumbbell", self.mass_kg, 0, 200, "kg")
        _within("the dumbbell's centre beyond the grip", self.beyond_grip_m, -0.2, 0.5, "m")

    @property
    def label(self) -> str:
        """Short name for tables."""
        return f"dumbbell {self.mass_kg:.4g} kg"

    def scaled(self, factor: float) -> Dumbbell:
        """Return the same thing `factor` times as heavy."""
        return replace(self, mass_kg=self.mass_kg * factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cable:
    """A cable from a fixed pulley to the hand.

    Parameters
    ----------
    stack_kg : float or None, kg
        Mass that hangs on the cable; give this or `force_n`.
    force_n : float or None, N
        Force at the hand when nothing moves.
    pulley_m : tuple of float, m
        Out, up, forward from the shoulder.
    ratio : float
        How many times lighter than the stack the hand feels it (2 for "two to one").
    moving_mass_kg : float or None, kg
        Mass that moves with the stack; None for the stack itself (or none with `force_n`).
    friction : float
        Share of the tension, added while the cable runs out, taken off while it runs in.
    """

    stack_kg: float | None = None
    force_n: float | None = None
    pulley_m: tuple[float, float, float] = (0.0, -1.2, 0.0)
    ratio: float = 1.0
    moving_mass_kg: float | None = None
    friction: float = 0.0

    def __post_init__(self) -> None:
        if (self.stack_kg is None) == (self.force_n is None):
            raise UsageError("a cable needs either its stack in kg or the force at the hand in N")
        _within("a cable's stack", self.stack_kg, 0, 500, "kg")
        _within("a cable's force", self.force_n, 0, 5000, "N")
        _within("a cable's ratio", self.ratio, 0.25, 8, "")
        _within("a cable's moving mass", self.moving_mass_kg, 0, 500, "kg")
        _within("a cable's friction", self.friction, 0, 0.5, "")
        _place("a cable's pulley", self.pulley_m)

    @property
    def label(self) -> str:
        """Short name for tables."""
        size = f"{self.stack_kg:.4g} kg" if self.stack_kg is not None else f"{self.force_n:.4g} N"
        ratio = f" {self.ratio:g}:1" if self.ratio != 1 else ""
        return f"cable {size}{ratio} at {_shown(self.pulley_m)}"

    @property
    def weight_n(self) -> float:
        """Force at the hand with everything still, N."""
        if self.stack_kg is None:
            return float(self.force_n or 0.0)
        return self.stack_kg * STANDARD_GRAVITY_M_S2 / self.ratio

    @property
    def inertia_kg(self) -> float:
        """Mass felt at the hand along the cable, kg."""
        moving = self.moving_mass_kg if self.moving_mass_kg is not None else (self.stack_kg or 0.0)
        return moving / self.ratio**2

    def pull(self, hand: HandState) -> FloatArray:
        """Force on the hand, shape (n, 3), N; never pushes."""
        toward, _, rate, acceleration = line_to(hand, self.pulley_m)
        tension = self.weight_n + self.inertia_kg * acceleration
        tension = tension * (1 + self.friction * np.tanh(rate / FRICTION_SPEED_M_S))
        return np.asarray(np.maximum(tension, 0.0)[:, None] * toward)

    def scaled(self, factor: float) -> Cable:
        """Return the same thing `factor` times as heavy."""
        return replace(
            self,
            stack_kg=_times(self.stack_kg, factor),
            force_n=_times(self.force_n, factor),
            moving_mass_kg=_times(self.moving_mass_kg, factor),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ElasticBand:
    """An elastic band from a fixed anchor to the hand.

    Parameters
    ----------
    anchor_m : tuple of float, m
        Out, up, forward from the shoulder.
    unstretched_m : float or None, m
        Length without tension; with `stiffness_n_m`.
    stiffness_n_m : float or None, N/m
    table : tuple of (length m, force N)
        Measured instead: rising lengths; held at the last force beyond the table's end.
    """

    anchor_m: tuple[float, float, float] = (0.0, -1.3, 0.0)
    unstretched_m: float | None = None
    stiffness_n_m: float | None = None
    table: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        _place("a band's anchor", self.anchor_m)
        if self.table:
            if self.unstretched_m is not None or self.stiffness_n_m is not None:
                raise UsageError("a band is described by its table or by length and stiffness, not by both")
            _table("a band", self.table, "length in m", "force in N", lowest=0.0)
        else:
            if self.unstretched_m is None or self.stiffness_n_m is None:
                raise UsageError(
                    "a band needs its unstretched length in m and its stiffness in N/m, "
                    "or a table of lengths and forces"
                )
            _within("a band's unstretched length", self.unstretched_m, 0, 5, "m")
            _within("a band's stiffness", self.stiffness_n_m, 0, 5000, "N/m")

    @property
    def label(self) -> str:
        """Short name for tables."""
        if self.table:
            return f"band by table at {_shown(self.anchor_m)}"
        return f"band {self.stiffness_n_m:.4g} N/m from {self.unstretched_m:.3g} m at {_shown(self.anchor_m)}"

    def pull(self, hand: HandState) -> FloatArray:
        """Force on the hand, shape (n, 3), N; never pushes."""
        toward, length, _, _ = line_to(hand, self.anchor_m)
        if self.table:
            lengths, forces = np.array(self.table).T
            tension = np.interp(length, lengths, forces, left=0.0)
        else:
            assert self.stiffness_n_m is not None
            assert self.unstretched_m is not None
            tension = self.stiffness_n_m * np.maximum(length - self.unstretched_m, 0.0)
        return np.asarray(tension[:, None] * toward)

    def longest_m(self) -> float:
        """Longest length the description covers, m."""
        return self.table[-1][0] if self.table else math.inf

    def scaled(self, factor: float) -> ElasticBand:
        """Return the same thing `factor` times as stiff."""
        return replace(
            self,
            stiffness_n_m=_times(self.stiffness_n_m, factor),
            table=tuple((length, force * factor) for length, force in self.table),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A machine whose axis is lined up with the shoulder.

    Parameters
    ----------
    moment_table : tuple of (angle rad, moment N m)
        Moment against the raise; a single row is a constant. Held at the ends.
    force_table : tuple of (angle rad, force N)
        Force across the arm instead, at `pad_m` from the shoulder.
    pad_m : float or None, m
        Where the force acts; None for the grip.
    inertia_kg_m2 : float, kg m²
        Of what turns with the arm.
    """

    moment_table: tuple[tuple[float, float], ...] = ()
    force_table: tuple[tuple[float, float], ...] = ()
    pad_m: float | None = None
    inertia_kg_m2: float = 0.0

    def __post_init__(self) -> None:
        if bool(self.moment_table) == bool(self.force_table):
            raise UsageError("a machine needs either a moment or a force by angle")
        if self.moment_table:
            _table("a machine", self.moment_table, "angle", "moment in N·m")
        else:
            _table("a machine", self.force_table, "angle", "force in N")
        _within("a machine's pad", self.pad_m, 0.05, 1.2, "m")
        _within("a machine's inertia", self.inertia_kg_m2, 0, 100, "kg m²")

    @property
    def label(self) -> str:
        """Short name for tables."""
        rows, unit = (self.moment_table, "N·m") if self.moment_table else (self.force_table, "N")
        return f"machine {rows[0][1]:.4g} {unit}" if len(rows) == 1 else f"machine by angle in {unit}"

    def moment(self, hand: HandState) -> FloatArray:
        """Moment on the arm about the shoulder, shape (n, 3), N m."""
        angles, values = np.array(self.moment_table or self.force_table).T
        size = np.interp(hand.angle_rad, angles, values)
        if self.force_table:
            size = size * (hand.reach_m if self.pad_m is None else self.pad_m)
        size = size + self.inertia_kg_m2 * hand.angle_acceleration_rad_s2
        return np.asarray(-size[:, None] * hand.axis)

    def scaled(self, factor: float) -> Machine:
        """Return the same thing `factor` times as heavy."""
        return replace(
            self,
            moment_table=tuple((angle, m * factor) for angle, m in self.moment_table),
            force_table=tuple((angle, f * factor) for angle, f in self.force_table),
            inertia_kg_m2=self.inertia_kg_m2 * factor,
        )


Resistance = Dumbbell | Cable | ElasticBand | Machine


def scaled(resistances: tuple[Resistance, ...], factor: float) -> tuple[Resistance, ...]:
    """Every resistance `factor` times as heavy."""
    return tuple(r.scaled(factor) for r in resistances)


def describe(resistances: tuple[Resistance, ...]) -> str:
    """One line for tables; an empty hand is said to be one."""
    return " + ".join(r.label for r in resistances) or "no load"


def line_to(
    hand: HandState, place_m: tuple[float, float, float]
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Unit vector hand → place, length, its rate and its second derivative."""
    fixed = np.array(place_m) @ hand.body
    d = hand.position_m - fixed
    length = np.maximum(np.linalg.norm(d, axis=1), 1e-6)
    along = d / length[:, None]
    rate = np.sum(along * hand.velocity_m_s, axis=1)
    across = np.sum(hand.velocity_m_s**2, axis=1) - rate**2
    acceleration = np.sum(along * hand.acceleration_m_s2, axis=1) + across / length
    return -along, length, rate, acceleration


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _shown(place: tuple[float, float, float]) -> str:
    return "/".join(f"{v:g}" for v in place)


def _within(what: str, value: float | None, low: float, high: float, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise UsageError(
            f"{what} is expected between {low:g} and {high:g} {unit}".rstrip() + f", got {value:g}"
        )


def _place(what: str, place: tuple[float, float, float]) -> None:
    if len(place) != 3 or not all(math.isfinite(v) and abs(v) <= 5 for v in place):
        raise UsageError(
            f"{what} is expected as three distances in m from the shoulder: out, up, forward",
            "for example 0.6/-0.9/0",
        )


def _table(
    what: str, rows: tuple[tuple[float, float], ...], first: str, second: str, lowest: float | None = None
) -> None:
    values = [v for row in rows for v in row]
    rising = all(a[0] < b[0] for a, b in itertools.pairwise(rows))
    if not all(len(row) == 2 for row in rows) or not all(map(math.isfinite, values)) or not rising:
        raise UsageError(f"{what}'s table is expected as rows of {first} (rising) and {second}")
    if any(row[1] < 0 for row in rows) or (lowest is not None and rows[0][0] < lowest):
        raise UsageError(f"{what}'s table has a negative value where {first} and {second} are expected")
