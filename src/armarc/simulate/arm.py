"""Kinematics of a body with an arm: from its coordinates to what a sensor at the wrist feels.

Global frame: x forward, y left, z up. Reference pose: arm hanging, thumb forward, so that the limb axes
coincide with the global ones (hand along −z, thumb along +x, back of the hand outward).

The chain: hips → trunk (heading, tip, lean) → shoulder (risen with the girdle) → arm line → upper arm and forearm on
either side of it → wrist → strap. With a still trunk and a straight elbow it is the rigid arm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray
from armarc.simulate.body import (
    GIRDLE_INWARD,
    HALF_SHOULDER_WIDTH_M,
    HIP_TO_SHOULDER_M,
    UPPER_ARM_SHARE,
    Body,
    forearm_off_line,
)
from armarc.simulate.plan import MountPlan
from armarc.simulate.tracks import Frame, Track, fixed_frame, then_about

HAND = np.array([0.0, 0.0, -1.0])
THUMB = np.array([1.0, 0.0, 0.0])
UP = np.array([0.0, 0.0, 1.0])
_X, _Y = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])


def mount_matrix(mount: MountPlan, side: str) -> FloatArray:
    """Sensor axes in forearm axes, one per column, shape (3, 3).

    The sensor is right-handed on either wrist; the wrist is what is mirrored.
    """
    outward = _outward(mount, side)
    sign = -1.0 if mount.hand_axis[0] == "-" else 1.0
    hand_index = "xyz".index(mount.hand_axis[1])
    face_index = 0 if hand_index == 2 else 2
    columns = np.zeros((3, 3))
    columns[:, hand_index] = sign * HAND
    columns[:, face_index] = outward
    third = 3 - hand_index - face_index
    columns[:, third] = np.cross(columns[:, (third + 1) % 3], columns[:, (third + 2) % 3])
    skew = Rotation.from_rotvec(mount.tilt_rad * _askew(outward))
    roll = Rotation.from_rotvec(mount.roll_rad * HAND)
    matrix: FloatArray = (roll * skew).as_matrix() @ columns
    return matrix


def _outward(mount: MountPlan, side: str) -> FloatArray:
    back = np.array([0.0, -1.0 if side == "right" else 1.0, 0.0])
    return {"back": back, "inside": -back, "thumb": THUMB, "little-finger": -THUMB}[mount.strap]


def _askew(outward: FloatArray) -> FloatArray:
    """The axis a strap sits askew about: half about the face, half about the line across the wrist."""
    out: FloatArray = (outward + np.cross(HAND, outward)) / np.sqrt(2)
    return out


def face_axis(mount: MountPlan, side: str) -> FloatArray:
    """The sensor's outward axis in forearm axes, shape (3,)."""
    out: FloatArray = mount_matrix(mount, side)[:, 0 if mount.hand_axis[1] == "z" else 2]
    return out


