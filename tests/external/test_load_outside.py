"""The load room against numbers from outside the project; the source stands beside each."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation
from scipy.special import ellipk

from armarc.load.arm import ArmBody, arm_body, bent_arm
from armarc.load.capacity import ShoulderCapacity, bell, capacity_curve, hill
from armarc.load.forward import Shoulders, shoulders, simulate_raises
from armarc.load.ideal import PLANAR_AXIS, minimum_jerk, planar_body, planar_motion
from armarc.load.lifter import Lifter
from armarc.load.mechanics import ArmKinematics, dynamics, mechanical_energy, shoulder_moment
from armarc.load.moment_arms import lines_of_pull
from armarc.load.planar_load import planar_load
from armarc.load.resistance import Cable, Dumbbell
from armarc.load.segments import DE_LEVA_FEMALE, DE_LEVA_MALE, WINTER, SegmentShares

G = 9.81  # what the textbooks below use


def point_arm(mass_kg: float, at_m: float) -> ArmBody:
    """A massless rod with one point mass."""
    place = np.array([at_m, 0.0, 0.0])
    empty = ArmBody(
        mass_kg=0.0,
        first_moment_kg_m=np.zeros(3),
        inertia_kg_m2=np.zeros((3, 3)),
        grip_m=place,
        wrist_m=place,
    )
    return empty.with_point(mass_kg, place)


def still_moment(body: ArmBody, angle_rad: float, gravity: float = G) -> float:
    one, zero = np.full(3, angle_rad), np.zeros(3)
    motion = planar_motion(np.arange(3.0), one, zero, zero)
    return float(dynamics(motion, body, (), PLANAR_AXIS, planar_body(0.0), gravity).moment_n_m[1])


# de Leva 1996, J Biomech 29:1223-1230, Table 4: mass %, centre % from the proximal end, sagittal and
# longitudinal radius of gyration %, mean length mm.
DE_LEVA_ROWS = [
    (DE_LEVA_MALE.upper_arm, 2.71, 57.72, 28.5, 15.8, 281.7, 1.741),
    (DE_LEVA_MALE.forearm, 1.62, 45.74, 27.6, 12.1, 268.9, 1.741),
    (DE_LEVA_MALE.hand, 0.61, 79.00, 62.8, 40.1, 86.2, 1.741),
    (DE_LEVA_FEMALE.upper_arm, 2.55, 57.54, 27.8, 14.8, 275.1, 1.735),
    (DE_LEVA_FEMALE.forearm, 1.38, 45.59, 26.1, 9.4, 264.3, 1.735),
    (DE_LEVA_FEMALE.hand, 0.56, 74.74, 53.1, 33.5, 78.0, 1.735),
]


@pytest.mark.parametrize(("row", "mass", "centre", "k", "k_long", "length", "stature"), DE_LEVA_ROWS)
def test_de_leva_rows(
    row: SegmentShares, mass: float, centre: float, k: float, k_long: float, length: float, stature: float
) -> None:
    assert 100 * row.mass == pytest.approx(mass)
    assert 100 * row.centre == pytest.approx(centre)
    assert 100 * row.gyration == pytest.approx(k)
    assert 100 * row.gyration_long == pytest.approx(k_long)
    assert 1000 * stature * row.length_of_stature == pytest.approx(length)


def test_dempster_rows_agree_with_the_tables_own_proximal_radii() -> None:
    """Winter 2009 (4th ed.) Table 4.1 prints the radius about the proximal end too: .542, .526, .587."""
    for row, proximal in ((WINTER.upper_arm, 0.542), (WINTER.forearm, 0.526), (WINTER.hand, 0.587)):
        assert math.hypot(row.gyration, row.centre) == pytest.approx(proximal, abs=6e-4)


def test_whole_arm_of_the_reference_bodies() -> None:
    """Sums over de Leva 1996 Table 4 at the reference bodies, recomputed by hand from its rows."""
    male = arm_body(Lifter(sex="male").completed())
    assert male.first_moment_kg_m[0] == pytest.approx(1.0758, abs=2e-4)
    assert male.inertia_kg_m2[1, 1] == pytest.approx(0.4370, abs=2e-4)
    assert still_moment(male, math.pi / 2) == pytest.approx(10.553, abs=2e-3)
    female = arm_body(Lifter(sex="female").completed())
    assert female.first_moment_kg_m[0] == pytest.approx(0.7950, abs=2e-4)
    assert female.inertia_kg_m2[1, 1] == pytest.approx(0.3110, abs=2e-4)
    assert still_moment(female, math.pi / 2) == pytest.approx(7.799, abs=2e-3)


def test_winter_arm_with_the_long_hand() -> None:
    """80 kg, 1.80 m by Winter's Table 4.1 with Drillis and Contini's lengths (.186/.146/.108, from memory).

    That sum takes the hand's length to the fingertip (.1944 m); by hand S = 1.2342, I = 0.5727, 12.108 N m.
    """
    body = Lifter(segment_table="winter", body_mass_kg=80, stature_m=1.80).completed()
    from dataclasses import replace

    arm = arm_body(replace(body, hand_m=0.108 * 1.80))
    assert arm.mass_kg == pytest.approx(4.0)
    assert arm.first_moment_kg_m[0] == pytest.approx(1.2342, abs=1e-4)
    assert arm.inertia_kg_m2[1, 1] == pytest.approx(0.5727, abs=1e-4)
    assert still_moment(arm, math.pi / 2) == pytest.approx(12.108, abs=2e-3)


def test_leg_as_one_segment() -> None:
    """Winter's example of a leg: 80 kg, 0.435 m (m 3.72 kg, I .064 about the centre, .196 about the knee).

    Table values .0465/.433/.302 from Winter 2009 Table 4.1; that the book prints these answers is from memory.
    """
    m, length = 0.0465 * 80, 0.435
    assert m == pytest.approx(3.72)
    own = m * (0.302 * length) ** 2
    assert own == pytest.approx(0.064, abs=5e-4)
    leg = point_arm(m, 0.433 * length)
    assert leg.inertia_kg_m2[1, 1] + own == pytest.approx(0.196, abs=5e-4)


def test_bent_elbow_shortens_the_reach() -> None:
    """Plane triangle with .335 and .263 m: .595, .589, .578 m at 10, 20, 30°; the line is ~.44 e off."""
    for bend, reach in ((10, 0.595), (20, 0.589), (30, 0.578)):
        upper, fore, found = bent_arm(0.335, 0.263, math.radians(bend))
        assert found == pytest.approx(reach, abs=1e-3)
        assert math.degrees(upper) == pytest.approx(0.44 * bend, rel=0.01)
        assert math.degrees(upper + fore) == pytest.approx(bend)


def deltoid(moment_n_m: float, at_m: float, pull_deg: float) -> float:
    return moment_n_m / (at_m * math.sin(math.radians(pull_deg)))


# Moment about the shoulder of an arm held level, then the pull of one muscle that balances it.
# Last column: the gravity the source reckons with.
STATICS = [
    # Giancoli, Physics 7e ch. 9 prob. 34: arm 3.3 kg at .24 m, deltoid at .12 m under 15°; printed 250 N
    (((3.3, 0.24),), 0.12, 15.0, 249.9, 250, 1, 9.80),
    # the same with 3.5 kg (5e); printed 265 N
    (((3.5, 0.24),), 0.12, 15.0, 265.05, 265, 1, 9.80),
    # Giancoli 6e ch. 9 prob. 33: with 15 kg at .52 m; only the question was within reach, answer recomputed
    (((3.3, 0.24), (15.0, 0.52)), 0.12, 15.0, 2711, 2700, 20, 9.80),
    # Giancoli 7e ch. 9 prob. 35: with 8.5 kg; 1600 N from memory is two figures, the data give 1645
    (((3.3, 0.24), (8.5, 0.52)), 0.12, 15.0, 1645, 1600, 50, 9.80),
    # Serway-type: 41.5 N at .29 m, deltoid .08 m under 12°; printed 723.6 N
    (((41.5 / G, 0.29),), 0.08, 12.0, 723.6, 723.6, 0.1, G),
    # Young and Freedman, University Physics 13e 11.22: 36.0 N at .64 m, .15 m, 12°. A solutions page prints
    # 605 N, which the stated data do not give: they give 738.8 N, asserted here.
    (((36.0 / G, 0.64),), 0.15, 12.0, 738.8, 738.8, 0.1, G),
]


@pytest.mark.parametrize(("masses", "at_m", "pull_deg", "recomputed", "printed", "slack", "gravity"), STATICS)
def test_worked_statics(
    masses: tuple[tuple[float, float], ...],
    at_m: float,
    pull_deg: float,
    recomputed: float,
    printed: float,
    slack: float,
    gravity: float,
) -> None:
    arm = point_arm(*masses[0])
    for mass, place in masses[1:]:
        arm = arm.with_point(mass, np.array([place, 0.0, 0.0]))
    found = deltoid(still_moment(arm, math.pi / 2, gravity), at_m, pull_deg)
    assert found == pytest.approx(recomputed, rel=1e-3)
    assert found == pytest.approx(printed, abs=slack)


def test_serway_joint_force_differs_from_one_printed_key() -> None:
    """One key prints 718 N for the joint force of the 41.5 N arm; unrounded it is 716.1 N (rounding slip)."""
    pull = deltoid(still_moment(point_arm(41.5 / G, 0.29), math.pi / 2), 0.08, 12.0)
    along, up = pull * math.cos(math.radians(12)), pull * math.sin(math.radians(12)) - 41.5
    assert math.hypot(along, up) == pytest.approx(716.1, abs=0.1)
    assert abs(math.hypot(along, up) - 718) > 1


def test_raised_arm_with_a_load() -> None:
    """Arm 4.4 kg at .21 m with 6.0 kg at .56 m, 15° above level: 40.6 N m (question published, sum ours)."""
    arm = point_arm(4.4, 0.21).with_point(6.0, np.array([0.56, 0.0, 0.0]))
    assert still_moment(arm, math.radians(105)) == pytest.approx(40.6, abs=0.05)


def test_three_segment_arm() -> None:
    """17, 11 and 4.2 N at .13, .38 and .61 m: supported by 32.2 N at .278 m, so 8.95 N m (published)."""
    arm = point_arm(17 / G, 0.13)
    for weight, place in ((11, 0.38), (4.2, 0.61)):
        arm = arm.with_point(weight / G, np.array([place, 0.0, 0.0]))
    assert arm.mass_kg * G == pytest.approx(32.2)
    assert arm.first_moment_kg_m[0] / arm.mass_kg == pytest.approx(0.278, abs=5e-4)
    assert still_moment(arm, math.pi / 2) == pytest.approx(8.952, abs=5e-3)


def test_barbell_raise_by_angle() -> None:
    """Ozkaya and Nordin: (a W1 + b W2/2) sin θ with 50 and 300 N; .24 and .60 m from memory."""
    arm = point_arm(50 / G, 0.24).with_point(150 / G, np.array([0.60, 0.0, 0.0]))
    for degrees, expected in ((0, 0.0), (15, 26.4), (30, 51.0), (45, 72.1), (60, 88.3)):
        assert still_moment(arm, math.radians(degrees)) == pytest.approx(expected, abs=0.06)


# First 0.5 s and whole second: A_z, A_x, W_M, W_F, W_M of the first half, W_F of the first half, share %.
SHOULDER_CASES = [
    (0.0, 0.0, 53.0037, 0.0, 30.5709, 0.0, 0.0),
    (0.03, 0.0, 51.2703, 1.7334, 29.8771, 3.6368, 10.9),
    (0.05, 0.0, 50.1147, 2.8890, 29.4146, 6.0613, 17.1),
    (-0.05, 0.0, 55.8928, -2.8890, 31.7271, -6.0613, -23.6),
    (0.0, 0.05, 50.1147, 2.8890, 28.8381, 1.7328, 5.7),
    (0.05, 0.05, 47.2257, 5.7781, 27.6818, 7.7940, 22.0),
]


@pytest.mark.parametrize(("a_z", "a_x", "w_m", "w_f", "half_m", "half_f", "share"), SHOULDER_CASES)
def test_translating_shoulder(
    a_z: float, a_x: float, w_m: float, w_f: float, half_m: float, half_f: float, share: float
) -> None:
    """An independent script's energies (rigid-body textbook mechanics): S 5.4030, I 3.4691, m 10, 0 to 90° in
    1 s, the shoulder up and back by A. Recomputed here; S in four digits limits agreement to 1e-4."""
    s, inertia, mass = 5.4030, 3.4691, 10.0
    body = ArmBody(
        mass_kg=mass,
        first_moment_kg_m=np.array([s, 0.0, 0.0]),
        inertia_kg_m2=np.diag([0.0, inertia, inertia]),
        grip_m=np.array([0.7, 0.0, 0.0]),
        wrist_m=np.array([0.6, 0.0, 0.0]),
    )
    t = np.linspace(0, 1, 4001)
    angle, rate, acc = (x * math.pi / 2 for x in minimum_jerk(t))
    up, down = minimum_jerk(t / 0.5), minimum_jerk((t - 0.5) / 0.5)
    path = [(up[i] - down[i]) / 0.5**i for i in range(3)]
    way = np.array([a_x, 0.0, a_z])
    motion = planar_motion(t, angle, rate, acc, *(p[:, None] * way for p in path))
    done = dynamics(motion, body, (), PLANAR_AXIS, planar_body(0.0), G)
    half = slice(0, 2001)

    def total(power: np.ndarray, part: slice = slice(None)) -> float:
        return float(np.trapezoid(power[part], t[part]))

    assert total(done.moment_power_w) == pytest.approx(w_m, rel=1e-4)
    assert total(done.force_power_w) == pytest.approx(w_f, rel=1e-4, abs=1e-4)
    first_m, first_f = total(done.moment_power_w, half), total(done.force_power_w, half)
    assert first_m == pytest.approx(half_m, rel=1e-4)
    assert first_f == pytest.approx(half_f, rel=1e-4, abs=1e-4)
    assert 100 * first_f / (first_f + first_m) == pytest.approx(share, abs=0.06)
    energy_j = mechanical_energy(motion, body, G)
    change = energy_j[-1] - energy_j[0]
    assert total(done.moment_power_w) + total(done.force_power_w) == pytest.approx(change, rel=1e-6)


@pytest.mark.parametrize("amplitude_deg", [10, 30, 45, 60, 90])
def test_pendulum_period(amplitude_deg: float) -> None:
    """T/T0 = (2/π) K(sin(A/2)) (any mechanics text; K by SciPy): an arm without effort swings that long.

    The simulator only raises, so a hanging arm is started at the bottom with the speed that carries it to A:
    it stalls at A after a quarter of a period.
    """
    arm = arm_body(Lifter(segment_table="winter", body_mass_kg=80, stature_m=1.80).completed())
    load = planar_load(arm, ())
    s, inertia = float(arm.first_moment_kg_m[0]), float(arm.inertia_kg_m2[1, 1])
    stiffness = s * 9.80665
    amplitude = math.radians(amplitude_deg)
    w0 = math.sqrt(2 * stiffness / inertia * (1 - math.cos(amplitude)))
    limp = Shoulders(
        peak_n_m=1e-12, share=lambda a: np.ones_like(a), fastest_rad_s=50.0, hill_shape=0.25, activation_s=0.0
    )
    done = simulate_raises(
        load, limp, start_rate_rad_s=np.array([w0]), start_rad=0.0, top_rad=math.pi, keep_course=True
    )
    period = 2 * math.pi * math.sqrt(inertia / stiffness) * 2 / math.pi * ellipk(math.sin(amplitude / 2) ** 2)
    assert not done.reached[0]
    assert done.highest_rad[0] == pytest.approx(amplitude, abs=1e-5)
    assert 4 * done.duration_s[0] == pytest.approx(period, rel=2e-4)


def test_pendulum_ratios_as_printed() -> None:
    """The ratios of the standard series: 1.001907, 1.017409, 1.039973, 1.073182, 1.180341."""
    for degrees, ratio in ((10, 1.001907), (30, 1.017409), (45, 1.039973), (60, 1.073182), (90, 1.180341)):
        found = 2 / math.pi * ellipk(math.sin(math.radians(degrees) / 2) ** 2)
        assert found == pytest.approx(ratio, abs=1e-6)


def test_hill_curve_points() -> None:
    """Hill 1938: (F + a)(v + b) = const, zero at vmax; a/F0 = k. At v = vmax/2: .5/(1 + .5/k)."""
    k, fastest = 0.25, 10.0
    v = np.array([0.0, 2.5, 5.0, 10.0, 12.0])
    force = hill(v, fastest, k)
    assert force == pytest.approx([1.0, 0.75 / 2.0, 0.5 / 3.0, 0.0, 0.0])
    inside = v[:4]
    assert np.ptp((force[:4] + k) * (inside / fastest + k)) == pytest.approx(0, abs=1e-12)
    # Thelen 2003: lengthening tends to 1.4 and meets shortening at rest
    assert hill(np.array([-1e9]), fastest, k)[0] == pytest.approx(1.4, abs=1e-6)
    # published ratio of 50 °/s concentric to isometric shoulder flexion .684 (46.9 / 68.6 N m, 26 men):
    # with a/F0 = .25 that speed is about a twelfth of the unloaded one, some 590 °/s
    assert hill(np.array([math.radians(50)]), math.radians(590), 0.25)[0] == pytest.approx(
        46.9 / 68.6, abs=0.01
    )


def test_forward_simulation_against_scipy() -> None:
    """SciPy's DOP853 on the equation of motion written out for a dumbbell and a cable."""
    arm = arm_body(Lifter().completed())
    pulley = (-0.5, -1.2, 0.0)
    cable = Cable(stack_kg=4.0, pulley_m=pulley, ratio=2.0)
    bell_mass = 3.0
    reach = arm.reach_to_grip_m
    capacity = ShoulderCapacity(peak_n_m=60.0, curve=capacity_curve("flat"))
    s = float(arm.first_moment_kg_m[0]) + bell_mass * reach
    inertia = float(arm.inertia_kg_m2[1, 1]) + bell_mass * reach**2
    g = 9.80665

    def length(q: float) -> float:
        return math.hypot(reach * math.sin(q) - pulley[0], -reach * math.cos(q) - pulley[1])

    def slopes(q: float) -> tuple[float, float]:
        h = 1e-4
        first = (length(q + h) - length(q - h)) / (2 * h)
        return first, (length(q + h) - 2 * length(q) + length(q - h)) / h**2

    hold = s * g * math.sin(math.radians(5)) + 4.0 * g / 2 * slopes(math.radians(5))[0]
    w0 = math.radians(40)
    a0 = max(hold / (60.0 * float(hill(np.array([w0]))[0])), 0.05)

    def change(t: float, y: np.ndarray) -> list[float]:
        q, w = y
        effort = 1 - (1 - a0) * math.exp(-t / 0.05)
        moment = effort * 60.0 * float(hill(np.array([w]))[0])
        first, second = slopes(q)
        felt = 4.0 / 4
        top = moment - s * g * math.sin(q) - (4.0 * g / 2 + felt * second * w * w) * first
        return [w, top / (inertia + felt * first**2)]

    def arrived(t: float, y: np.ndarray) -> float:
        return float(y[0] - math.pi / 2)

    arrived.terminal = True  # type: ignore[attr-defined]
    reference = solve_ivp(
        change, (0, 5), [math.radians(5), w0], events=arrived, method="DOP853", rtol=1e-9, atol=1e-10
    )
    done = simulate_raises(
        planar_load(arm, (Dumbbell(mass_kg=bell_mass), cable)),
        shoulders(capacity),
        start_rate_rad_s=np.array([w0]),
        keep_course=True,
    )
    assert done.reached[0]
    assert done.duration_s[0] == pytest.approx(reference.t_events[0][0], abs=2e-4)
    assert done.rate_rad_s[-1, 0] == pytest.approx(reference.y_events[0][0][1], rel=1e-3)


