"""What must hold for any arm, load and movement."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from armarc.load.arm import arm_body
from armarc.load.ideal import PLANAR_AXIS, ideal_rep, planar_body
from armarc.load.lifter import Lifter
from armarc.load.mechanics import dynamics, loaded_arm, mechanical_energy
from armarc.load.resistance import Cable, Dumbbell, ElasticBand

bodies = st.builds(
    Lifter,
    body_mass_kg=st.floats(40, 140),
    stature_m=st.floats(1.4, 2.1),
    sex=st.sampled_from(["male", "female", None]),
    segment_table=st.sampled_from(["de-leva", "winter"]),
)
distances = st.tuples(st.floats(-1, 1), st.floats(-1.6, 1), st.floats(-1, 1))
loads = st.lists(
    st.one_of(
        st.builds(Dumbbell, mass_kg=st.floats(0, 30)),
        st.builds(Cable, stack_kg=st.floats(0, 40), pulley_m=distances, ratio=st.floats(0.5, 4)),
        st.builds(
            ElasticBand,
            anchor_m=distances,
            unstretched_m=st.floats(0.2, 1.5),
            stiffness_n_m=st.floats(0, 300),
        ),
    ),
    max_size=2,
).map(tuple)


@settings(max_examples=40, deadline=None)
@given(
    body=bodies,
    load=loads,
    elbow_deg=st.floats(0, 60),
    plane_deg=st.floats(0, 90),
    seconds=st.floats(0.6, 4),
    top_deg=st.floats(40, 130),
)
def test_energy_adds_up(
    body: Lifter, load: tuple, elbow_deg: float, plane_deg: float, seconds: float, top_deg: float
) -> None:
    """Whatever the load, the work of trunk and resistances is the change of energy."""
    arm = arm_body(body.completed(), math.radians(elbow_deg))
    motion, top, _ = ideal_rep(top_rad=math.radians(top_deg), concentric_s=seconds, rate_hz=1000)
    done = dynamics(motion, arm, load, PLANAR_AXIS, planar_body(math.radians(plane_deg)))
    part = slice(0, top + 1)
    power = done.moment_power_w + done.force_power_w + done.outside_power_w
    work = float(np.trapezoid(power[part], motion.time_s[part]))
    size = float(np.trapezoid(np.abs(done.moment_power_w[part]), motion.time_s[part]))
    energy_j = mechanical_energy(motion, loaded_arm(arm, load))
    assert abs(work - (energy_j[top] - energy_j[0])) < 1e-3 * size + 1e-3


@settings(max_examples=30, deadline=None)
@given(body=bodies, elbow_deg=st.floats(0, 110), mass=st.floats(0, 30))
def test_inertia_is_that_of_a_real_body(body: Lifter, elbow_deg: float, mass: float) -> None:
    """Symmetric, positive, the triangle inequality of principal moments, bending never lengthens the arm."""
    whole = body.completed()
    arm = arm_body(whole, math.radians(elbow_deg)).with_point(mass, np.array([0.5, 0.1, 0.0]))
    inertia = arm.inertia_kg_m2
    assert np.allclose(inertia, inertia.T)
    principal = np.linalg.eigvalsh(inertia)
    assert principal[0] > 0
    assert principal[2] <= (principal[0] + principal[1]) * (1 + 1e-9)
    assert arm.wrist_m[0] <= whole.upper_arm_m + whole.forearm_m + 1e-12
