"""Whatever is asked for, the synthetic arm stays an arm."""

import json
import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from armarc.simulate import (
    Body,
    MountPlan,
    RepPlan,
    SensorPlan,
    SimulationOptions,
    find_pattern,
    plan_session,
    simulate_session,
    truth_record,
)
from armarc.simulate.rep_shape import concentric_knots, shortest_concentric_s
from armarc.simulate.tracks import Track

RAD = math.radians
EXERCISES = (
    "lateral-raise",
    "front-raise",
    "scaption-raise",
    "machine-reverse-fly",
    "reverse-fly",
    "upright-row",
)

starts = st.floats(10, 250).map(RAD)


@given(
    start=starts,
    slack=st.floats(1.0, 8.0),
    rom=st.floats(26, 160).map(RAD),
    grind=st.sampled_from([0.0, 0.3, 0.6, 0.95]),
)
@settings(max_examples=150, deadline=None)
def test_the_concentric_rises_steadily_and_meets_its_gate(start, slack, rom, grind):
    duration = min(max(shortest_concentric_s(start) * slack, 0.1), 59)
    rep = RepPlan(
        bottom_rad=0.1, top_rad=0.1 + rom, concentric_s=duration, start_velocity_rad_s=start, grind=grind
    )
    knots = concentric_knots(rep, 2.0)
    times = [knot.time_s for knot in knots]
    assert min(np.diff(times)) > 0
    assert math.isclose(times[-1], 2.0 + duration)
    t = np.linspace(2.0, 2.0 + duration, 4000)
    angle, rate, _ = Track(knots=tuple(knots)).sample(t)
    assert rate.min() > -1e-9
    enter, leave = np.interp([0.1 + RAD(10), 0.1 + RAD(20)], angle, t)
    assert math.isclose(RAD(10) / (leave - enter), start, rel_tol=5e-3)
    assert math.isclose(angle[-1], 0.1 + rom)


@st.composite
def options(draw):
    concentric_s = draw(st.floats(0.8, 2.5))
    start = draw(st.one_of(st.none(), st.floats(30, 150).map(RAD)))
    if start is not None and concentric_s < shortest_concentric_s(start):
        start = None
    return SimulationOptions(
        reps=draw(st.integers(1, 4)),
        eccentric_s=draw(st.floats(0.8, 3)),
        concentric_s=concentric_s,
        hold_s=draw(st.floats(0, 1)),
        pause_s=draw(st.floats(0, 1)),
        start_velocity_rad_s=start,
        rom_rad=draw(st.floats(45, 85).map(RAD)),
        swing_m=draw(st.floats(0, 0.06)),
        swing_returns=draw(st.sampled_from(["within", "after"])),
        dip_m=draw(st.floats(0, 0.03)),
        fatigue=draw(st.floats(0, 0.4)),
        partial_last=draw(st.booleans()),
        grind=draw(st.sampled_from([0.0, 0.8])),
        pattern=find_pattern(draw(st.sampled_from(EXERCISES))),
        side=draw(st.sampled_from(["right", "left"])),
        still_s=draw(st.floats(0, 2)),
        mount=MountPlan(
            strap=draw(st.sampled_from(["back", "inside", "thumb", "little-finger"])),
            hand_axis=draw(st.sampled_from(["+x", "-x", "+y", "-y", "+z", "-z"])),
            roll_rad=draw(st.floats(-3, 3)),
            tilt_rad=draw(st.floats(0, 0.3)),
        ),
        sensor=SensorPlan(
            noise=draw(st.sampled_from(["ideal", "common", "poor"])),
            rate_hz=draw(st.sampled_from([25.0, 50.0, 104.0])),
            drop_fraction=draw(st.sampled_from([0.0, 0.05])),
            jitter_s=draw(st.sampled_from([0.0, 0.003])),
        ),
    )


