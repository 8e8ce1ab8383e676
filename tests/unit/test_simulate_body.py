"""The body in the simulator against geometry and mechanics with known answers, and against the rigid arm."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.errors import UsageError
from armarc.simulate import (
    BODIES,
    SCENARIOS,
    Body,
    MountPlan,
    RepPlan,
    SensorPlan,
    SimulationOptions,
    draw_body,
    draw_options,
    draw_session,
    find_pattern,
    plan_session,
    simulate_session,
)
from armarc.simulate.arm import HAND, arm_state, mount_matrix, sensor_state
from armarc.simulate.body import UPPER_ARM_SHARE, forearm_off_line
from armarc.simulate.choreography import CHANNELS
from armarc.simulate.timeline import build_timeline
from armarc.simulate.tracks import Knot, Track
from grids import seldom

G = 9.80665  # standard acceleration of free fall, CGPM 1901
RAD = math.radians
IDEAL = SensorPlan(noise="ideal", rate_hz=1000)
EVERYTHING = Body(
    elbow_bottom_rad=RAD(8),
    elbow_top_rad=RAD(25),
    pronation_rad=RAD(30),
    girdle_rise_m=0.035,
    lean_rad=RAD(3),
    stoop_rad=RAD(5),
    lean_travel_rad=RAD(4),
    tip_rad=RAD(12),
    sway_rad=RAD(0.4),
    arm_follows_trunk=0.6,
    rest_plane_rad=RAD(75),
    wobble_rad=RAD(1),
    wobble_damping=0.1,
    slip_roll_rad=RAD(6),
    slip_tilt_rad=RAD(10),
)


def still(**values):
    return {name: Track(knots=(Knot(0.0, values.get(name, 0.0)),)) for name in CHANNELS}


def posture(body=None, side="right", **values):
    return arm_state(still(**values), side, np.zeros(1), reach_m=0.6, body=body)


def made(seed=1, **options):
    return simulate_session(
        plan_session(SimulationOptions(**{"reps": 3, "sensor": IDEAL, **options}), seed), seed
    )


def felt(plan, seed, rate_hz=1000.0):
    """The perfect sensor of a session at a steady rate, and the body."""
    rng = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3)]
    timeline = build_timeline(plan, rng[0], rng[2])
    time_s = np.arange(int(timeline.duration_s * rate_hz)) / rate_hz
    state = arm_state(timeline.tracks, plan.side, time_s, reach_m=plan.reach_m, body=plan.body)
    return state, sensor_state(state, timeline.tracks, plan.mount, plan.side)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("key", ["lateral-raise", "machine-reverse-fly", "upright-row"])
def test_without_a_body_it_is_the_rigid_arm(side, key):
    # The closed form of one rigid segment Rz(a)·Rx(θ)·Rz(b) on a moving shoulder, written out.
    plan = plan_session(
        SimulationOptions(
            reps=2,
            sets=2,
            rest_s=20,
            walk=True,
            pick_up=True,
            swing_m=0.04,
            dip_m=0.01,
            tremor_rad=5e-4,
            pattern=find_pattern(key),
            side=side,
            mount=MountPlan(roll_rad=0.3, tilt_rad=0.1, strap="thumb"),
        ),
        4,
    )
    _, found = felt(plan, 4, 200.0)
    rng = [np.random.default_rng(s) for s in np.random.SeedSequence(4).spawn(3)]
    tracks = build_timeline(plan, rng[0], rng[2]).tracks
    t = np.arange(len(found.position_m)) / 200.0
    mirror = 1.0 if side == "right" else -1.0
    half_turn = np.pi if side == "right" else 0.0
    th, ga, to, he = (tracks[k].sample(t) for k in ("theta", "gamma", "torsion", "heading"))
    a, b = he + mirror * ga, mirror * (to - ga)
    limb = Rotation.from_euler("ZXZ", np.stack([a[0] + half_turn, th[0], b[0] - half_turn], axis=-1))
    up = np.array([0.0, 0.0, 1.0])
    hinge = np.stack([np.cos(a[0] + half_turn), np.sin(a[0] + half_turn), 0 * t], axis=-1)
    spin = limb.apply(up)
    da, dth, db = (v[1][:, None] for v in (a, th, b))
    dda, ddth, ddb = (v[2][:, None] for v in (a, th, b))
    w = da * up + dth * hinge + db * spin
    al = dda * up + ddth * hinge + dth * da * np.cross(up, hinge)
    al = al + ddb * spin + db * np.cross(da * up + dth * hinge, spin)
    matrix = mount_matrix(plan.mount, side)
    r = limb.apply(plan.reach_m * HAND + plan.mount.height_m * matrix[:, 2])
    acceleration = np.stack([tracks[k].sample(t)[2] for k in "xyz"], axis=-1)
    acceleration = acceleration + np.cross(al, r) + np.cross(w, np.cross(w, r)) + G * up
    np.testing.assert_allclose(
        found.specific_force_m_s2, limb.apply(acceleration, inverse=True) @ matrix, atol=1e-10
    )
    np.testing.assert_allclose(found.angular_velocity_rad_s, limb.apply(w, inverse=True) @ matrix, atol=1e-11)


def busy_plan(seed=5, side="right", body=EVERYTHING):
    return plan_session(
        SimulationOptions(
            reps=3,
            sets=2,
            rest_s=25,
            walk=True,
            fidget=True,
            pick_up=True,
            swing_m=0.05,
            pulses=1,
            alternating=True,
            press_start=True,
            press_stop=True,
            walk_up=True,
            side=side,
            body=body,
            mount=MountPlan(roll_rad=0.4, tilt_rad=0.1, hand_axis="-x"),
            sensor=IDEAL,
        ),
        seed,
    )


@cache
def busy():
    """The busiest session, simulated once."""
    return simulate_session(busy_plan(), 5)


@pytest.mark.parametrize("side", ["left", *seldom("right")])
def test_the_sensors_path_differentiated_twice_is_the_specific_force_it_feels(side):
    _, sensor = felt(busy_plan(side=side), 5)
    path = sensor.position_m
    acceleration = (path[2:] - 2 * path[1:-1] + path[:-2]) * 1e6
    expected = sensor.rotation[1:-1].apply(acceleration + np.array([0, 0, G]), inverse=True)
    error = np.abs(expected - sensor.specific_force_m_s2[1:-1])
    # Steps and taps ring at up to 18 Hz, where central differences at 1 kHz are off by (ωh)²/12 of the acceleration.
    assert error.max() < 0.1
    assert np.median(error) < 2e-5


def test_the_gyroscope_integrates_to_the_orientation():
    recording, truth = busy()
    turn = Rotation.from_quat(truth.series.quaternion, scalar_first=True)
    w = recording.angular_velocity_rad_s
    steps = Rotation.from_rotvec((w[1:] + w[:-1]) / 2 / 1000)
    found = turn[0]
    # Chained in blocks: SciPy multiplies pairs at once.
    for first in range(0, len(steps) - 1000, 1000):
        block = steps[first : first + 1000]
        while len(block) > 1:
            block = block[0::2] * block[1::2] if len(block) % 2 == 0 else _odd(block)
        found = found * block[0]
        assert (found * turn[first + 1000].inv()).magnitude() < RAD(0.05)


def _odd(block):
    pairs = block[0:-1:2] * block[1::2]
    return Rotation.concatenate([pairs, block[-1:]])


def test_the_true_rates_are_the_derivatives_of_the_true_angles():
    _, truth = busy()
    series = truth.series
    numeric = np.gradient(series.elevation_rad, 1e-3)
    # Away from the vertical, where the elevation has a kink.
    clear = series.elevation_rad > RAD(4)
    assert np.abs(numeric - series.angle_rate_rad_s)[clear].max() < 0.02
    assert np.median(np.abs(numeric - series.angle_rate_rad_s)[clear]) < 1e-5


@pytest.mark.parametrize("bend_deg", [0, 10, 60, 90, 120])
def test_the_bend_is_the_angle_at_the_elbow_and_the_reach_follows_the_law_of_cosines(bend_deg):
    state = posture(elbow=RAD(bend_deg), theta=0.7, gamma=0.4, torsion=0.3)
    upper, fore = state.upper_arm.direction(HAND)[0], state.forearm.direction(HAND)[0]
    assert math.degrees(math.acos(np.clip(upper @ fore, -1, 1))) == pytest.approx(bend_deg, abs=1e-5)
    l1, l2 = 0.6 * UPPER_ARM_SHARE, 0.6 * (1 - UPPER_ARM_SHARE)
    reach = math.sqrt(l1**2 + l2**2 + 2 * l1 * l2 * math.cos(RAD(bend_deg)))
    way = (state.wrist_m - state.shoulder_m)[0]
    assert np.linalg.norm(way) == pytest.approx(reach)
    # Whatever the elbow does, the line from shoulder to wrist is where the plan wants it.
    np.testing.assert_allclose(way / reach, state.line.direction(HAND)[0], atol=1e-12)
    assert state.elevation_rad[0] == pytest.approx(0.7)


def test_a_right_angle_at_the_elbow_hanging_points_the_forearm_forward():
    # Upper arm straight down needs the line raised forward by atan(l₂/l₁).
    line = math.atan((1 - UPPER_ARM_SHARE) / UPPER_ARM_SHARE)
    state = posture(elbow=math.pi / 2, theta=line, gamma=math.pi / 2)
    np.testing.assert_allclose(state.upper_arm.direction(HAND)[0], [0, 0, -1], atol=1e-12)
    np.testing.assert_allclose(state.forearm.direction(HAND)[0], [1, 0, 0], atol=1e-12)


def test_the_derivatives_of_the_forearms_angle_are_right():
    t = np.linspace(0, 1, 2001)
    bend = np.stack([1 + 0.8 * np.sin(3 * t), 2.4 * np.cos(3 * t), -7.2 * np.sin(3 * t)])
    off = forearm_off_line(bend)
    np.testing.assert_allclose(np.gradient(off[0], t)[5:-5], off[1][5:-5], atol=1e-5)
    np.testing.assert_allclose(np.gradient(off[1], t)[5:-5], off[2][5:-5], atol=1e-4)


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_tilted_trunk_takes_the_shoulder_along(side):
    # Hips to shoulder 0.5 m: 12° forward is 0.5 sin 12° = 10.4 cm forward and 0.5 (1 − cos 12°) = 1.1 cm down.
    state = posture(side=side, tip=RAD(12))
    np.testing.assert_allclose(
        state.shoulder_m[0], [0.5 * math.sin(RAD(12)), 0, -0.5 * (1 - math.cos(RAD(12)))], atol=1e-12
    )
    # Leaning away from the arm raises its shoulder, half a shoulder's width from the spine.
    away = posture(side=side, lean=RAD(5)).shoulder_m[0]
    assert away[2] == pytest.approx(0.18 * math.sin(RAD(5)) - 0.5 * (1 - math.cos(RAD(5))))
    assert (away[1] > 0) == (side == "right")


@pytest.mark.parametrize(
    ("share", "elevation_deg", "to_trunk_deg"), [(0.0, 0, 12), (1.0, 12, 0), (0.5, 6, 6)]
)
def test_a_hanging_arm_keeps_to_the_vertical_or_goes_along_with_the_trunk(share, elevation_deg, to_trunk_deg):
    state = posture(Body(arm_follows_trunk=share), tip=RAD(12))
    assert math.degrees(state.elevation_rad[0]) == pytest.approx(elevation_deg, abs=1e-6)
    spine = state.trunk.direction(np.array([0, 0, 1.0]))[0]
    to_trunk = math.degrees(math.acos(np.clip(-spine @ state.upper_arm.direction(HAND)[0], -1, 1)))
    assert to_trunk == pytest.approx(to_trunk_deg, abs=1e-5)


def test_the_girdle_moves_the_shoulder_and_is_no_body_swing():
    _, truth = made(body=Body(girdle_rise_m=0.04), bottom_rad=RAD(8), top_rad=RAD(90), variation=0, sway_m=0)
    for rep in truth.reps:
        assert rep.body_swing_m == pytest.approx(0, abs=1e-9)
        # The phase begins and ends within a degree of the turning points.
        way = 0.04 * (math.cos(RAD(8)) - math.cos(RAD(90))) * math.hypot(1, 0.3)
        assert rep.shoulder_travel_m == pytest.approx(way, rel=0.03)


@pytest.mark.parametrize("swing_m", [0.023, 0.058, 0.117])
def test_a_swing_begun_with_the_arm_is_told_in_full(swing_m):
    _, truth = made(swing_m=swing_m, sway_m=0)
    for rep in truth.reps:
        assert rep.body_swing_m == pytest.approx(swing_m, rel=0.01)
        assert rep.shoulder_travel_m == pytest.approx(rep.body_swing_m)


def test_the_truth_speaks_of_elbow_trunk_and_upper_arm():
    body = Body(elbow_bottom_rad=RAD(8), elbow_top_rad=RAD(25), stoop_rad=RAD(10), lean_travel_rad=RAD(6))
    _, truth = made(body=body, variation=0, sway_m=0, bottom_rad=RAD(8), top_rad=RAD(70))
    for rep in truth.reps:
        assert math.degrees(rep.elbow_bottom_rad) == pytest.approx(8, abs=0.2)
        assert math.degrees(rep.elbow_top_rad) == pytest.approx(25, abs=0.2)
        assert math.degrees(rep.trunk_lean_rad) == pytest.approx(10, abs=0.2)
        # 10° forward and 6° sideways: acos(cos 10° cos 6°) = 11.65°.
        assert math.degrees(rep.trunk_travel_rad) == pytest.approx(1.65, abs=0.1)
        # The arm turns as one with the trunk, so against it the planned 70° remain. The upper arm lies 10.97° beside
        # the line (the triangle of 25° bend), level with it: acos(cos 10.97° cos 70°).
        assert math.degrees(rep.elevation_to_trunk_rad) == pytest.approx(70, abs=0.05)
        assert math.degrees(rep.humerus_to_trunk_rad) == pytest.approx(70.38, abs=0.05)


def test_a_wobble_turns_the_sensor_about_the_forearm_at_its_frequency():
    body = Body(wobble_rad=RAD(1), wobble_hz=6)
    options = {"mount": MountPlan(tilt_rad=0), "reps": 1, "sway_m": 0}
    plain, truth = made(**options)
    shaken, _ = made(body=body, **options)
    inside = slice(*np.searchsorted(plain.time_s, [truth.reps[0].start_s, truth.reps[0].end_s]))
    # The sensor's y axis points to the hand.
    extra = (shaken.angular_velocity_rad_s - plain.angular_velocity_rad_s)[inside, 1]
    spectrum = np.abs(np.fft.rfft(extra * np.hanning(len(extra))))
    loudest = np.fft.rfftfreq(len(extra), 1e-3)[np.argmax(spectrum)]
    assert loudest == pytest.approx(6, rel=0.1)
    assert np.abs(extra).max() == pytest.approx(2 * math.pi * loudest * RAD(1), rel=0.1)


def test_a_struck_wobble_dies_away():
    body = Body(wobble_rad=RAD(1), wobble_hz=6, wobble_damping=0.1)
    options = {"mount": MountPlan(tilt_rad=0), "reps": 1, "sway_m": 0, "eccentric_s": 4.0}
    plain, truth = made(**options)
    shaken, _ = made(body=body, **options)
    rep, t = truth.reps[0], plain.time_s
    extra = np.abs((shaken.angular_velocity_rad_s - plain.angular_velocity_rad_s)[:, 1])
    struck = extra[(t > rep.top_end_s) & (t < rep.top_end_s + 0.5)].max()
    later = extra[(t > rep.top_end_s + 1.0) & (t < rep.top_end_s + 1.5)].max()
    # One second at 6 Hz and a damping ratio of 0.1: exp(−0.1 · 2π · 6 · 1) = 0.023.
    assert later < 0.1 * struck


def test_a_slipped_strap_stays_slipped():
    slipped = {"slip_tilt_rad": RAD(10), "slip_roll_rad": RAD(6)}
    _, plain = made(reps=4)
    _, truth = made(reps=4, body=Body(**slipped))
    (event,) = truth.events
    assert event.what == "strap slip"
    middle = truth.reps[2]
    assert middle.top_end_s < event.start_s < event.end_s < middle.end_s
    one = Rotation.from_quat(plain.series.quaternion, scalar_first=True)
    two = Rotation.from_quat(truth.series.quaternion, scalar_first=True)
    off = np.degrees((one.inv() * two).magnitude())
    t = truth.series.time_s
    np.testing.assert_allclose(off[t < event.start_s], 0, atol=1e-5)
    # Turns about two axes across each other, by the half-angle formula: cos(δ/2) = cos 5° cos 3°.
    together = 2 * math.degrees(math.acos(math.cos(RAD(5)) * math.cos(RAD(3))))
    np.testing.assert_allclose(off[t > event.end_s], together, atol=1e-5)
    np.testing.assert_allclose(truth.series.elevation_rad, plain.series.elevation_rad, atol=1e-12)


@pytest.mark.parametrize("seed", [0, 1, *seldom(2, 3, 4)])
def test_from_start_button_to_stop_button(seed):
    recording, truth = made(
        seed, press_start=True, press_stop=True, walk_up=True, reps=4, sensor=SensorPlan()
    )
    what = [event.what for event in truth.events]
    assert what == ["start pressed", "walking", "stop pressed"]
    last = truth.reps[-1].end_s
    # A rep's end comes a little before it rests.
    assert 1.9 <= recording.duration_s - last <= 4.4
    stop = truth.events[-1]
    assert last < stop.start_s
    assert stop.end_s == pytest.approx(recording.duration_s, abs=0.02)
    assert len(truth.reps) == 4
    # Before the face: about the height of the shoulder, in front of it, a forearm's length away, elbow bent.
    series = truth.series
    for at in (0, -1):
        assert 80 < math.degrees(series.elbow_rad[at]) < 120
    plan = plan_session(SimulationOptions(reps=4, press_start=True, press_stop=True, walk_up=True), seed)
    state, _ = felt(plan, seed, 100.0)
    way = state.wrist_m[0] - state.shoulder_m[0]
    assert 0.2 < way[0] < 0.45
    assert -0.25 < way[2] < 0.05


def test_walking_up_and_away_swings_the_arm_before_and_after():
    _, truth = made(walk_up=True, walk_away=True, reps=2, sensor=SensorPlan())
    first, last = (event for event in truth.events if event.what == "walking")
    assert first.end_s < truth.reps[0].start_s < truth.reps[-1].end_s < last.start_s
    for walk in (first, last):
        inside = (truth.series.time_s > walk.start_s) & (truth.series.time_s < walk.end_s)
        assert np.ptp(truth.series.shoulder_m[inside, 0]) > 1.5
        assert 15 < np.degrees(truth.series.elevation_rad[inside]).max() < 45


def test_pulses_stay_inside_their_rep():
    _, plain = made(hold_s=0.3)
    _, truth = made(hold_s=0.3, pulses=3, pulse_rad=RAD(15), pulse_s=0.6)
    assert len(truth.reps) == 3
    for one, rep in zip(plain.reps, truth.reps, strict=True):
        assert rep.start_s < rep.top_start_s < rep.top_end_s < rep.end_s
        assert rep.hold_s == pytest.approx(one.hold_s + 3 * 0.6, abs=0.03)
        assert rep.rom_rad == pytest.approx(one.rom_rad, abs=RAD(0.3))
        assert rep.start_velocity_rad_s == pytest.approx(one.start_velocity_rad_s, abs=0.005)


@pytest.mark.parametrize(("sink_deg", "is_held"), [(4.0, True), (14.0, False)])
def test_a_hold_that_sinks_goes_evenly_down_until_the_arm_is_lowered(sink_deg, is_held):
    """Known beforehand: 4° or 14° in 2 s, 0.3 s of it at half the speed, are 2.16 or 7.57 °/s; held is below 5 °/s."""
    _, plain = made(hold_s=2.0, body=Body())
    _, truth = made(hold_s=2.0, sink_rad=RAD(sink_deg), body=Body())
    speed = sink_deg / 1.85
    for one, rep in zip(plain.reps, truth.reps, strict=True):
        series, middle_s = truth.series, rep.top_start_s + 1.0
        at = int(np.searchsorted(series.time_s, middle_s))
        assert np.degrees(series.angle_rate_rad_s[at]) == pytest.approx(-speed, rel=0.08)  # holds vary by 3 %
        assert rep.top_rad == pytest.approx(one.top_rad, abs=RAD(0.1))
        assert rep.rom_rad == pytest.approx(one.rom_rad, abs=RAD(0.1))
        if is_held:
            assert rep.hold_s == pytest.approx(one.hold_s, abs=0.15)
        else:
            assert rep.hold_s < 0.5
            assert rep.eccentric_s == pytest.approx(one.eccentric_s + one.hold_s - rep.hold_s, abs=0.15)


def test_some_tops_are_double():
    plan = plan_session(SimulationOptions(reps=40, double_tops=0.3), 2)
    double = [rep.pulses for rep in plan.sets[0].reps]
    assert 4 < sum(double) < 20
    assert set(double) == {0, 1}


def test_the_other_arm_takes_its_time():
    _, truth = made(alternating=True, reps=4, body=Body())
    others = [event for event in truth.events if event.what == "other arm's rep"]
    assert len(others) == 3
    for rep in truth.reps[:-1]:
        assert 1.9 < rep.pause_s < 4.4
    inside = (truth.series.time_s > others[0].start_s) & (truth.series.time_s < others[0].end_s)
    # The trunk answers by a degree or two, the waiting wrist by less than a rep.
    assert RAD(0.4) < truth.series.trunk_lean_rad[inside].max() < RAD(3)
    assert np.ptp(truth.series.elevation_rad[inside]) < RAD(6)


def test_the_weight_rests_before_the_thighs_between_reps():
    _, truth = made(body=Body(rest_plane_rad=RAD(75)), hang_turn_rad=RAD(70), bottom_rad=RAD(14))
    series, plane = truth.series, find_pattern("lateral-raise").plane_rad
    for rep in truth.reps:
        at = np.searchsorted(series.time_s, [rep.start_s, (rep.start_s + 3 * rep.top_start_s) / 4, rep.end_s])
        resting, raised, after = series.plane_rad[at]
        assert resting == pytest.approx(RAD(75), abs=RAD(4))
        assert raised == pytest.approx(plane, abs=RAD(2))
        assert after == pytest.approx(RAD(75), abs=RAD(4))


def test_a_left_body_is_the_mirror_image():
    body = replace(EVERYTHING, sway_rad=0.0, wobble_rad=0.0, slip_tilt_rad=0.0, slip_roll_rad=0.0)
    (right, true_right), (left, true_left) = (
        made(3, body=body, side=side, sway_m=0) for side in ("right", "left")
    )
    f_right, f_left = right.specific_force_m_s2, left.specific_force_m_s2
    np.testing.assert_allclose(f_left * [-1, 1, 1], f_right, atol=1e-8)
    np.testing.assert_allclose(
        left.angular_velocity_rad_s * [1, -1, -1], right.angular_velocity_rad_s, atol=1e-9
    )
    np.testing.assert_allclose(
        true_left.series.shoulder_m * [1, -1, 1], true_right.series.shoulder_m, atol=1e-10
    )
    np.testing.assert_allclose(true_left.series.plane_rad, true_right.series.plane_rad, atol=1e-9)


def test_another_body_on_the_same_seed_goes_through_the_same_session():
    options = {"sets": 2, "rest_s": 30, "walk": True, "fidget": True, "sensor": SensorPlan()}
    _, one = made(2, **options)
    _, two = made(2, body=EVERYTHING, **options)
    assert [e.what for e in one.events] == [e.what for e in two.events if e.what != "strap slip"]
    assert one.series.time_s[-1] == two.series.time_s[-1]


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_gives_its_set_and_another_one_for_every_seed(name):
    bodies, speeds = set(), set()
    for seed in range(6):
        plan = draw_session(name, seed)
        bodies.add(plan.body)
        speeds.add(plan.sets[0].reps[0].start_velocity_rad_s)
        same = draw_session("rigid", seed).sets[0].reps
        assert [r.start_velocity_rad_s for r in plan.sets[0].reps] == [r.start_velocity_rad_s for r in same]
        if seed == 1:
            assert len(simulate_session(plan, seed)[1].reps) == len(plan.sets[0].reps)
    assert len(speeds) == 6
    assert len(bodies) == (1 if name == "rigid" else 6)


def test_the_kinds_do_what_they_are_called():
    for seed in range(20):
        assert draw_body("rigid", seed).is_rigid
        for kind in BODIES:
            body = draw_body(kind, seed)
            assert body.is_rigid == (kind == "rigid")
            assert (body.elbow_high_rad > body.elbow_bottom_rad) == (kind == "bending-elbow")
            assert (body.tip_rad > 0) == (kind == "tipping-trunk")
            assert (body.slip_tilt_rad != 0) == (kind == "slipping-strap")
            assert (body.rest_plane_rad is not None) == (kind == "resting-in-front")
        assert draw_options("swinging", seed).swing_m > 0
        assert draw_options("tipping-trunk", seed).swing_m == 0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Body(elbow_bottom_rad=RAD(150)),
        lambda: Body(elbow_top_rad=math.nan),
        lambda: Body(girdle_rise_m=0.5),
        lambda: Body(tip_s=0.0),
        lambda: Body(arm_follows_trunk=1.5),
        lambda: Body(wobble_hz=0.0),
        lambda: RepPlan(pulses=2, pulse_rad=RAD(80)),
        lambda: RepPlan(pulses=-1),
        lambda: RepPlan(hold_s=2.0, sink_rad=RAD(60)),
        lambda: RepPlan(hold_s=0.0, sink_rad=RAD(5)),
        lambda: RepPlan(hold_s=2.0, sink_rad=RAD(5), pulses=1),
        lambda: RepPlan(pulses=1, pulse_s=0.01),
        lambda: draw_body("bionic", 1),
        lambda: draw_session("bionic", 1),
        lambda: plan_session(SimulationOptions(double_tops=2)),
        lambda: plan_session(
            SimulationOptions(pattern=find_pattern("upright-row"), body=Body(elbow_bottom_rad=0.2))
        ),
        lambda: plan_session(
            SimulationOptions(pattern=find_pattern("machine-reverse-fly"), body=Body(rest_plane_rad=1.0))
        ),
    ],
)
def test_impossible_bodies_are_refused_with_a_hint(wrong):
    with pytest.raises(UsageError) as caught:
        wrong()
    assert caught.value.hint