def test_free_fall_needs_no_moment() -> None:
    """A body that falls freely, shoulder and all, feels no moment and no force (equivalence principle)."""
    arm = arm_body(Lifter().completed()).with_point(8.0, np.array([0.65, 0.0, 0.0]))
    n = 5
    fall = np.tile([0.0, 0.0, -9.80665], (n, 1))
    motion = planar_motion(np.arange(n) / 10, np.full(n, 1.0), np.zeros(n), np.zeros(n), None, None, fall)
    done = dynamics(motion, arm, (), PLANAR_AXIS, planar_body(0.0))
    assert np.abs(done.moment_vector_n_m).max() < 1e-9
    assert np.abs(done.force_n).max() < 1e-9


def test_pure_rotation_without_gravity() -> None:
    """I α alone, and the centripetal pull m r ω² (any mechanics text)."""
    body = point_arm(2.0, 0.6)
    n = 3
    motion = planar_motion(np.arange(n) / 10, np.zeros(n), np.full(n, 3.0), np.full(n, 5.0))
    done = dynamics(motion, body, (), PLANAR_AXIS, planar_body(0.0), 0.0)
    assert done.moment_n_m == pytest.approx(np.full(n, 2.0 * 0.36 * 5.0))
    # hanging at angle 0: the pull is straight up, the tangential push along +x
    assert done.force_n[0] == pytest.approx([2.0 * 0.6 * 5.0, 0.0, 2.0 * 0.6 * 9.0])