@dataclass(frozen=True, slots=True)
class Link:
    """A way from one point of the body to the next: a place in a frame, or back from it; how it moves there."""

    frame: Frame
    place: FloatArray
    moving: FloatArray | None = None
    back: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmState:
    """The body at n instants, all vectors in the global frame unless said.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    trunk, line, upper_arm, forearm : Frame
        The arm line's frame has its hand axis from shoulder to wrist; the forearm's turns with pronation.
    shoulder_m : ndarray, shape (n, 3)
        Centre of the shoulder.
    torso_m : ndarray, shape (n, 3)
        Where the shoulder would be without the girdle's rise: what the body alone does.
    wrist_m : ndarray, shape (n, 3)
        The place on the bone below the sensor.
    upright_m_s2 : ndarray, shape (n, 3)
        Acceleration of the upright trunk's shoulder.
    links : tuple of Link
        What leads from there to the wrist.
    elbow_rad : ndarray, shape (n,)
    elevation_rad, elevation_rate_rad_s : ndarray, shape (n,)
        Of the arm line against the vertical.
    plane_rad, plane_rate_rad_s : ndarray, shape (n,)
        Plane of elevation of the arm line relative to the trunk's heading.
    """

    time_s: FloatArray
    trunk: Frame
    line: Frame
    upper_arm: Frame
    forearm: Frame
    shoulder_m: FloatArray
    torso_m: FloatArray
    wrist_m: FloatArray
    upright_m_s2: FloatArray
    links: tuple[Link, ...]
    elbow_rad: FloatArray
    elevation_rad: FloatArray
    elevation_rate_rad_s: FloatArray
    plane_rad: FloatArray
    plane_rate_rad_s: FloatArray

    @property
    def wrist_acceleration_m_s2(self) -> FloatArray:
        """Of the place on the bone below the sensor, shape (n, 3)."""
        out = self.upright_m_s2
        for link in self.links:
            way = link.frame.acceleration(link.place, link.moving)
            out = out - way if link.back else out + way
        return out

    @property
    def thumb(self) -> FloatArray:
        """Thumb side across the arm line, unit vectors, shape (n, 3)."""
        line, thumb = self.line.direction(HAND), self.forearm.direction(THUMB)
        thumb = thumb - np.sum(thumb * line, axis=1)[:, None] * line
        out: FloatArray = thumb / np.linalg.norm(thumb, axis=1)[:, None]
        return out


def arm_state(
    tracks: dict[str, Track], side: str, time_s: FloatArray, *, reach_m: float, body: Body | None = None
) -> ArmState:
    """Evaluate the body at rising instants.

    The arm line's orientation is Rz(a)·Rx(θ)·Rz(b): it swings from hanging by θ in the plane γ and turns by
    the torsion s about itself (tilt-and-torsion), relative to the share of the trunk's tilt that it follows.

    Parameters
    ----------
    tracks : dict
        ``theta, gamma, torsion, elbow, pronation, heading, tip, lean`` in rad, ``x, y, z`` in m (shoulder of the
        upright trunk).
    side : str
    time_s : ndarray, shape (n,), s
    reach_m : float, m
        Shoulder to wrist with a straight elbow.
    body : Body, optional
    """
    body = Body() if body is None else body
    mirror = 1.0 if side == "right" else -1.0
    at = {name: tracks[name].sample(time_s) for name in tracks if name not in "xyz"}
    upright = np.stack([tracks[name].sample(time_s) for name in "xyz"], axis=-1)
    gamma, theta = mirror * at["gamma"], at["theta"]
    torsion = mirror * (at["torsion"] - at["gamma"])
    if side == "right":
        gamma, torsion = _ahead(gamma, np.pi), _ahead(torsion, -np.pi)

    # Positive tip bends forward, positive lean away from the arm.
    aside = -mirror * _X
    ground = fixed_frame(len(time_s)).turned(UP, at["heading"])
    trunk = ground.turned(_Y, at["tip"]).turned(aside, at["lean"])
    follow = body.arm_follows_trunk
    socket = ground.turned(_Y, follow * at["tip"]).turned(aside, follow * at["lean"])
    line = socket.turned(UP, gamma).turned(_X, theta).turned(UP, torsion)

    # The hips go where the upright shoulder would, so that only the tilt moves the shoulder relative to it.
    torso_m, links = upright[0], []
    if trunk is not ground:
        seat = np.array([0.0, -mirror * HALF_SHOULDER_WIDTH_M, HIP_TO_SHOULDER_M])
        torso_m = torso_m + trunk.direction(seat) - ground.direction(seat)
        links += [Link(trunk, seat), Link(ground, seat, back=True)]
    shoulder_m = torso_m
    if body.girdle_rise_m:
        risen, moving = _girdle(theta, body.girdle_rise_m, mirror)
        shoulder_m = shoulder_m + trunk.direction(risen)
        links += [Link(trunk, risen, moving)]

    off = forearm_off_line(at["elbow"])
    upper_arm = line.turned(_Y, at["elbow"] - off)
    # Bending the elbow turns the forearm from hanging toward the thumb.
    bent = line.turned(-_Y, off)
    forearm = bent.turned(UP, mirror * at["pronation"])
    to_elbow, to_wrist = UPPER_ARM_SHARE * reach_m * HAND, (1 - UPPER_ARM_SHARE) * reach_m * HAND
    hand = line.direction(HAND)
    hand_speed = np.cross(line.angular_velocity_rad_s, hand)
    elevation, elevation_rate = _elevation(hand, hand_speed)
    plane, plane_rate = _plane(hand, hand_speed, at, mirror)
    return ArmState(
        time_s=time_s,
        trunk=trunk,
        line=line,
        upper_arm=upper_arm,
        forearm=forearm,
        shoulder_m=shoulder_m,
        torso_m=torso_m,
        wrist_m=shoulder_m + upper_arm.direction(to_elbow) + bent.direction(to_wrist),
        upright_m_s2=upright[2],
        links=(*links, Link(upper_arm, to_elbow), Link(bent, to_wrist)),
        elbow_rad=at["elbow"][0],
        elevation_rad=elevation,
        elevation_rate_rad_s=elevation_rate,
        plane_rad=plane,
        plane_rate_rad_s=plane_rate,
    )


