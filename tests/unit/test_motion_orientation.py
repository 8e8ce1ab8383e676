"""Orientation fusion on movements whose answer is known in closed form, and on invented raises."""

import numpy as np
import pytest
from invented_raises import GRAVITY_M_S2, make_raises
from scipy.spatial.transform import Rotation

from armarc.errors import InputError, UsageError
from armarc.motion import quaternions
from armarc.motion.orientation import METHODS, estimate_orientation, fuse
from armarc.motion.strapdown import integrate
from turns import inclination

RATE_HZ = 100.0


def tilt_between(p, q):
    return np.degrees(inclination(quaternions.multiply(p, quaternions.conjugate(q))))


def constant_turn(rate_rad_s, n=1000, start=(0.4, -0.2, 0.1)):
    """A sensor that turns steadily about a fixed point: orientation in closed form."""
    steps = np.arange(n)[:, None] / RATE_HZ * np.asarray(rate_rad_s)
    q = quaternions.multiply(quaternions.from_rotation_vector(start), quaternions.from_rotation_vector(steps))
    omega = np.tile(rate_rad_s, (n, 1)).astype(float)
    half_step_earlier = quaternions.multiply(
        q, quaternions.from_rotation_vector(-0.5 / RATE_HZ * np.asarray(rate_rad_s))
    )
    return q, omega, quaternions.rotate_back(half_step_earlier, [0.0, 0.0, GRAVITY_M_S2])


def still(tilt, n=300):
    q = quaternions.from_rotation_vector(tilt)
    return q, np.zeros((n, 3)), np.tile(quaternions.rotate_back(q, [0.0, 0.0, GRAVITY_M_S2]), (n, 1))


def test_dead_reckoning_is_the_product_of_all_steps():
    rng = np.random.default_rng(0)
    omega, force = rng.normal(size=(2, 1003, 3))
    omega[17] *= 200.0  # beyond the series
    reckoning = integrate(omega, force, RATE_HZ, 8)
    q, nodes = reckoning.quaternion, reckoning.nodes
    expected, running = [], Rotation.identity()
    for step in Rotation.from_rotvec(omega / RATE_HZ):
        running = running * step
        expected.append(running)
    expected = Rotation.concatenate(expected)
    assert (Rotation.from_quat(q, scalar_first=True) * expected.inv()).magnitude().max() < 1e-12
    middle = (expected * Rotation.from_rotvec(-0.5 * omega / RATE_HZ)).apply(force)
    wanted = middle[:1000].reshape(125, 8, 3).mean(axis=1)
    few = np.abs(np.arange(125) - 2) > 0  # the half step back is first order: not the wild sample's node
    np.testing.assert_allclose(nodes.force_m_s2[:125][few], wanted[few], atol=2e-3)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("tilt", [(0.0, 0.0, 0.0), (0.5, 0.0, 0.0), (-1.0, 1.2, 0.0), (1.5, -0.8, 2.0)])
def test_still_sensor(method, tilt):
    truth, omega, force = still(tilt)
    q = estimate_orientation(omega, force, RATE_HZ, method)
    np.testing.assert_allclose(np.linalg.norm(q, axis=1), 1.0, atol=1e-12)
    assert tilt_between(q, truth).max() < 0.05
    np.testing.assert_allclose(
        quaternions.rotate(q, force), np.broadcast_to([0.0, 0.0, GRAVITY_M_S2], force.shape), atol=0.01
    )


@pytest.mark.parametrize("rate", [(0.3, -0.5, 0.2), (0.0, 0.0, 1.0), (2.0, 0.0, 0.0), (-1.0, 3.0, 0.5)])
def test_steady_turn_with_the_smoother(rate):
    truth, omega, force = constant_turn(rate)
    q = estimate_orientation(omega, force, RATE_HZ)
    assert tilt_between(q, truth).max() < 0.01
    assert np.degrees(angle_between_but_for_heading(q, truth)).max() < 0.05


def angle_between_but_for_heading(q, truth):
    """Full rotation error after the heading, which is arbitrary, is made equal at the first sample."""
    error = quaternions.multiply(q, quaternions.conjugate(truth))
    first = quaternions.conjugate(error[0])
    return np.linalg.norm(quaternions.to_rotation_vector(quaternions.multiply(error, first)), axis=1)


