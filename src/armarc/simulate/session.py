"""A whole synthetic recording with its truth."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from armarc.errors import UsageError
from armarc.recording import FloatArray, Metadata, Recording
from armarc.simulate.arm import (
    FOREARM_SHARE_OF_BEND,
    HAND,
    THUMB,
    ArmState,
    arm_state,
    lever_arm,
    mount_matrix,
    sensor_quaternion,
    sensor_signals,
)
from armarc.simulate.choreography import SAGITTAL
from armarc.simulate.plan import SessionPlan
from armarc.simulate.sensor import sense
from armarc.simulate.timeline import build_timeline
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
    # Separate streams: another sensor on the same seed sees the same movement.
    body, device = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(2))
    timeline = build_timeline(plan, body)
    for at, _ in plan.sensor.gaps_s:
        if at >= timeline.duration_s:
            raise UsageError(
                f"the gap at {at:g} s lies after the end of the recording",
                f"it lasts {timeline.duration_s:.1f} s",
            )
    matrix = mount_matrix(plan.mount, plan.side)
    reach = plan.pattern.reach_m if plan.mount.reach_m is None else plan.mount.reach_m
    lever = lever_arm(plan.mount, plan.side, reach)

    rate_hz = plan.sensor.rate_hz
    time_s = np.arange(int(timeline.duration_s * rate_hz) + 1) / rate_hz
    force, rate = sensor_signals(arm_state(timeline.tracks, plan.side, time_s), matrix, lever)
    samples = sense(time_s, force, rate, plan.sensor, device)

    truth_time = np.arange(int(timeline.duration_s * TRUTH_RATE_HZ) + 1) / TRUTH_RATE_HZ
    state = arm_state(timeline.tracks, plan.side, truth_time)
    series = _series(state, plan, matrix)
    smoothed = smooth_rate(series.angle_rate_rad_s)
    coordinate = plan.pattern.coordinate
    sets = tuple(
        TruthSet(set=number, reps=measure_reps(series, marks, coordinate, smoothed))
        for number, marks in enumerate(timeline.sets, 1)
    )
    bend = FOREARM_SHARE_OF_BEND * plan.mount.elbow_bend_rad
    truth = Truth(
        exercise=plan.pattern.key,
        coordinate=coordinate,
        side=plan.side,
        sets=sets,
        arm_axis=matrix.T @ HAND,
        forearm_axis=matrix.T @ (math.cos(bend) * HAND + math.sin(bend) * THUMB),
        thumb_axis=matrix.T @ THUMB,
        lever_arm_m=matrix.T @ lever,
        reach_m=reach,
        sensor_height_m=plan.mount.height_m,
        gyroscope_bias_rad_s=samples.gyroscope_bias_rad_s,
        zero_g_m_s2=samples.zero_g_m_s2,
        seed=seed,
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


def _other(plan: SessionPlan, seed: int) -> dict[str, Any]:
    other: dict[str, Any] = {"synthetic": True, "seed": seed, "sensor_height_m": plan.mount.height_m}
    if plan.front_raise:
        other["reference"] = "front-raise"
    return other


def _series(state: ArmState, plan: SessionPlan, matrix: FloatArray) -> TruthSeries:
    if not plan.pattern.about_vertical:
        angle, rate = state.elevation_rad, state.elevation_rate_rad_s
    else:
        angle, rate = SAGITTAL - state.plane_rad, -state.plane_rate_rad_s
    return TruthSeries(
        time_s=state.time_s,
        angle_rad=angle,
        angle_rate_rad_s=rate,
        elevation_rad=state.elevation_rad,
        plane_rad=state.plane_rad,
        hand_rotation_rad=np.arcsin(np.clip(state.limb.apply(THUMB)[:, 2], -1, 1)),
        quaternion=sensor_quaternion(state, matrix),
        shoulder_m=state.shoulder_m,
    )
