"""Body swing: known paths of a shoulder, what a girdle does, and why there may be no number."""

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_motion import motion_of
from invented_reps import movements_of, raises, ramp

from armarc.motion.quaternions import rotate, to_matrix
from armarc.reps import swing
from armarc.reps.measure import bound_reps
from armarc.reps.swing import body_swings, swings_of_set

G = 9.80665
UP_S, HOLD_S, DOWN_S, STILL_S = 1.4, 0.4, 2.0, 1.0
AWAY = np.array([0.6, 0.0, 0.8])
GIRDLE = np.array([0.0, 0.3, 1.0])


def second_derivative(values, hz):
    """Of a smooth sampled path, exact to the fourth order."""
    return np.gradient(np.gradient(values, 1 / hz, axis=0, edge_order=2), 1 / hz, axis=0, edge_order=2)


def there_and_back(t, begin_s, out_s, stay_s, home_s):
    return ramp((t - begin_s) / out_s) - ramp((t - begin_s - out_s - stay_s) / home_s)


def instants(motion):
    movements = movements_of(motion.angle_rad, math.radians(12))
    return [raw.instants for raw in bound_reps(motion, tuple(movements))]


def lifted(shoulder_m, *, reps=3, pause_s=0.8, rate_hz=200.0, **changes):
    """A set of raises about a moving shoulder, as a sensor 58 cm away reads it.

    `shoulder_m` maps time, the begin of each rep and the elevation to the path, shape (n, 3).
    """
    curve = raises(
        (85.0,) * reps,
        up_s=UP_S,
        hold_s=HOLD_S,
        down_s=DOWN_S,
        pause_s=pause_s,
        still_s=STILL_S,
        rate_hz=rate_hz,
    )
    motion = motion_of(curve, **changes)
    path = shoulder_m(motion.time_s, curve.begins_s, motion.elevation_rad)
    whole = path + rotate(motion.quaternion, np.broadcast_to([0.0, 0.0, -0.58], path.shape))
    force = second_derivative(whole, rate_hz) + np.array([0.0, 0.0, G])
    matrix = to_matrix(motion.quaternion)
    return replace(motion, specific_force_m_s2=np.einsum("nji,nj->ni", matrix, force)), path


def swung(travel_m, *, begin_s=0.0, out_s=0.5, stay_s=0.0, home_s=0.6, girdle_m=0.0):
    def path(t, begins, elevation):
        away = sum(there_and_back(t, b + begin_s, out_s, stay_s, home_s) for b in begins)
        rise = girdle_m * (elevation / math.radians(90)) ** 1.5
        return travel_m * np.outer(away, AWAY) + np.outer(rise, GIRDLE)

    return path


def in_concentrics(motion, path):
    """True peak-to-peak of a path in each concentric, m."""
    out = []
    for at in instants(motion):
        part = path[math.floor(at.start) : math.ceil(at.top_start) + 1]
        out.append(max(float(np.linalg.norm(part - p, axis=1).max()) for p in part))
    return out


@pytest.mark.parametrize("travel_cm", [0.0, 2.0, 4.0, 6.0, 12.0])
@pytest.mark.parametrize(
    "when",
    [
        {"begin_s": 0.0},
        {"begin_s": -0.25},
        {"begin_s": 0.4},
        {"begin_s": 0.5, "out_s": 0.8, "home_s": 0.8},
        {"begin_s": 0.1, "stay_s": 0.9, "home_s": 0.8},
    ],
    ids=["with the arm", "before the arm", "later", "on to the hold", "back while lowering"],
)
def test_the_travel_of_the_concentric_is_found(travel_cm, when):
    motion, path = lifted(swung(travel_cm / 100, **when))
    for found, true in zip(body_swings(motion, instants(motion)), in_concentrics(motion, path), strict=True):
        if found.reason is None:
            assert abs(found.travel_m - true) < max(0.2 * true, 2 * found.se_m, 1e-4)
        else:
            # Only where the lowering has the body move as well.
            assert found.reason.startswith(swing.UNCERTAIN)
            assert when["begin_s"] + when["out_s"] > 1.2


def test_a_swing_the_lowering_knows_nothing_of_is_known_to_a_twentieth():
    for begin_s in (-0.25, 0.0, 0.4):
        motion, path = lifted(swung(0.06, begin_s=begin_s))
        for found, true in zip(
            body_swings(motion, instants(motion)), in_concentrics(motion, path), strict=True
        ):
            assert found.travel_m == pytest.approx(true, rel=0.05)
            assert found.se_m < 0.006


def test_no_pause_and_a_single_rep_will_do():
    for how in ({"pause_s": 0.0}, {"reps": 1}):
        motion, path = lifted(swung(0.05), **how)
        for found, true in zip(
            body_swings(motion, instants(motion)), in_concentrics(motion, path), strict=True
        ):
            assert found.travel_m == pytest.approx(true, rel=0.1)


def test_the_girdles_rise_is_no_swing():
    # 4 cm up and a little sideways by 85°, up and down alike.
    motion, path = lifted(swung(0.0, girdle_m=0.045))
    assert min(in_concentrics(motion, path)) > 0.035
    for found in body_swings(motion, instants(motion)):
        assert found.reason.startswith(swing.GIRDLE) if found.reason else found.travel_m < 0.01