def test_start_velocity_hardly_changes_the_peak() -> None:
    """Two independent scripts of the same model (arm 80 kg, 1.80 m by Winter; M0 65 N m; bell around 45°, 75°
    wide; Hill a/F0 .25; 1000 °/s; at once fully active): gravity at level over M0 of .82 reaches 90°, 1.03
    stalls near 77°, 1.23 near 65°, and the peak is largest from rest."""
    arm = ArmBody(
        mass_kg=4.0,
        first_moment_kg_m=np.array([1.2342, 0.0, 0.0]),
        inertia_kg_m2=np.diag([0.0, 0.5727, 0.5727]),
        grip_m=np.array([0.695, 0.0, 0.0]),
        wrist_m=np.array([0.6, 0.0, 0.0]),
    )
    load = planar_load(arm, (Dumbbell(mass_kg=1.0),))
    lanes = Shoulders(
        peak_n_m=65.0,
        share=lambda a: bell(a, math.radians(45), math.radians(75)),
        fastest_rad_s=math.radians(1000),
        hill_shape=0.25,
        activation_s=0.0,
    )
    masses = np.array([6.0, 8.0, 10.0])
    rest = simulate_raises(
        load, lanes, start_rate_rad_s=np.zeros(3), scale=masses, start_rad=0.0, step_s=0.002
    )
    assert rest.reached.tolist() == [True, False, False]
    assert np.degrees(rest.highest_rad[1:]) == pytest.approx([77, 65], abs=3)
    fast = simulate_raises(
        load, lanes, start_rate_rad_s=np.full(3, 1.0), scale=masses, start_rad=0.0, step_s=0.002
    )
    assert np.all(fast.peak_n_m <= rest.peak_n_m * 1.001)
    assert np.all(fast.work_j[:1] < rest.work_j[:1])


