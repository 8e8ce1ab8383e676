"""A watch that is lifted before the face to press start and stop, before and after movements that were recorded.

Lengths of arms and times are invented (common practice, no source); positions give what the sensor feels.
"""

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from armarc.recording import Recording

G_M_S2 = 9.80665


def made(t, force, omega):
    rate_hz = 1 / np.median(np.diff(t))
    return Recording(
        time_s=t, specific_force_m_s2=force, angular_velocity_rad_s=omega, rate_hz=float(rate_hz)
    )


def attitude(session):
    """Sensor → global over time, as it was measured."""
    motion = session.motions[0]
    return Slerp(motion.time_s, Rotation.from_quat(np.roll(motion.quaternion, -1, axis=1)))


def smooth(x):
    """A minimum-jerk way from 0 to 1."""
    x = np.clip(x, 0.0, 1.0)
    return x**3 * (10 - 15 * x + 6 * x**2)


def lifted(pose, arm, about, rng, *, before, rate_hz):
    """Specific force and angular velocity of a wrist lifted before the face, at a button, and lowered again.

    Upper arm and forearm hang along `arm` (sensor axes) in `pose`, in which the movement ends (before a set) or
    starts; about `about` the shoulder flexes and the elbow bends. Positions give the acceleration.
    """
    step_s = 1 / 400
    way_s, looks_s, waits_s = rng.uniform(0.6, 1.1), rng.uniform(0.8, 2.5), rng.uniform(0.3, 2.0)
    t = np.arange(0, 2 * way_s + looks_s + waits_s, step_s)
    up = smooth(t / way_s) - smooth((t - way_s - looks_s) / way_s)
    if not before:
        up = smooth((t - waits_s) / way_s)
        t, up = (each[: round((waits_s + way_s + looks_s) / step_s)] for each in (t, up))
    flexed = up * rng.uniform(0.2, 0.7)
    bent, turned_in = up * rng.uniform(1.2, 1.9), up * rng.uniform(-1.2, 1.2)
    down = pose.apply(arm)
    upper = Rotation.from_rotvec(flexed[:, None] * about)
    fore = (
        upper * Rotation.from_rotvec(bent[:, None] * about) * Rotation.from_rotvec(turned_in[:, None] * down)
    )
    place = upper.apply(0.29 * down) + fore.apply(0.25 * down)
    acceleration = np.gradient(np.gradient(place, step_s, axis=0), step_s, axis=0)
    sensor = fore * pose
    force = sensor.inv().apply(acceleration + np.array([0, 0, G_M_S2]))
    omega = (sensor[:-1].inv() * sensor[1:]).as_rotvec() / step_s
    at = np.arange(0, t[-1] - step_s, 1 / rate_hz)
    noise = rng.normal(size=(2, len(at), 3)) * np.array([0.03, np.radians(0.2)])[:, None, None]
    return [
        np.column_stack([np.interp(at, t[: len(x)], column) for column in x.T]) + rough
        for x, rough in zip((force, omega), noise, strict=True)
    ]


def axis_of(rep, session):
    """The horizontal axis that the arm turns about while it is raised in a rep, in global axes."""
    motion, phases = session.motions[0], rep.phases
    rising = (motion.time_s > phases.start_s) & (motion.time_s < phases.top_start_s)
    turns = attitude(session)(motion.time_s[rising]).apply(motion.angular_velocity_rad_s[rising])
    turned = turns.sum(axis=0) * [1, 1, 0]
    return turned / np.linalg.norm(turned)


def between_lifts(recording, session, ends, about, rng, *, arm=None):
    """A stretch of a recording (samples) between a lift to press start and a lift to press stop.

    The lifts turn about `about` (global axes); an arm that is not stated (sensor axes) hangs at both ends.
    """
    first, stop = ends
    lifts = [
        lifted(
            pose,
            pose.inv().apply([0, 0, -1.0]) if arm is None else np.array(arm),
            about,
            rng,
            before=before,
            rate_hz=recording.rate_hz,
        )
        for pose, before in zip(
            attitude(session)(recording.time_s[[first, stop]]), (True, False), strict=True
        )
    ]
    own = recording.specific_force_m_s2[first:stop], recording.angular_velocity_rad_s[first:stop]
    force, omega = (np.vstack(parts) for parts in zip(lifts[0], own, lifts[1], strict=True))
    return made(np.arange(len(force)) / recording.rate_hz, force, omega)


def pressed_at_its_bottoms(recording, session, rng):
    """All reps of the largest set but the first and the last, from bottom to bottom, between lifts that turn as the
    reps do; and how many these are."""
    one = max(session.sets, key=lambda one: len(one.reps))
    speed = np.linalg.norm(recording.angular_velocity_rad_s, axis=1)

    def stillest(at_s):
        around = np.flatnonzero(np.abs(recording.time_s - at_s) < 0.3)
        return around[np.argmin(speed[around])]

    ends = stillest(one.reps[1].phases.start_s), stillest(one.reps[-2].phases.end_s)
    about = axis_of(one.reps[1], session)
    return between_lifts(recording, session, ends, about, rng), len(one.reps) - 2