@given(wish=options(), seed=st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_any_session_is_consistent(wish, seed):
    recording, truth = simulate_session(plan_session(wish, seed), seed)
    assert np.isfinite(recording.specific_force_m_s2).all()
    assert np.isfinite(recording.angular_velocity_rad_s).all()
    assert recording.time_s[0] == 0
    assert np.diff(recording.time_s).min() > 0
    assert len(truth.reps) == wish.reps
    previous = 0.0
    for rep in truth.reps:
        assert (
            previous
            <= rep.start_s
            < rep.top_start_s
            <= rep.top_end_s
            < rep.end_s
            <= recording.duration_s + 0.1
        )
        previous = rep.end_s
        assert rep.bottom_rad < rep.top_rad
        assert rep.mean_concentric_rad_s <= rep.peak_concentric_rad_s + 0.2
        if rep.loaded_range_s is not None:
            assert rep.loaded_range_s >= 0
        assert 0 <= rep.body_swing_m <= wish.swing_m + wish.dip_m + 0.02
    json.dumps(truth_record(truth, recording), allow_nan=False)
    series = truth.series
    np.testing.assert_allclose(np.linalg.norm(series.quaternion, axis=1), 1, atol=1e-9)
    # The arm axis in the sensor and the quaternion lead back to the elevation by another road.
    line = Rotation.from_quat(series.quaternion, scalar_first=True).apply(truth.arm_axis)
    back = np.arctan2(np.hypot(line[:, 0], line[:, 1]), -line[:, 2])
    np.testing.assert_allclose(back, series.elevation_rad, atol=1e-7)
    assert math.isclose(
        np.linalg.norm(truth.lever_arm_m), math.hypot(truth.reach_m, truth.sensor_height_m), rel_tol=0.1
    )


@st.composite
def bodies(draw):
    angle = st.floats(-20, 20).map(RAD)
    return Body(
        elbow_bottom_rad=draw(st.floats(0, 60).map(RAD)),
        elbow_top_rad=draw(st.one_of(st.none(), st.floats(0, 60).map(RAD))),
        pronation_rad=draw(st.floats(-60, 60).map(RAD)),
        girdle_rise_m=draw(st.floats(0, 0.06)),
        lean_rad=draw(angle),
        stoop_rad=draw(angle),
        lean_travel_rad=draw(angle),
        tip_rad=draw(angle),
        tip_s=draw(st.floats(0.3, 1.5)),
        tip_lead_s=draw(st.floats(0, 1.0)),
        sway_rad=draw(st.floats(0, 1).map(RAD)),
        arm_follows_trunk=draw(st.floats(0, 1)),
        rest_plane_rad=draw(st.one_of(st.none(), st.floats(-20, 120).map(RAD))),
        wobble_rad=draw(st.floats(0, 2).map(RAD)),
        wobble_damping=draw(st.sampled_from([0.0, 0.1])),
        slip_roll_rad=draw(angle),
        slip_tilt_rad=draw(angle),
    )


@given(
    body=bodies(),
    seed=st.integers(0, 2**32),
    side=st.sampled_from(["right", "left"]),
    pulses=st.integers(0, 2),
    switches=st.tuples(*[st.booleans()] * 5),
)
@settings(max_examples=8, deadline=None)
def test_any_body_moves_as_its_sensor_feels(body, seed, side, pulses, switches):
    press_start, press_stop, walk_up, walk_away, alternating = switches
    wish = SimulationOptions(
        reps=3,
        body=body,
        side=side,
        pulses=pulses,
        press_start=press_start,
        press_stop=press_stop,
        walk_up=walk_up,
        walk_away=walk_away,
        alternating=alternating,
        sensor=SensorPlan(noise="ideal", rate_hz=1000),
    )
    recording, truth = simulate_session(plan_session(wish, seed), seed)
    json.dumps(truth_record(truth, recording), allow_nan=False)
    previous = 0.0
    for rep in truth.reps:
        assert previous <= rep.start_s < rep.top_start_s <= rep.top_end_s < rep.end_s <= recording.duration_s
        previous = rep.end_s
    events = [(event.start_s, event.end_s) for event in truth.events]
    assert events == sorted(events)
    assert all(0 <= start < end <= recording.duration_s + 0.1 for start, end in events)
    turn = Rotation.from_quat(truth.series.quaternion, scalar_first=True)
    turned = (turn[:-1].inv() * turn[1:]).as_rotvec() * 1000
    w = recording.angular_velocity_rad_s
    assert np.abs(turned - (w[1:] + w[:-1]) / 2).max() < 2e-2
    assert (truth.series.humerus_to_trunk_rad <= math.pi).all()