def test_lines_of_pull_agree_in_sign_with_tendon_excursion_studies() -> None:
    """Liu et al. 1997 (Clin Biomech 12:32): in the scapular plane anterior and middle deltoid raise, posterior
    lowers. Hik and Ackland 2019 (J Anat 234:1): supraspinatus matters most early; anterior and middle have the
    largest arms in the coronal plane at height."""
    angle = np.radians([30.0, 60.0, 90.0])
    scapular, notes = lines_of_pull(math.radians(30), 0.0, angle)
    by_name = {line.muscle: line.moment_arm_m for line in scapular}
    assert np.all(by_name["anterior deltoid"] > 0)
    assert np.all(by_name["middle deltoid"] > 0)
    assert np.all(by_name["posterior deltoid"] < 0)
    assert by_name["supraspinatus"][0] > by_name["supraspinatus"][2]
    assert not notes
    coronal, _ = lines_of_pull(0.0, 0.0, angle)
    high = {line.muscle: line.moment_arm_m[2] for line in coronal}
    assert min(high["anterior deltoid"], high["middle deltoid"]) > max(
        high["posterior deltoid"], high["supraspinatus"]
    )


def test_a_turning_body_without_a_moment_keeps_its_spin() -> None:
    """Euler's equations of a free body in three dimensions, integrated by SciPy: no moment comes out.

    An arm with three different moments of inertia tumbles about all axes; with the gyroscopic term's sign changed
    the moment would be as large as that term.
    """
    inertia = np.diag([0.05, 0.40, 0.60])
    body = ArmBody(
        mass_kg=3.0,
        first_moment_kg_m=np.zeros(3),
        inertia_kg_m2=inertia,
        grip_m=np.array([0.7, 0.0, 0.0]),
        wrist_m=np.array([0.6, 0.0, 0.0]),
    )

    def tumble(_: float, y: np.ndarray) -> np.ndarray:
        q, w = y[:4], y[4:]
        spin = np.linalg.solve(inertia, -np.cross(w, inertia @ w))
        s, v = q[0], q[1:]
        return np.concatenate([[-0.5 * v @ w], 0.5 * (s * w + np.cross(v, w)), spin])

    t = np.linspace(0, 2, 401)
    done = solve_ivp(
        tumble, (0, 2), [1, 0, 0, 0, 2.0, 3.0, -1.5], t_eval=t, method="DOP853", rtol=1e-11, atol=1e-12
    )
    turned = Rotation.from_quat(done.y[:4].T, scalar_first=True)
    own = done.y[4:].T
    change = np.array([np.linalg.solve(inertia, -np.cross(w, inertia @ w)) for w in own])
    # The rate of change of an angular velocity is the same vector in turning axes.
    omega, alpha = turned.apply(own), turned.apply(change)
    still = np.zeros_like(omega)
    motion = ArmKinematics(
        time_s=t,
        angle_rad=t,
        rotation=turned.as_matrix(),
        angular_velocity_rad_s=omega,
        angular_acceleration_rad_s2=alpha,
        shoulder_m=still,
        shoulder_m_s=still,
        shoulder_m_s2=still,
    )
    moment = shoulder_moment(motion, body, 0.0, 0.0)
    gyroscopic = np.cross(omega, turned.apply(own @ inertia))
    assert np.abs(gyroscopic).max() > 1.0
    assert np.abs(moment).max() < 1e-6
    # Spin is kept: the same motion, seen as angular momentum.
    spin = turned.apply(own @ inertia)
    np.testing.assert_allclose(spin, np.broadcast_to(spin[0], spin.shape), atol=1e-8)
