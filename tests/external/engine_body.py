"""A body in MuJoCo, a general multibody engine (https://mujoco.org, Apache-2.0), that lifts and wears a sensor.

Hips that shift, a trunk that tips and leans about them, a shoulder girdle that rises about the breastbone, a ball
shoulder, an elbow with a carrying angle, a forearm that turns, a hand with a dumbbell, and a sensor on a soft strap.
All joints but the strap's follow a prescribed course: the engine is given position, velocity and acceleration and says
what it takes (inverse dynamics) and what its own accelerometer and gyroscope read. The strap is a spring and a damper
that the engine's own equation of motion moves.

Axes: x forward, y left, z up. Reference pose: arm hanging, thumb forward.

Masses, centres and radii of gyration of upper arm, forearm and hand: de Leva 1996, J Biomech 29:1223, Table 4. What
hips, trunk and girdle weigh changes nothing that is compared.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

RATE_HZ = 1000
GRAVITY_M_S2 = 9.80665
HIP_HEIGHT_M, BREASTBONE_M = 0.95, (0.03, 0.02, 0.46)
HINGES = ("shift_x", "shift_y", "shift_z", "tip", "lean", "rise", "draw", "elbow", "pronation")
"""Prescribed joints besides the shoulder, in metres and radians."""
SEGMENTS = {
    "male": {"upper_arm": (2.71, 57.72, 28.5, 15.8), "forearm": (1.62, 45.74, 27.6, 12.1)}
    | {"hand": (0.61, 79.00, 62.8, 40.1)},
    "female": {"upper_arm": (2.55, 57.54, 27.8, 14.8), "forearm": (1.38, 45.59, 26.1, 9.4)}
    | {"hand": (0.56, 74.74, 53.1, 33.5)},
}
"""Mass of the body's, centre from the proximal end and radii of gyration across and along, of the length; per cent."""


@dataclass(frozen=True, kw_only=True)
class Person:
    """Whose arm it is, what it holds and where the sensor sits.

    ``pull`` is the force on the grip (N, global axes) of a cable or band, from where the grip and the resting shoulder
    are (m).

    ``on`` is the segment that wears the sensor, ``along_m`` its distance from that segment's upper joint,
    ``height_m`` how far it sits from the bone, ``worn`` turns sensor axes into those of the segment. A strap is as
    stiff as it takes for `strap_hz` (about the bone, and rocking on the skin); ``says`` is what its wearer says of it.
    ``outward`` is that of a right arm; a left one is its mirror image.
    """

    side: str = "right"
    sex: str = "male"
    body_mass_kg: float = 75.0
    upper_arm_m: float = 0.30
    forearm_m: float = 0.26
    hand_m: float = 0.085
    grip_m: float = 0.08
    clavicle_m: float = 0.16
    carrying_rad: float = 0.0
    load_kg: float = 6.0
    on: str = "forearm"
    along_m: float = 0.24
    height_m: float = 0.03
    outward: tuple[float, float, float] = (0.0, -1.0, 0.0)
    worn: Rotation = field(default_factory=Rotation.identity)
    strap_hz: tuple[float, float] = (20.0, 20.0)
    strap_damping: float = 0.3
    says: dict[str, str] = field(default_factory=dict)
    pull: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None

    @property
    def mirror(self) -> float:
        return 1.0 if self.side == "right" else -1.0