def test_a_swing_shows_beside_the_girdles_rise():
    motion, _ = lifted(swung(0.08, girdle_m=0.045))
    _, alone = lifted(swung(0.08))
    for found, true in zip(body_swings(motion, instants(motion)), in_concentrics(motion, alone), strict=True):
        assert abs(found.travel_m - true) < max(0.2 * true, 2 * found.se_m)
    # What was taken for the girdle's makes the number less sure.
    assert body_swings(motion, instants(motion))[0].se_m > 0.004


def test_a_wrong_lever_arm_is_no_swing():
    motion, _ = lifted(swung(0.0))
    wrong = replace(motion, mounting=replace(motion.mounting, lever_arm_m=np.array([0.01, 0.0, -0.6])))
    for found in body_swings(wrong, instants(wrong)):
        assert found.reason.startswith(swing.GIRDLE) if found.reason else found.travel_m < 0.005


def test_errors_that_are_constant_grow_or_turn_with_the_arm_cost_little():
    motion, path = lifted(swung(0.05))
    t = motion.time_s
    force = motion.specific_force_m_s2
    # 20 mg of zero-g offset, and a tilt that drifts by 0.2° over the recording.
    offset = force + np.array([0.2, 0.1, -0.15])
    drift = rotate(motion.quaternion * [1, -1, -1, -1], np.outer(0.03 * t / t[-1], [1.0, 0.0, 0.0]))
    for wrong in (offset, force + drift):
        off = replace(motion, specific_force_m_s2=wrong)
        for found, true in zip(body_swings(off, instants(off)), in_concentrics(motion, path), strict=True):
            assert found.travel_m == pytest.approx(true, rel=0.08)


def test_disturbed_lowerings_make_the_number_less_sure():
    motion, _ = lifted(swung(0.04))
    push = 0.15 * np.sin(2 * np.pi * 0.9 * motion.time_s)[:, None] * np.array([0.5, 0.5, 0.7])
    shaken = replace(motion, specific_force_m_s2=motion.specific_force_m_s2 + push)
    calm, rough = (body_swings(m, instants(m))[1] for m in (motion, shaken))
    assert rough.reason is not None or rough.se_m > 1.5 * calm.se_m


def reasons(motion, reps=None):
    return [found.reason for found in body_swings(motion, instants(motion) if reps is None else reps)]


def test_reasons_for_no_number():
    motion, _ = lifted(swung(0.04))
    reps = instants(motion)
    assert reasons(replace(motion, coordinate="horizontal"), reps) == [swing.NO_RAISE] * 3
    unknown = replace(motion, mounting=replace(motion.mounting, lever_arm_m=None))
    assert reasons(unknown) == [swing.NO_LEVER_ARM] * 3
    missing = np.zeros(len(motion.time_s), bool)
    missing[round(reps[1].start) + 20] = True
    assert reasons(replace(motion, missing=missing)) == [None, swing.GAP, None]
    brief = replace(reps[2], top_start=reps[2].start + 10)
    cut = [replace(reps[0], is_begun=True), replace(reps[1], is_complete=False), brief]
    assert reasons(motion, cut) == [swing.NO_REST, swing.NO_REST, swing.SHORT]
    assert body_swings(motion, []) == ()
    assert all(found.travel_m is None and found.se_m is None for found in body_swings(motion, cut))


def test_a_lever_arm_that_is_far_off_leaves_no_number():
    motion, _ = lifted(swung(0.02))
    wrong = replace(motion, mounting=replace(motion.mounting, lever_arm_m=np.array([0.0, 0.0, -0.3])))
    assert all(reason.startswith(swing.ADRIFT) for reason in reasons(wrong))


def test_slow_reps_are_too_long_from_rest_to_rest():
    curve = raises((85.0,), up_s=7.0, hold_s=0.5, down_s=7.0)
    motion = motion_of(curve)
    found = swings_of_set(motion, np.zeros((len(motion.time_s), 3)), instants(motion))
    assert [each.reason for each in found] == [swing.LONG]


def test_an_error_as_large_as_the_swing_is_no_number():
    motion, _ = lifted(swung(0.0))
    noise = np.random.default_rng(3).normal(size=(len(motion.time_s), 3)).cumsum(axis=0) * 0.03
    found = swings_of_set(motion, noise - noise.mean(axis=0), instants(motion))
    assert all(each.reason is not None or each.se_m > 0.004 for each in found)
    assert any(each.reason is not None for each in found)


def test_golden_translating_shoulder():
    """A shoulder that goes 5 cm up and 5 cm forward and back within a minimum-jerk raise.

    The wrist's accelerometer then reads ``f = Rᵀ(a_shoulder − g) + α×r + ω×(ω×r)`` (rigid-body mechanics). The
    path's diameter is √2·5 cm.
    """

    def path(t, begins, elevation):
        away = sum(there_and_back(t, b, UP_S / 2, 0.0, UP_S / 2) for b in begins)
        return 0.05 * np.outer(away, [1.0, 0.0, 1.0])

    motion, _ = lifted(path)
    for found in body_swings(motion, instants(motion)):
        assert found.travel_m == pytest.approx(0.05 * math.sqrt(2), rel=0.04)