def _ahead(angle: FloatArray, by_rad: float) -> FloatArray:
    out: FloatArray = angle + np.array([[by_rad], [0.0], [0.0]])
    return out


def _girdle(theta: FloatArray, rise_m: float, mirror: float) -> tuple[FloatArray, FloatArray]:
    """The girdle's travel in trunk axes and its two derivatives: up by rise·(1 − cos θ), and toward the neck."""
    th, dth, ddth = theta
    size = rise_m * np.stack(
        [1 - np.cos(th), np.sin(th) * dth, np.cos(th) * dth**2 + np.sin(th) * ddth],
    )
    path = size[:, :, None] * np.array([0.0, GIRDLE_INWARD * mirror, 1.0])
    return path[0], path[1:]


def _elevation(hand: FloatArray, speed: FloatArray) -> tuple[FloatArray, FloatArray]:
    across = np.hypot(hand[:, 0], hand[:, 1])
    # Straight down every movement raises the arm.
    passing = across < 1e-9
    rate = np.where(passing, np.linalg.norm(speed, axis=1), speed[:, 2] / np.where(passing, 1, across))
    return np.arctan2(across, -hand[:, 2]), rate


def _plane(
    hand: FloatArray, speed: FloatArray, at: dict[str, FloatArray], mirror: float
) -> tuple[FloatArray, FloatArray]:
    """Plane of elevation by what the trunk's tilt makes of the planned one; near hanging the planned one."""
    theta, gamma, heading = at["theta"], at["gamma"], at["heading"]
    square = hand[:, 0] ** 2 + hand[:, 1] ** 2
    # Where a positive planned elevation would point.
    planned = heading[0] + mirror * (gamma[0] - np.pi / 2) + np.where(theta[0] < 0, np.pi, 0.0)
    turned = np.arctan2(hand[:, 1], hand[:, 0]) - planned
    turned = (turned + np.pi) % (2 * np.pi) - np.pi
    azimuth_rate = (hand[:, 0] * speed[:, 1] - hand[:, 1] * speed[:, 0]) / np.maximum(square, 1e-12)
    clear = square > 1e-4
    plane = gamma[0] + np.where(clear, mirror * turned, 0.0)
    plane_rate = np.where(clear, mirror * (azimuth_rate - heading[1]), gamma[1])
    return plane, plane_rate