@dataclass(frozen=True, kw_only=True)
class Course:
    """Prescribed joints over time: ``hinges`` by name, shape (n,); ``shoulder`` turns the upper arm's axes into the
    girdle's. ``strap_rad``, shape (n, 2), is where the strap's spring rests: about the bone, and rocking."""

    time_s: np.ndarray
    hinges: dict[str, np.ndarray]
    shoulder: Rotation
    strap_rad: np.ndarray | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Lifted:
    """What the engine says, n instants, global axes unless said; places in m.

    ``bone_m`` is the place on the bone below the sensor, ``socket_m`` where the shoulder would be with the girdle at
    rest. ``moment_n_m`` and ``force_n`` act from the trunk on the arm at the shoulder. ``specific_force_m_s2``,
    ``turning_rad_s`` and the chest's are in sensor axes.
    """

    time_s: np.ndarray
    shoulder_m: np.ndarray
    socket_m: np.ndarray
    bone_m: np.ndarray
    sensor_m: np.ndarray
    thumb: np.ndarray
    trunk: Rotation
    upper_arm: Rotation
    forearm: Rotation
    sensor: Rotation
    moment_n_m: np.ndarray
    force_n: np.ndarray
    elbow_power_w: np.ndarray
    specific_force_m_s2: np.ndarray
    turning_rad_s: np.ndarray
    chest_force_m_s2: np.ndarray
    chest_turning_rad_s: np.ndarray
    strap_rad: np.ndarray


def _numbers(values) -> str:
    return " ".join(f"{v:.9g}" for v in values)


def _inertial(person: Person, segment: str, length_m: float) -> str:
    mass, centre, across, along = (x / 100 for x in SEGMENTS[person.sex][segment])
    kg = mass * person.body_mass_kg
    i, k = kg * (across * length_m) ** 2, kg * (along * length_m) ** 2
    return f'<inertial pos="0 0 {-centre * length_m:.9g}" mass="{kg:.9g}" diaginertia="{i:.9g} {i:.9g} {k:.9g}"/>'


def _strap(person: Person, kg: float = 0.03, size_m: float = 0.015) -> str:
    """The sensor's own turning about the bone, and its rocking on the skin, where a strap holds it."""
    outward = np.array(person.outward) * [1.0, person.mirror, 1.0]
    skin_m, across = 0.7 * person.height_m, np.cross([0.0, 0.0, 1.0], outward)
    own, above = kg * size_m**2, person.height_m - skin_m
    inertia = own + kg * person.height_m**2, own + kg * above**2
    hinge = []
    for name, axis, i, hz, at in zip(
        ("strap_roll", "strap_rock"),
        ([0, 0, 1], across),
        inertia,
        person.strap_hz,
        (0.0, skin_m),
        strict=True,
    ):
        stiff, damp = i * (2 * math.pi * hz) ** 2, 2 * person.strap_damping * i * 2 * math.pi * hz
        hinge.append(
            f'<joint name="{name}" axis="{_numbers(axis)}" pos="{_numbers(at * outward)}" '
            f'stiffness="{stiff:.9g}" damping="{damp:.9g}"/>'
        )
    place, quat = _numbers(person.height_m * outward), _numbers(person.worn.as_quat(scalar_first=True))
    return f"""<body name="strap" pos="0 0 {-person.along_m:.9g}">{"".join(hinge)}
      <inertial pos="{place}" mass="{kg}" diaginertia="{own:.9g} {own:.9g} {own:.9g}"/>
      <site name="sensor" pos="{place}" quat="{quat}"/></body><site name="bone" pos="0 0 {-person.along_m:.9g}"/>"""


