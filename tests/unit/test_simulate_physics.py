"""The synthetic arm against mechanics with known answers."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation
from scipy.special import ellipk

from armarc.simulate import (
    Body,
    MountPlan,
    SensorPlan,
    SimulationOptions,
    find_pattern,
    plan_session,
    simulate_session,
)
from armarc.simulate.arm import (
    HAND,
    arm_state,
    mount_matrix,
    sensor_state,
    torsion_for_hand_rotation,
)
from armarc.simulate.choreography import CHANNELS
from armarc.simulate.tracks import Knot, Track

G = 9.80665  # standard acceleration of free fall, CGPM 1901
IDEAL = SensorPlan(noise="ideal", rate_hz=1000)
EVERYTHING = SimulationOptions(
    reps=2,
    sets=2,
    twist=True,
    front_raise=True,
    pick_up=True,
    walk=True,
    fidget=True,
    rest_s=24,
    swing_m=0.04,
    dip_m=0.02,
    tremor_rad=math.radians(0.03),
    grind=0.7,
    sensor=IDEAL,
    body=Body(elbow_bottom_rad=math.radians(15)),
    mount=MountPlan(roll_rad=0.4, tilt_rad=0.15, strap="thumb", hand_axis="-x"),
)


def still(**values: float) -> dict[str, Track]:
    return {name: Track(knots=(Knot(0.0, values.get(name, 0.0)),)) for name in CHANNELS}


def read(tracks, time_s, mount=None, side="right", reach_m=0.6):
    mount = MountPlan(height_m=0.0) if mount is None else mount
    felt = sensor_state(arm_state(tracks, side, time_s, reach_m=reach_m), tracks, mount, side)
    return felt.specific_force_m_s2, felt.angular_velocity_rad_s


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize(
    ("strap", "pose", "expected"),
    [
        # Hanging: the axis to the hand (+y) points down.
        ("back", {}, (0, -G, 0)),
        # Raised sideways, palm down: the face (+z) on the back of the wrist points up, on the inside down.
        ("back", {"theta": math.pi / 2}, (0, 0, G)),
        ("inside", {"theta": math.pi / 2}, (0, 0, -G)),
        # Raised to the front, thumb up: a sensor on the thumb side faces up.
        ("thumb", {"theta": math.pi / 2, "gamma": math.pi / 2}, (0, 0, G)),
        ("little-finger", {"theta": math.pi / 2, "gamma": math.pi / 2}, (0, 0, -G)),
        # Overhead the hand points up.
        ("back", {"theta": math.pi}, (0, G, 0)),
        # Raised sideways and turned inward by 90°: thumb down.
        ("thumb", {"theta": math.pi / 2, "torsion": math.pi / 2}, (0, 0, -G)),
    ],
)
def test_at_rest_the_sensor_reads_gravity_along_the_right_axis(side, strap, pose, expected):
    force, rate = read(still(**pose), np.zeros(1), MountPlan(strap=strap), side)
    np.testing.assert_allclose(force[0], expected, atol=1e-9)
    np.testing.assert_allclose(rate, 0, atol=1e-12)


@pytest.mark.parametrize("hand_axis", ["+x", "-x", "+y", "-y", "+z", "-z"])
@pytest.mark.parametrize("strap", ["back", "inside", "thumb", "little-finger"])
@pytest.mark.parametrize("side", ["right", "left"])
def test_every_mounting_is_a_rotation_with_the_stated_axis_to_the_hand(hand_axis, strap, side):
    matrix = mount_matrix(MountPlan(strap=strap, hand_axis=hand_axis), side)
    np.testing.assert_allclose(matrix @ matrix.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(matrix) == pytest.approx(1)
    in_sensor = matrix.T @ HAND
    index, sign = "xyz".index(hand_axis[1]), 1 if hand_axis[0] == "+" else -1
    assert in_sensor[index] == pytest.approx(sign)


def test_tilt_is_the_angle_between_the_sensor_axis_and_the_forearm():
    matrix = mount_matrix(MountPlan(tilt_rad=0.2, roll_rad=1.0), "right")
    assert math.acos((matrix.T @ HAND)[1]) == pytest.approx(0.2)


def test_a_steady_turn_gives_the_centripetal_acceleration():
    # Held level and turned about the vertical: ω²r toward the shoulder, handbook mechanics.
    tracks = still(theta=math.pi / 2)
    w = 3.0
    # Torsion is counted from the swing in a plane, so it turns along when the whole arm turns as one.
    tracks["gamma"] = tracks["torsion"] = Track(knots=(Knot(0, 0, w), Knot(2, 2 * w, w)))
    force, rate = read(tracks, np.linspace(0.1, 1.9, 50), reach_m=0.6)
    # +y points to the hand; the specific force that keeps it on its circle points back.
    np.testing.assert_allclose(force[:, 1], -(w**2) * 0.6, rtol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(rate, axis=1), w, rtol=1e-9)


def test_a_falling_body_weighs_nothing():
    tracks = still(theta=0.7, gamma=0.3)
    tracks["z"] = Track(knots=(Knot(0, 0, 0, -G), Knot(1, -G / 2, -G, -G)))
    force, _ = read(tracks, np.linspace(0, 0.99, 20))
    np.testing.assert_allclose(force, 0, atol=1e-9)


@pytest.mark.parametrize(("amplitude_deg", "ratio"), [(30, 1.017409), (45, 1.039973), (90, 1.180341)])
def test_a_free_pendulum_feels_no_force_across_its_line(amplitude_deg, ratio):
    # A mass on a light rod: the rod can only pull along itself, with m(g cos θ + θ̇²l). Period ratios: elliptic
    # integral (2/π)K(sin²(A/2)), standard result, recomputed by scipy.special.ellipk.
    length, amplitude = 0.6, math.radians(amplitude_deg)
    assert 2 / math.pi * ellipk(math.sin(amplitude / 2) ** 2) == pytest.approx(ratio, abs=2e-6)
    period = 2 * math.pi * math.sqrt(length / G) * ratio
    t = np.linspace(0, period, 400)
    swing = solve_ivp(
        lambda _, y: [y[1], -G / length * math.sin(y[0])],
        (0, period),
        [amplitude, 0],
        t_eval=t,
        rtol=1e-11,
        atol=1e-11,
    )
    theta, speed = swing.y
    assert theta[-1] == pytest.approx(amplitude, abs=1e-4)
    knots = [Knot(*row) for row in zip(t, theta, speed, -G / length * np.sin(theta), strict=True)]
    tracks = still() | {"theta": Track(knots=tuple(knots))}
    between = (t[:-1] + t[1:]) / 2
    force, _ = read(tracks, between, reach_m=length)
    np.testing.assert_allclose(force[:, [0, 2]], 0, atol=2e-4)
    mid_theta, mid_speed, _ = tracks["theta"].sample(between)
    np.testing.assert_allclose(-force[:, 1], G * np.cos(mid_theta) + mid_speed**2 * length, atol=2e-4)


def test_the_left_arm_is_the_mirror_image():
    # Mirrored, the force keeps its components along the hand (y) and the face (z), the turning changes them.
    right, _ = simulate_session(plan_session(SimulationOptions(reps=2, sensor=IDEAL, twist=True), 3), 3)
    left, _ = simulate_session(
        plan_session(SimulationOptions(reps=2, sensor=IDEAL, twist=True, side="left"), 3), 3
    )
    f_right, f_left = right.specific_force_m_s2, left.specific_force_m_s2
    w_right, w_left = right.angular_velocity_rad_s, left.angular_velocity_rad_s
    # The trunk's sway to the side is not mirrored: a few mm/s².
    np.testing.assert_allclose(f_left * [-1, 1, 1], f_right, atol=0.1)
    np.testing.assert_allclose(w_left * [1, -1, -1], w_right, atol=1e-9)


def test_integrating_the_gyroscope_reproduces_the_orientation():
    recording, truth = simulate_session(plan_session(EVERYTHING, 5), 5)
    true = Rotation.from_quat(truth.series.quaternion, scalar_first=True)
    w = recording.angular_velocity_rad_s
    # Midpoint rule, step by step, with scipy's exponential map.
    steps = Rotation.from_rotvec((w[1:] + w[:-1]) / 2 / 1000).as_quat()
    now = true[0].as_quat()
    for i, (x, y, z, s) in enumerate(steps):
        a, b, c, d = now
        now = np.array(
            [
                d * x + a * s + b * z - c * y,
                d * y - a * z + b * s + c * x,
                d * z + a * y - b * x + c * s,
                d * s - a * x - b * y - c * z,
            ]
        )
        if i % 5000 == 4999:
            assert (Rotation.from_quat(now) * true[i + 1].inv()).magnitude() < math.radians(0.05)
    assert (Rotation.from_quat(now) * true[-1].inv()).magnitude() < math.radians(0.05)


def test_the_specific_force_is_the_second_derivative_of_the_path_plus_gravity():
    recording, truth = simulate_session(plan_session(EVERYTHING, 5), 5)
    turn = Rotation.from_quat(truth.series.quaternion, scalar_first=True)
    path = truth.series.shoulder_m + turn.apply(truth.lever_arm_m)
    acceleration = (path[2:] - 2 * path[1:-1] + path[:-2]) * 1e6
    expected = turn[1:-1].apply(acceleration + np.array([0, 0, G]), inverse=True)
    error = np.abs(expected - recording.specific_force_m_s2[1:-1])
    # Steps ring at up to 18 Hz; everywhere else central differences at 1 kHz are far better.
    assert error.max() < 0.06
    assert np.median(error) < 1e-5


def test_the_arm_axis_and_the_quaternion_give_the_true_elevation():
    _, truth = simulate_session(plan_session(EVERYTHING, 2), 2)
    line = Rotation.from_quat(truth.series.quaternion, scalar_first=True).apply(truth.arm_axis)
    elevation = np.arctan2(np.hypot(line[:, 0], line[:, 1]), -line[:, 2])
    np.testing.assert_allclose(elevation, truth.series.elevation_rad, atol=1e-8)
    thumb = Rotation.from_quat(truth.series.quaternion, scalar_first=True).apply(truth.thumb_axis)
    np.testing.assert_allclose(np.arcsin(thumb[:, 2]), truth.series.hand_rotation_rad, atol=1e-7)


def test_a_bent_elbow_turns_the_forearm_off_the_shoulder_wrist_line():
    # 20° of bend puts the forearm 11.2° off the line (upper arm 0.335 m, forearm 0.263 m: atan of the triangle).
    bend = math.radians(20)
    off = math.atan2(0.335 * math.sin(bend), 0.263 + 0.335 * math.cos(bend))
    assert off == pytest.approx(math.radians(11.2), abs=2e-3)
    plan = plan_session(SimulationOptions(reps=1, body=Body(elbow_bottom_rad=bend), sensor=IDEAL), 1)
    _, truth = simulate_session(plan, 1)
    assert math.acos(truth.arm_axis @ truth.forearm_axis) == pytest.approx(off, abs=2e-3)
    np.testing.assert_allclose(truth.forearm_axis, [0, 1, 0], atol=1e-9)


def test_no_angular_velocity_is_left_out_near_hanging():
    # Passing straight down while turning: the quaternion's own derivative is the oracle.
    knots = (Knot(0, -0.3, 1.0), Knot(0.6, 0.3, 1.0))
    tracks = still(gamma=0.8) | {
        "theta": Track(knots=knots),
        "torsion": Track(knots=(Knot(0, 0, 2), Knot(1, 2, 2))),
    }
    t = np.arange(0, 0.6, 1e-4)
    line = arm_state(tracks, "right", t, reach_m=0.6).line
    found = (line.rotation[1:] * line.rotation[:-1].inv()).as_rotvec() / 1e-4
    mean = (line.angular_velocity_rad_s[1:] + line.angular_velocity_rad_s[:-1]) / 2
    np.testing.assert_allclose(found, mean, atol=1e-6)


@pytest.mark.parametrize("wanted_deg", [-60, -20, 0, 30, 70])
@pytest.mark.parametrize("gamma_deg", [0, 35, 90])
def test_the_thumb_comes_to_the_wanted_height(wanted_deg, gamma_deg):
    theta, gamma, wanted = math.radians(90), math.radians(gamma_deg), math.radians(wanted_deg)
    torsion = torsion_for_hand_rotation(theta, gamma, wanted)
    tracks = still(theta=theta, gamma=gamma, torsion=torsion)
    state = arm_state(tracks, "right", np.zeros(1), reach_m=0.6)
    assert state.thumb[0, 2] == pytest.approx(math.sin(wanted), abs=1e-9)


@pytest.mark.parametrize("key", ["machine-reverse-fly", "band-external-rotation"])
def test_a_movement_about_the_vertical_keeps_its_elevation(key):
    pattern = find_pattern(key)
    recording, truth = simulate_session(
        plan_session(SimulationOptions(reps=2, pattern=pattern, sensor=IDEAL), 1), 1
    )
    assert np.ptp(truth.series.elevation_rad) < math.radians(1)
    # The hand keeps its grip: the thumb's height changes by the wander only.
    assert np.ptp(truth.series.hand_rotation_rad) < math.radians(3)
    assert math.degrees(truth.reps[0].hand_rotation_rad) == pytest.approx(80, abs=2)
    assert math.degrees(truth.reps[0].rom_rad) > 80
    # A right arm that swings outward turns clockwise seen from above: −ω about the vertical.
    rep = truth.reps[0]
    middle = np.searchsorted(truth.series.time_s, (rep.start_s + rep.top_start_s) / 2)
    turn = Rotation.from_quat(truth.series.quaternion[middle], scalar_first=True)
    assert turn.apply(np.array(recording.angular_velocity_rad_s[middle]))[2] < -0.5