@dataclass(frozen=True, slots=True, kw_only=True)
class PerfectSensor:
    """What a sensor without errors goes through, at n instants; worked out where it is asked for.

    Parameters
    ----------
    state : ArmState
    strap : Frame
        The forearm's axes as the strap turns about the wrist.
    above_m : ndarray, shape (3,), m
        From the bone to the sensor, in the strap's axes.
    mounted : ndarray, shape (3, 3)
        Sensor axes in the strap's, one per column.
    """

    state: ArmState
    strap: Frame
    above_m: FloatArray
    mounted: FloatArray

    @property
    def rotation(self) -> Rotation:
        """Sensor axes into the global frame, length n."""
        turn = Rotation.from_matrix(self.mounted).as_rotvec()
        angle_rad = float(np.linalg.norm(turn))
        axis = turn / angle_rad if angle_rad else HAND
        return then_about(self.strap.rotation, axis, np.array([angle_rad]))

    @property
    def position_m(self) -> FloatArray:
        """Global, shape (n, 3)."""
        return self.state.wrist_m + self.strap.direction(self.above_m)

    @property
    def specific_force_m_s2(self) -> FloatArray:
        """f = Rᵀ(a + g ẑ) in sensor axes, shape (n, 3)."""
        force = self.state.wrist_acceleration_m_s2 + self.strap.acceleration(self.above_m)
        return self._felt(force + STANDARD_GRAVITY_M_S2 * UP)

    @property
    def angular_velocity_rad_s(self) -> FloatArray:
        """In sensor axes, shape (n, 3)."""
        return self._felt(self.strap.angular_velocity_rad_s)

    def _felt(self, vectors: FloatArray) -> FloatArray:
        out: FloatArray = self.strap.rotation.inv().apply(vectors) @ self.mounted
        return out

    @property
    def quaternion(self) -> FloatArray:
        """Sensor → global, scalar first, shape (n, 4), without sign flips along time."""
        q = self.rotation.as_quat(scalar_first=True)
        flips = np.cumprod(np.where(np.sum(q[1:] * q[:-1], axis=1) < 0, -1.0, 1.0))
        q[1:] *= flips[:, None]
        out: FloatArray = q
        return out


def sensor_state(state: ArmState, tracks: dict[str, Track], mount: MountPlan, side: str) -> PerfectSensor:
    """What a perfect sensor strapped to the wrist reads.

    Parameters
    ----------
    state : ArmState
    tracks : dict
        ``strap_roll, strap_tilt`` in rad: the strap's slip and wobble about the wrist.
    mount : MountPlan
    side : str
    """
    strap = state.forearm.turned(HAND, tracks["strap_roll"].sample(state.time_s))
    strap = strap.turned(_askew(_outward(mount, side)), tracks["strap_tilt"].sample(state.time_s))
    return PerfectSensor(
        state=state,
        strap=strap,
        above_m=mount.height_m * face_axis(mount, side),
        mounted=mount_matrix(mount, side),
    )


def torsion_for_hand_rotation(theta_rad: float, gamma_rad: float, hand_rotation_rad: float) -> float:
    """Torsion that puts the thumb at a wanted elevation above horizontal, rad.

    The up direction seen across the arm has length sin θ, so the thumb reaches at most 90° − |90° − θ|; a
    wish beyond is met as nearly as possible. Of the two solutions the smaller turn is taken.
    """
    swing = Rotation.from_euler("ZXZ", [np.pi + gamma_rad, theta_rad, -np.pi - gamma_rad])
    forward_up = swing.apply(THUMB)[2]
    inward_up = swing.apply([0.0, 1.0, 0.0])[2]
    size = float(np.hypot(forward_up, inward_up))
    if size < 1e-9:
        return 0.0
    centre = np.arctan2(inward_up, forward_up)
    half = np.arccos(np.clip(np.sin(hand_rotation_rad) / size, -1, 1))
    both = [float((centre + s * half + np.pi) % (2 * np.pi) - np.pi) for s in (-1, 1)]
    return min(both, key=abs)