@pytest.mark.parametrize("method", ["madgwick", "mahony", "ekf", "aqua"])
@pytest.mark.parametrize("rate", [(0.3, -0.5, 0.2), (0.0, 0.0, 1.0)])
@pytest.mark.parametrize("rate_hz", [100.0, 50.0, 200])
def test_steady_turn_with_textbook_filters(method, rate, rate_hz):
    """Pins frame, conjugation, frequency and number types: a wrong one is off by tens of degrees."""
    truth, omega, force = constant_turn(rate, n=600)
    scale = np.asarray(rate_hz / RATE_HZ)[()]  # a NumPy scalar
    q = estimate_orientation(omega * scale, force, np.float64(rate_hz), method)
    assert tilt_between(q, truth).max() < 1.2
    assert np.degrees(angle_between_but_for_heading(q, truth)).max() < 1.5


@pytest.mark.parametrize("method", ["madgwick", "mahony", "aqua"])
def test_textbook_filters_correct_while_the_gyroscope_reads_exactly_zero(method):
    """`ahrs` skips the correction on such samples; here a wrong first sample must still be forgotten."""
    truth, omega, force = still((0.3, 0.0, 0.0), n=6000)
    force[0] = [0.0, 0.0, GRAVITY_M_S2]
    q = estimate_orientation(omega, force, RATE_HZ, method)
    assert tilt_between(q[-1], truth) < 2.0


def test_every_method_is_a_method_of_its_own():
    raises = make_raises(0, reps=1)
    answers = [
        estimate_orientation(raises.angular_velocity_rad_s, raises.specific_force_m_s2, RATE_HZ, method)
        for method in METHODS
    ]
    for i, one in enumerate(answers):
        for other in answers[:i]:
            assert tilt_between(one, other).max() > 0.05


def test_ahrs_returns_the_conjugate_from_aqua():
    """The reason for the conjugate in the adapter: should `ahrs` change its mind, this fails first."""
    from ahrs.filters import AQUA

    truth, omega, force = constant_turn((0.3, -0.5, 0.2))
    q0 = quaternions.conjugate(truth[0])
    raw = AQUA(gyr=omega, acc=force, frequency=100.0, q0=q0).Q
    assert tilt_between(quaternions.conjugate(raw), truth).max() < 1.0
    assert tilt_between(raw, truth).max() > 20.0


def test_smoother_finds_the_bias_in_motion_and_at_rest():
    raises = make_raises(3, bias_deg_s=2.0, still_s=3.0)
    fused = fuse(raises.angular_velocity_rad_s, raises.specific_force_m_s2, RATE_HZ)
    error = np.degrees(np.abs(fused.gyroscope_bias_rad_s - raises.bias_rad_s).max())
    assert error < 0.15
    assert error < 3 * np.degrees(fused.bias_se_rad_s)


def test_still_phase_gives_the_vertical_bias():
    _, omega, force = still((0.0, 0.0, 0.0), n=1000)
    bias = np.radians([0.4, -0.7, 1.1])
    fused = fuse(omega + bias, force, RATE_HZ)
    np.testing.assert_allclose(fused.gyroscope_bias_rad_s, bias, atol=np.radians(0.02))


def test_large_bias_is_not_pulled_to_the_prior():
    for seed in range(3):
        raises = make_raises(seed, bias_deg_s=15.0)
        fused = fuse(raises.angular_velocity_rad_s, raises.specific_force_m_s2, RATE_HZ)
        assert np.std(raises.elevation_error_deg(fused.quaternion)) < 0.3
        assert np.degrees(np.abs(fused.gyroscope_bias_rad_s - raises.bias_rad_s).max()) < 0.5


def test_bias_found_at_rest_is_taken_out_of_the_heading():
    rate, start = np.array([0.3, -0.5, 0.2]), (0.4, -0.2, 0.1)
    turning, omega, force = constant_turn(rate, start=start)
    at_rest = quaternions.rotate_back(turning[0], [0.0, 0.0, GRAVITY_M_S2])
    truth = np.concatenate([np.tile(turning[0], (400, 1)), turning])
    omega = np.concatenate([np.zeros((400, 3)), omega]) + np.radians([0.5, 0.3, -0.8])
    force = np.concatenate([np.tile(at_rest, (400, 1)), force])
    q = estimate_orientation(omega, force, RATE_HZ)
    assert np.degrees(angle_between_but_for_heading(q, truth)).max() < 0.6  # 14 s at 1 °/s would be 14°