def model(person: Person) -> mujoco.MjModel:
    """The person as the engine takes it."""
    m = person.mirror
    forward, left, up = BREASTBONE_M
    socket = np.array([forward, -m * (left + person.clavicle_m), up])
    bell = (
        0.1 * math.sqrt(max(person.load_kg, 0.1) / 6) if person.load_kg else 0.02
    )  # half a dumbbell's length
    kg = max(person.load_kg, 0.01)
    held = _numbers([kg * min(0.002, bell**2), kg * bell**2, kg * bell**2])
    carrying = _numbers(Rotation.from_rotvec([-m * person.carrying_rad, 0, 0]).as_quat(scalar_first=True))
    strap = {person.on: _strap(person)}
    return mujoco.MjModel.from_xml_string(f"""<mujoco><compiler angle="radian" autolimits="false"/>
    <option timestep="{1 / RATE_HZ}" gravity="0 0 {-GRAVITY_M_S2}"/>
    <worldbody><body name="hips" pos="0 0 {HIP_HEIGHT_M}">
      <joint name="shift_x" type="slide" axis="1 0 0"/><joint name="shift_y" type="slide" axis="0 1 0"/>
      <joint name="shift_z" type="slide" axis="0 0 1"/><inertial pos="0 0 0" mass="10" diaginertia=".1 .1 .1"/>
    <body name="trunk"><joint name="tip" axis="0 1 0"/><joint name="lean" axis="{-m} 0 0"/>
      <inertial pos="0 0 .25" mass="30" diaginertia="1 1 .3"/><site name="chest" pos=".12 0 .38"/>
      <site name="socket" pos="{_numbers(socket)}"/>
    <body name="girdle" pos="{_numbers([forward, -m * left, up])}">
      <joint name="rise" axis="{-m} 0 0"/><joint name="draw" axis="0 0 {m}"/>
      <inertial pos="0 {-m * 0.08} 0" mass="1" diaginertia=".002 .002 .002"/>
    <body name="upper_arm" pos="0 {-m * person.clavicle_m:.9g} 0"><joint name="shoulder" type="ball"/>
      {_inertial(person, "upper_arm", person.upper_arm_m)}<site name="shoulder"/>{strap.get("upper_arm", "")}
    <body name="forearm" pos="0 0 {-person.upper_arm_m:.9g}" quat="{carrying}">
      <joint name="elbow" axis="0 -1 0"/><joint name="pronation" axis="0 0 {m}"/>
      {_inertial(person, "forearm", person.forearm_m)}{strap.get("forearm", "")}
    <body name="hand" pos="0 0 {-person.forearm_m:.9g}">{_inertial(person, "hand", person.hand_m)}
    <body name="bell" pos="0 0 {-person.grip_m:.9g}">
      <inertial pos="0 0 0" mass="{kg:.9g}" diaginertia="{held}"/>
    </body></body></body></body></body></body></body></worldbody>
    <sensor><accelerometer site="sensor"/><gyro site="sensor"/><accelerometer site="chest"/><gyro site="chest"/>
      <force site="shoulder"/><torque site="shoulder"/></sensor></mujoco>""")


def _rate(values: np.ndarray) -> np.ndarray:
    return np.gradient(values, 1 / RATE_HZ, axis=0, edge_order=2)


