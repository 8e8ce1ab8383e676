"""A second simulated sensor, on the chest of the same body in the same session."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from armarc.recording import STANDARD_GRAVITY_M_S2, Metadata, Recording
from armarc.simulate.arm import arm_state
from armarc.simulate.plan import SessionPlan
from armarc.simulate.sensor import sense
from armarc.simulate.session import NOTE
from armarc.simulate.timeline import build_timeline
from armarc.simulate.truth import TRUTH_RATE_HZ

CHEST_FROM_SHOULDER_M = (0.09, 0.17, -0.12)
"""Forward, toward the middle and up from the shoulder of the arm to a sensor on the breastbone."""


def simulate_chest(plan: SessionPlan, seed: int = 0, *, askew_rad: float = math.radians(8)) -> Recording:
    """What a sensor strapped to the chest reads in the session of `simulate_session` with the same plan and seed.

    Its z axis faces forward, its y axis up, turned by `askew_rad` each about three axes as a strap on a breastbone
    is. Sampling, losses and errors are those of the plan's sensor, drawn anew; the clock is the wrist's.
    """
    around, _, body = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    timeline = build_timeline(plan, around, body)
    fine_s = np.arange(int(timeline.duration_s * TRUTH_RATE_HZ) + 1) / TRUTH_RATE_HZ
    state = arm_state(timeline.tracks, plan.side, fine_s, reach_m=plan.reach_m, body=plan.body)
    mirror = 1.0 if plan.side == "right" else -1.0
    ahead, inward, up = CHEST_FROM_SHOULDER_M
    offset, _ = state.trunk.carry(np.array([ahead, mirror * inward, up]))
    path = CubicSpline(fine_s, state.torso_m + offset)
    # Columns: the sensor's x to the left, y up, z forward, in trunk axes (x forward, y left, z up).
    straight = Rotation.from_matrix(np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]))
    sensor = state.trunk.rotation * straight * Rotation.from_euler("xyz", [askew_rad, -askew_rad, askew_rad])
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