def spread_of_elevation_deg(estimate, seeds=range(4), **options):
    errors = []
    for seed in seeds:
        raises = make_raises(seed, **options)
        errors.append(np.std(raises.elevation_error_deg(estimate(raises))))
    return float(np.sqrt(np.mean(np.square(errors))))


def plain(raises):
    return estimate_orientation(raises.angular_velocity_rad_s, raises.specific_force_m_s2, raises.rate_hz)


def with_lever(raises):
    return fuse(
        raises.angular_velocity_rad_s,
        raises.specific_force_m_s2,
        raises.rate_hz,
        lever_arm_m=raises.lever_arm_m,
    ).quaternion


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0])
def test_elevation_of_restless_raises(rate_hz):
    assert spread_of_elevation_deg(plain, rate_hz=rate_hz) < 0.15


def test_known_lever_arm_improves_short_sets():
    short = {"reps": 3, "shortest_s": 0.7, "longest_s": 1.2}
    without, with_it = (spread_of_elevation_deg(estimate, **short) for estimate in (plain, with_lever))
    assert with_it < 0.08
    assert with_it < 0.8 * without


def test_known_lever_arm_sees_through_the_accelerometers_offset():
    """What no filter without the lever arm can do: 20 mg of offset are up to 1.1° of tilt."""
    for seed in range(3):
        raises = make_raises(seed)
        absolute = np.sqrt(np.mean(raises.elevation_error_deg(with_lever(raises)) ** 2))
        assert absolute < 0.2


def test_tilt_standard_error_is_of_the_right_size():
    raises = make_raises(1, offset_g=0.0)
    fused = fuse(raises.angular_velocity_rad_s, raises.specific_force_m_s2, RATE_HZ)
    actual = np.sqrt(np.mean(np.radians(tilt_between(fused.quaternion, raises.quaternion)) ** 2))
    assert actual / 3 < fused.tilt_se_rad < 10 * actual


def test_samples_as_instants_shift_by_half_an_interval():
    raises = make_raises(2)
    arguments = raises.angular_velocity_rad_s, raises.specific_force_m_s2, RATE_HZ
    means, instants = fuse(*arguments), fuse(*arguments, sampling="instants")
    omega = raises.angular_velocity_rad_s - means.gyroscope_bias_rad_s
    shift = quaternions.multiply(quaternions.conjugate(instants.quaternion), means.quaternion)
    np.testing.assert_allclose(quaternions.to_rotation_vector(shift), omega * 0.5 / RATE_HZ, atol=1e-9)


def test_gap_is_bridged():
    """Half a second of filled-in samples in mid-movement, marked as missing."""
    raises = make_raises(4, reps=6)
    omega = raises.angular_velocity_rad_s.copy()
    force = raises.specific_force_m_s2.copy()
    gap = slice(400, 450)
    missing = np.zeros(len(omega), bool)
    missing[gap] = True
    for array in (omega, force):
        share = np.linspace(0.0, 1.0, 52)[1:-1, None]
        array[gap] = (1 - share) * array[399] + share * array[450]
    fused = fuse(omega, force, RATE_HZ, missing=missing)
    clear = np.ones(len(omega), bool)
    clear[380:470] = False
    error = raises.elevation_error_deg(fused.quaternion)[clear]
    assert np.std(error) < 0.5
    unmarked = fuse(omega, force, RATE_HZ)
    assert np.std(error) < np.std(raises.elevation_error_deg(unmarked.quaternion)[clear])


def test_accelerometer_is_ignored_over_a_gap():
    raises = make_raises(7, reps=6)
    arguments = raises.angular_velocity_rad_s, raises.specific_force_m_s2.copy(), RATE_HZ
    missing = np.zeros(len(raises.quaternion), bool)
    missing[600:640] = True
    before = fuse(*arguments, missing=missing).quaternion
    arguments[1][604:636] = [60.0, -30.0, 20.0]
    after = fuse(*arguments, missing=missing).quaternion
    assert tilt_between(before, after).max() < 0.3


