"""A whole simulated recording with its truth; and what a second sensor on the chest gives in the same session."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from armarc.errors import UsageError
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray, Metadata, Recording
from armarc.simulate.arm import (
    HAND,
    UP,
    ArmState,
    PerfectSensor,
    arm_state,
    sensor_state,
)
from armarc.simulate.choreography import SAGITTAL
from armarc.simulate.plan import SessionPlan
from armarc.simulate.sensor import sense
from armarc.simulate.timeline import BodyCourse, build_timeline
from armarc.simulate.truth import (
    TRUTH_RATE_HZ,
    Truth,
    TruthSeries,
    TruthSet,
    measure_reps,
    smooth_rate,
)

NOTE = "Invented data: made by armarc's synthetic wrist, no person was measured."


def simulate_session(plan: SessionPlan, seed: int = 0) -> tuple[Recording, Truth]:
    """Simulate a session.

    Parameters
    ----------
    plan : SessionPlan
    seed : int
        The same plan and seed give the same recording, to the bit.

    Returns
    -------
    Recording
        What the sensor delivers, times from the first sample.
    Truth
        What really happened, times from the recording's first sample.

    Raises
    ------
    UsageError
        If a rep cannot be done as planned (for example a start too slow for its concentric).
    """
    # Separate streams: another sensor or body on the same seed goes through the same session.
    around, device, body = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    timeline = build_timeline(plan, around, body)
    for at, _ in plan.sensor.gaps_s:
        if at >= timeline.duration_s:
            raise UsageError(
                f"the gap at {at:g} s lies after the end of the recording",
                f"it lasts {timeline.duration_s:.1f} s",
            )
    rate_hz = plan.sensor.rate_hz
    time_s = np.arange(int(timeline.duration_s * rate_hz) + 1) / rate_hz
    _, felt = _states(plan, timeline, time_s)
    samples = sense(time_s, felt.specific_force_m_s2, felt.angular_velocity_rad_s, plan.sensor, device)

    truth_time = np.arange(int(timeline.duration_s * TRUTH_RATE_HZ) + 1) / TRUTH_RATE_HZ
    state, sensor = _states(plan, timeline, truth_time)
    series = _series(state, sensor, plan)
    smoothed = smooth_rate(series.angle_rate_rad_s)
    coordinate = plan.pattern.coordinate
    sets = tuple(
        TruthSet(set=number, reps=measure_reps(series, marks, coordinate, smoothed))
        for number, marks in enumerate(timeline.sets, 1)
    )
    first, begun = _states(plan, timeline, np.array([timeline.sets[0][0].start_s]))
    to_sensor = begun.rotation[0].inv()
    truth = Truth(
        exercise=plan.pattern.key,
        coordinate=coordinate,
        side=plan.side,
        sets=sets,
        arm_axis=to_sensor.apply(first.line.direction(HAND)[0]),
        forearm_axis=to_sensor.apply(first.forearm.direction(HAND)[0]),
        thumb_axis=to_sensor.apply(first.thumb[0]),
        lever_arm_m=to_sensor.apply(begun.position_m[0] - first.shoulder_m[0]),
        reach_m=float(np.linalg.norm(first.wrist_m[0] - first.shoulder_m[0])),
        sensor_height_m=plan.mount.height_m,
        gyroscope_bias_rad_s=samples.gyroscope_bias_rad_s,
        zero_g_m_s2=samples.zero_g_m_s2,
        seed=seed,
        body=plan.body,
        events=timeline.events,
        series=series,
    )
    recording = Recording(
        time_s=samples.time_s,
        specific_force_m_s2=samples.specific_force_m_s2,
        angular_velocity_rad_s=samples.angular_velocity_rad_s,
        rate_hz=rate_hz,
        gaps=samples.gaps,
        clipped=samples.clipped,
        temperature_c=samples.temperature_c,
        metadata=Metadata(
            exercise=plan.pattern.key,
            side=plan.side,
            load_kg=plan.load_kg,
            sensor=f"synthetic, {plan.sensor.noise}",
            strap=plan.mount.strap,
            hand_axis=plan.mount.hand_axis,
            note=NOTE,
            accelerometer_range_m_s2=plan.sensor.accelerometer_range_m_s2,
            gyroscope_range_rad_s=plan.sensor.gyroscope_range_rad_s,
            other=_other(plan, seed),
        ),
    )
    return recording, truth


def _other(plan: SessionPlan, seed: int) -> dict[str, object]:
    other: dict[str, object] = {"synthetic": True, "seed": seed, "sensor_height_m": plan.mount.height_m}
    if plan.front_raise:
        other["reference"] = "front-raise"
    return other


def _states(plan: SessionPlan, timeline: BodyCourse, time_s: FloatArray) -> tuple[ArmState, PerfectSensor]:
    tracks, side = timeline.tracks, plan.side
    state = arm_state(tracks, side, time_s, reach_m=plan.reach_m, body=plan.body)
    return state, sensor_state(state, tracks, plan.mount, side)


def _series(state: ArmState, sensor: PerfectSensor, plan: SessionPlan) -> TruthSeries:
    if not plan.pattern.about_vertical:
        angle, rate = state.elevation_rad, state.elevation_rate_rad_s
    else:
        angle, rate = SAGITTAL - state.plane_rad, -state.plane_rate_rad_s
    hand, spine = state.line.direction(HAND), state.trunk.direction(UP)
    return TruthSeries(
        time_s=state.time_s,
        angle_rad=angle,
        angle_rate_rad_s=rate,
        elevation_rad=state.elevation_rad,
        plane_rad=state.plane_rad,
        hand_rotation_rad=np.arcsin(np.clip(state.thumb[:, 2], -1, 1)),
        quaternion=sensor.quaternion,
        shoulder_m=state.shoulder_m,
        torso_m=state.torso_m,
        elbow_rad=state.elbow_rad,
        arm_to_trunk_rad=_angle_between(hand, -spine),
        humerus_to_trunk_rad=_angle_between(state.upper_arm.direction(HAND), -spine),
        trunk_lean_rad=_angle_between(spine, UP),
    )


def _angle_between(one: FloatArray, other: FloatArray) -> FloatArray:
    """Angle between unit vectors, exact near 0 as well, shape (n,)."""
    out: FloatArray = 2 * np.arctan2(
        np.linalg.norm(one - other, axis=-1), np.linalg.norm(one + other, axis=-1)
    )
    return out


CHEST_ASKEW_RAD = math.radians(8)
CHEST_FROM_SHOULDER_M = (0.09, 0.17, -0.12)
"""Forward, toward the middle and up from the shoulder of the arm to a sensor on the breastbone."""


def simulate_chest(plan: SessionPlan, seed: int = 0) -> Recording:
    """What a sensor strapped to the chest reads in the session of `simulate_session` with the same plan and seed.

    Its z axis faces forward, its y axis up, turned by `CHEST_ASKEW_RAD` each about three axes as a strap on a
    breastbone is. Sampling, losses and errors are those of the plan's sensor, drawn anew; the clock is the wrist's.
    """
    around, _, body = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    timeline = build_timeline(plan, around, body)
    fine_s = np.arange(int(timeline.duration_s * TRUTH_RATE_HZ) + 1) / TRUTH_RATE_HZ
    state = arm_state(timeline.tracks, plan.side, fine_s, reach_m=plan.reach_m, body=plan.body)
    mirror = 1.0 if plan.side == "right" else -1.0
    ahead, inward, up = CHEST_FROM_SHOULDER_M
    offset = state.trunk.direction(np.array([ahead, mirror * inward, up]))
    path = CubicSpline(fine_s, state.torso_m + offset)
    # Columns: the sensor's x to the left, y up, z forward, in trunk axes (x forward, y left, z up).
    straight = Rotation.from_matrix(np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]))
    sensor = (
        state.trunk.rotation * straight * Rotation.from_euler("xyz", CHEST_ASKEW_RAD * np.array([1, -1, 1]))
    )
    rate_hz = plan.sensor.rate_hz
    time_s = np.arange(int(timeline.duration_s * rate_hz) + 1) / rate_hz
    # Every instant of a sample lies on the fine raster where its rate divides 1 kHz; else the nearest one does.
    at = np.clip(np.round(time_s * TRUTH_RATE_HZ).astype(int), 0, len(fine_s) - 1)
    back = sensor[at].inv()
    force = path(fine_s[at], 2) + STANDARD_GRAVITY_M_S2 * np.array([0.0, 0.0, 1.0])
    samples = sense(
        time_s,
        back.apply(force),
        back.apply(state.trunk.angular_velocity_rad_s[at]),
        replace(plan.sensor, gyroscope_bias_rad_s=None),
        np.random.default_rng([seed, 77]),
    )
    return Recording(
        time_s=samples.time_s,
        specific_force_m_s2=samples.specific_force_m_s2,
        angular_velocity_rad_s=samples.angular_velocity_rad_s,
        rate_hz=rate_hz,
        gaps=samples.gaps,
        clipped=samples.clipped,
        metadata=Metadata(sensor=f"synthetic, {plan.sensor.noise}", note=NOTE, other={"place": "chest"}),
    )