def _ball_rates(turned: Rotation) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Quaternion, angular velocity and its rate in the turned axes, as the engine takes a ball joint: ω = 2 q* q′,
    ω′ = 2 q* q″."""
    q = turned.as_quat(scalar_first=True)
    q *= np.cumprod(np.where(np.sum(q * np.roll(q, 1, axis=0), axis=1) < 0, -1.0, 1.0))[:, None]
    first = _rate(q)

    def vector(change: np.ndarray) -> np.ndarray:
        w, v = q[:, :1], q[:, 1:]
        return 2 * (w * change[:, 1:] - change[:, :1] * v - np.cross(v, change[:, 1:]))

    return q, vector(first), vector(_rate(first))


def lift(person: Person, course: Course) -> Lifted:
    """Let the engine go through a course."""
    engine, n = model(person), len(course.time_s)
    data = mujoco.MjData(engine)
    place = {name: engine.joint(name).qposadr[0] for name in (*HINGES, "shoulder")}
    dof = {name: engine.joint(name).dofadr[0] for name in (*HINGES, "shoulder")}
    qpos, qvel, qacc = (np.zeros((n, k)) for k in (engine.nq, engine.nv, engine.nv))
    for name in HINGES:
        x = course.hinges.get(name, np.zeros(n))
        qpos[:, place[name]], qvel[:, dof[name]] = x, _rate(x)
        qacc[:, dof[name]] = _rate(qvel[:, dof[name]])
    ball = slice(dof["shoulder"], dof["shoulder"] + 3)
    at = slice(place["shoulder"], place["shoulder"] + 4)
    qpos[:, at], qvel[:, ball], qacc[:, ball] = _ball_rates(course.shoulder)

    first_q, first_v = engine.joint("strap_roll").qposadr[0], engine.joint("strap_roll").dofadr[0]
    strap_q, strap_v = slice(first_q, first_q + 2), slice(first_v, first_v + 2)
    data.qpos[:] = qpos[0]
    mujoco.mj_forward(engine, data)
    mass = np.zeros((engine.nv, engine.nv))
    mujoco.mj_fullM(engine, data, mass)
    soft = np.linalg.inv(mass[strap_v, strap_v])

    read = np.zeros((n, engine.nsensordata))
    sites = {name: engine.site(name).id for name in ("shoulder", "socket", "bone", "sensor")}
    bodies = {name: engine.body(name).id for name in ("trunk", "upper_arm", "forearm")}
    places = np.zeros((n, engine.nsite, 3))
    turned, worn = np.zeros((n, engine.nbody, 9)), np.zeros((n, 9))
    bent_w, straps = np.zeros(n), np.zeros((n, 2))
    hinge, sensor = dof["elbow"], sites["sensor"]
    q, v = np.zeros(2), np.zeros(2)
    bell = engine.body("bell").id
    rests = np.zeros((n, 2)) if course.strap_rad is None else course.strap_rad
    still = None
    for _ in range(200):  # the strap hangs at rest before anything is recorded
        data.qpos[:], data.qvel[:], data.qacc[:] = qpos[0], 0.0, 0.0
        data.qpos[strap_q] = q
        mujoco.mj_inverse(engine, data)
        q = q - 0.5 * data.qfrc_inverse[strap_v] / engine.jnt_stiffness[engine.dof_jntid[strap_v]]
    # The engine's own arrays, looked up once: a name of theirs costs as much as a sum over them.
    now_q, now_v, now_a, needed = data.qpos, data.qvel, data.qacc, data.qfrc_inverse
    sensors, at_sites, at_bodies, axes_of = data.sensordata, data.site_xpos, data.xpos, data.xmat
    sensor_axes, springs, pulled = data.site_xmat[sensor], engine.qpos_spring, data.xfrc_applied[bell, :3]
    for k in range(n):
        now_q[:], now_v[:], now_a[:] = qpos[k], qvel[k], qacc[k]
        now_q[strap_q], now_v[strap_v] = q, v
        springs[strap_q] = rests[k]
        mujoco.mj_inverseSkip(engine, data, mujoco.mjtStage.mjSTAGE_NONE, 1)
        if person.pull is not None:
            still = at_sites[sites["shoulder"]].copy() if still is None else still
            pulled[:] = person.pull(at_bodies[bell], still)
        a = -soft @ needed[strap_v]
        now_a[strap_v] = a
        mujoco.mj_inverseSkip(engine, data, mujoco.mjtStage.mjSTAGE_POS, 0)
        read[k], places[k], turned[k] = sensors, at_sites, axes_of
        worn[k], straps[k] = sensor_axes, q
        bent_w[k] = needed[hinge : hinge + 2] @ now_v[hinge : hinge + 2]
        v = v + a / RATE_HZ
        q = q + v / RATE_HZ

    def axes(name: str) -> np.ndarray:
        return turned[:, bodies[name]].reshape(n, 3, 3)

    upper = Rotation.from_matrix(axes("upper_arm"))
    return Lifted(
        time_s=course.time_s,
        shoulder_m=places[:, sites["shoulder"]],
        socket_m=places[:, sites["socket"]],
        bone_m=places[:, sites["bone"]],
        sensor_m=places[:, sites["sensor"]],
        thumb=axes("forearm")[:, :, 0],
        trunk=Rotation.from_matrix(axes("trunk")),
        upper_arm=upper,
        forearm=Rotation.from_matrix(axes("forearm")),
        sensor=Rotation.from_matrix(worn.reshape(n, 3, 3)),
        # As read they act on the arm: a hanging one reads its weight upward (held by the tests).
        force_n=upper.apply(read[:, 12:15]),
        moment_n_m=upper.apply(read[:, 15:18]),
        elbow_power_w=bent_w,
        specific_force_m_s2=read[:, 0:3],
        turning_rad_s=read[:, 3:6],
        chest_force_m_s2=read[:, 6:9],
        chest_turning_rad_s=read[:, 9:12],
        strap_rad=straps,
    )