def test_everything_missing_is_an_error_free_answer():
    _, omega, force = still((0.0, 0.0, 0.0), n=50)
    fused = fuse(omega, force, RATE_HZ, missing=np.ones(50, bool))
    assert np.isfinite(fused.quaternion).all()
    assert fused.tilt_se_rad > 0.3


def test_long_recording_in_sections_agrees_with_the_parts():
    """Beyond twenty minutes sections are joined: no seam in tilt or heading, memory bounded."""
    raises = make_raises(6, reps=10)
    times = int(np.ceil(26 * 60 * RATE_HZ / len(raises.quaternion)))
    omega = np.tile(raises.angular_velocity_rad_s, (times, 1))
    force = np.tile(raises.specific_force_m_s2, (times, 1))
    fused = fuse(omega, force, RATE_HZ)
    clean = omega - fused.gyroscope_bias_rad_s
    step = quaternions.multiply(quaternions.conjugate(fused.quaternion[:-1]), fused.quaternion[1:])
    seam = np.linalg.norm(quaternions.to_rotation_vector(step) - clean[1:] / RATE_HZ, axis=1)
    assert np.degrees(seam.max()) < 0.1
    assert np.degrees(np.abs(fused.gyroscope_bias_rad_s - raises.bias_rad_s).max()) < 1.0


@pytest.mark.parametrize("n", [2, 3, 7, 8, 9, 20])
@pytest.mark.parametrize("method", METHODS)
def test_a_few_samples_are_enough(n, method):
    truth, omega, force = still((0.4, 0.3, 0.0), n=n)
    q = estimate_orientation(omega, force, RATE_HZ, method)
    assert q.shape == (n, 4)
    assert tilt_between(q, truth).max() < 0.05


@pytest.mark.parametrize("rate_hz", [5.0, 12.5, 26.0, 1000.0])
def test_any_rate(rate_hz):
    truth, omega, force = still((0.4, 0.3, 0.0), n=400)
    assert tilt_between(estimate_orientation(omega, force, rate_hz), truth).max() < 0.01


def test_upside_down():
    truth, omega, force = still((np.pi, 0.0, 0.0))
    assert tilt_between(estimate_orientation(omega, force, RATE_HZ), truth).max() < 0.05


def test_free_fall_does_not_break_the_smoother():
    _, omega, force = still((0.2, 0.0, 0.0))
    q = estimate_orientation(omega, 0.0 * force, RATE_HZ)
    assert np.isfinite(q).all()


def test_input_is_left_alone():
    _, omega, force = constant_turn((0.3, -0.5, 0.2))
    before = omega.copy(), force.copy()
    for method in METHODS:
        estimate_orientation(omega, force, RATE_HZ, method)
    np.testing.assert_array_equal(omega, before[0])
    np.testing.assert_array_equal(force, before[1])


def test_unknown_method_names_the_choices():
    _, omega, force = still((0.0, 0.0, 0.0))
    with pytest.raises(UsageError, match=r"smoother.*madgwick.*mahony.*ekf.*aqua"):
        fuse(omega, force, RATE_HZ, method="magic")
    with pytest.raises(UsageError, match="sampling"):
        fuse(omega, force, RATE_HZ, sampling="guess")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"rate_hz": 0.0}, "rate"),
        ({"rate_hz": np.nan}, "rate"),
        ({"angular_velocity_rad_s": np.zeros((10, 2))}, "shape"),
        ({"angular_velocity_rad_s": np.zeros(10)}, "shape"),
        ({"specific_force_m_s2": np.zeros((9, 3))}, "10 samples of angular velocity but 9"),
        ({"specific_force_m_s2": np.full((10, 3), np.nan)}, "not finite in 10 samples"),
        ({"missing": np.zeros(3, bool)}, "missing"),
        ({"lever_arm_m": [1.0, 2.0]}, "lever arm"),
        ({"angular_velocity_rad_s": np.zeros((1, 3)), "specific_force_m_s2": np.ones((1, 3))}, "too few"),
    ],
)
def test_bad_input_says_what_is_wrong(change, message):
    good = {
        "angular_velocity_rad_s": np.zeros((10, 3)),
        "specific_force_m_s2": np.ones((10, 3)),
        "rate_hz": RATE_HZ,
    }
    with pytest.raises(InputError, match=message) as caught:
        fuse(**(good | change))
    assert caught.value.hint
