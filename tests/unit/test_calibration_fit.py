"""Calibrations of sensors whose faults are known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.errors import InputError, UsageError
from armarc.recording import Metadata, Recording
from armarc.sensor.calibration import CalibrationRun, calibrate, rests_and_moves
from armarc.sensor.calibration.poses import running_rotation, total_rotation
from invented_bench import GUIDED, SIDEWAYS, SIX_SIDES, SKEW, Faults, handled, still

FAULTS = Faults(
    force_offset_m_s2=np.array([0.2, -0.3, 0.15]),
    force_matrix=np.array([[1.012, 0.004, -0.003], [0.004, 0.982, 0.002], [-0.003, 0.002, 1.006]]),
    bias_rad_s=np.radians([1.2, -0.7, 0.4]),
    rate_matrix=np.array([[1.011, 0.004, -0.003], [0.002, 0.986, 0.005], [-0.004, 0.001, 1.008]]),
)
ALL = SIX_SIDES + SIDEWAYS + SKEW


def run(*recordings: Recording, turn_deg: float | None = None, **more: object) -> CalibrationRun:
    turn = None if turn_deg is None else math.radians(turn_deg)
    return calibrate(recordings, sensor="bench", made_at="2026-01-02T03:04:05+0000", turn_rad=turn, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def tumbled() -> Recording:
    return handled(ALL, faults=FAULTS)


@pytest.fixture(scope="module")
def found(tumbled: Recording) -> CalibrationRun:
    return run(tumbled)


def test_every_rest_is_found(tumbled: Recording) -> None:
    rests, moves = rests_and_moves(tumbled)
    assert len(rests) == len(ALL) + 1
    assert len(moves) == len(ALL)


def test_accelerometer(found: CalibrationRun) -> None:
    one = found.calibration.accelerometer
    assert one is not None
    assert one.offset_m_s2 == pytest.approx(FAULTS.force_offset_m_s2, abs=0.01)
    assert np.diag(one.matrix) == pytest.approx(np.diag(FAULTS.force_matrix), abs=1e-3)
    assert one.matrix == pytest.approx(FAULTS.force_matrix, abs=2.5e-3)
    assert one.spread_after_m_s2 < 0.05 * one.spread_before_m_s2
    assert float(one.offset_se_m_s2.max()) < 0.01


def test_gyroscope(found: CalibrationRun) -> None:
    one = found.calibration.gyroscope
    assert one is not None
    assert one.matrix == pytest.approx(FAULTS.rate_matrix, abs=2e-3)
    assert np.diag(one.matrix) == pytest.approx(np.diag(FAULTS.rate_matrix), abs=1e-3)
    assert one.bias_rad_s == pytest.approx(FAULTS.bias_rad_s, abs=math.radians(0.02))
    assert one.turned_axes == ("x", "y", "z")
    assert math.degrees(one.error_before_rad) > 0.5
    assert one.error_after_rad < 0.1 * one.error_before_rad
    assert float(one.scale_se.max()) < 0.002


def test_the_scale_lies_within_its_error_when_turns_are_as_rough_as_assumed() -> None:
    """Each turn ends wherever a hand leaves it; what counts is the gyroscope's own unsteadiness between rests."""
    off = []
    rng = np.random.default_rng(5)
    for seed in range(8):
        made = handled(SIX_SIDES + SIDEWAYS, faults=FAULTS, seed=seed, rate_hz=50)
        omega = made.angular_velocity_rad_s.copy()
        for move in rests_and_moves(made)[1]:
            inside = slice(round(move.before.end_s * 50) + 1, round(move.after.start_s * 50))
            extra = rng.normal(0, math.radians(0.15), 3)
            omega[inside] += extra / ((inside.stop - inside.start) / 50)
        one = run(replace(made, angular_velocity_rad_s=omega)).calibration.gyroscope
        assert one is not None
        off += [*((np.diag(one.matrix) - np.diag(FAULTS.rate_matrix)) / one.scale_se)]
    assert 0.5 < float(np.sqrt(np.mean(np.square(off)))) < 1.5


def test_flat_turns_need_their_angle() -> None:
    flat = handled([([0, 0, 1], 360), ([0, 0, 1], 360), ([0, 0, 1], -360), ([0, 0, 1], 720)], faults=FAULTS)
    with pytest.raises(InputError, match="--turn"):
        run(flat)
    one = run(flat, turn_deg=360).calibration.gyroscope
    assert one is not None
    assert one.turned_axes == ("z",)
    assert one.matrix[2, 2] == pytest.approx(FAULTS.rate_matrix[2, 2], abs=3 * float(one.scale_se[2]))
    # As loosely trimmed as the axis that was turned: three times its fault, within reason.
    assert one.scale_se[:2] == pytest.approx(0.03 / math.sqrt(3))
    assert one.scale_se[2] < 0.003


def test_a_wrong_stated_angle_is_refused() -> None:
    flat = handled([([0, 0, 1], 90)] * 4, faults=FAULTS)
    with pytest.raises(InputError, match=r"no multiple of the stated 360°"):
        run(flat, turn_deg=360)


def test_a_half_that_cannot_be_had_is_refused_and_taken_from_before(found: CalibrationRun) -> None:
    four = handled([([1, 0, 0], 90)] * 4 + [([1, 0, 0], -90)] * 4, faults=FAULTS)
    half = run(four, known=found.calibration)
    assert "4 different poses" in half.refused["accelerometer"]
    again = half.calibration
    assert again.accelerometer is found.calibration.accelerometer
    assert again.gyroscope is not None
    assert found.calibration.gyroscope is not None
    assert again.gyroscope.matrix[1] == pytest.approx(found.calibration.gyroscope.matrix[1])
    assert again.gyroscope.matrix[0, 0] == pytest.approx(FAULTS.rate_matrix[0, 0], abs=2e-3)
    assert set(again.gyroscope.turned_axes) == {"x", "y", "z"}


def test_an_accelerometer_nobody_calibrated_misleads_too_much() -> None:
    with pytest.raises(InputError, match="too rough"):
        run(handled([([1, 0, 0], 90)] * 4 + [([1, 0, 0], -90)] * 4, faults=FAULTS))


def test_moving_throughout_is_refused() -> None:
    shaken = still(30.0)
    rng = np.random.default_rng(0)
    shaken = replace(
        shaken, angular_velocity_rad_s=shaken.angular_velocity_rad_s + rng.normal(0, 1, (3000, 3))
    )
    with pytest.raises(InputError, match="moving throughout"):
        run(shaken)


LEANING = [
    ([1, 0, 0], 25),
    ([0, 1, 0], 25),
    ([1, 0, 0], -50),
    ([0, 1, 0], -50),
    ([1, 0, 0], 50),
    ([0, 1, 0], 25),
]
ONE_EDGE = [([1, 0, 0], 45)] * 7


@pytest.mark.parametrize(("turns", "axis"), [(LEANING, "z"), (ONE_EDGE, "x")])
def test_poses_too_alike_are_refused(turns: list[tuple[list[int], float]], axis: str) -> None:
    with pytest.raises(InputError, match=f"too alike: the offset of axis {axis}"):
        run(handled(turns))


def test_rough_turns_are_refused() -> None:
    made = handled(SIX_SIDES + SIDEWAYS, seed=1)
    omega = made.angular_velocity_rad_s.copy()
    rng = np.random.default_rng(2)
    for move in rests_and_moves(made)[1]:
        inside = slice(round(move.before.end_s * 100) + 1, round(move.after.start_s * 100))
        omega[inside] += rng.normal(0, math.radians(4.0), 3) / ((inside.stop - inside.start) / 100)
    said = run(replace(made, angular_velocity_rad_s=omega)).refused["gyroscope"]
    assert "too rough" in said


def test_small_turns_are_refused() -> None:
    with pytest.raises(InputError, match="too small to tell"):
        run(handled([([1, 0, 0], 25), ([1, 0, 0], -25)] * 3))


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_mirrored_axis_is_told(tumbled: Recording, axis: int) -> None:
    omega = tumbled.angular_velocity_rad_s.copy()
    omega[:, axis] *= -1
    with pytest.raises(InputError, match=f"wrong way round about {'xyz'[axis]}"):
        run(replace(tumbled, angular_velocity_rad_s=omega))


def test_swapped_axes_are_told(tumbled: Recording) -> None:
    with pytest.raises(InputError, match=r"disagree|wrong way round"):
        run(replace(tumbled, angular_velocity_rad_s=tumbled.angular_velocity_rad_s[:, [1, 0, 2]]))


def test_implausible_scales_are_refused(tumbled: Recording) -> None:
    loud = run(replace(tumbled, angular_velocity_rad_s=1.15 * tumbled.angular_velocity_rad_s))
    assert "gyroscope" in loud.refused
    with pytest.raises(InputError, match=r"gravity reads 1\.1\d times"):
        run(replace(tumbled, specific_force_m_s2=1.12 * tumbled.specific_force_m_s2))


def test_a_pose_held_by_a_hand_is_left_out() -> None:
    made = handled(ALL, faults=FAULTS)
    rests, _ = rests_and_moves(made)
    force = made.specific_force_m_s2.copy()
    inside = slice(round(rests[3].start_s * 100), round(rests[3].end_s * 100) + 1)
    force[inside] *= 1.04
    found = run(replace(made, specific_force_m_s2=force))
    one = found.calibration.accelerometer
    assert one is not None
    assert one.rests == len(rests) - 1
    assert any("held by a hand" in note for note in found.notes)
    assert one.offset_m_s2 == pytest.approx(FAULTS.force_offset_m_s2, abs=0.015)


def test_recordings_of_two_sensors_are_refused(tumbled: Recording) -> None:
    one = replace(tumbled, metadata=Metadata(sensor="bench", other={"sensor_serial": "A1"}))
    other = replace(tumbled, metadata=Metadata(sensor="bench", other={"sensor_serial": "B2"}))
    with pytest.raises(InputError, match="2 sensors"):
        run(one, other)
    assert run(one, tumbled).calibration.serial == "A1"


def test_absurd_options_are_refused(tumbled: Recording) -> None:
    with pytest.raises(UsageError, match="Earth"):
        run(tumbled, gravity_m_s2=1.0)
    with pytest.raises(UsageError, match="turn"):
        run(tumbled, turn_deg=5)
    with pytest.raises(UsageError, match="no recording"):
        run()


@pytest.mark.parametrize("n", [1, 2, 7, 64, 100])
def test_products_of_rotations(n: int) -> None:
    steps = np.random.default_rng(n).normal(0, 0.2, (n, 3))
    slow = Rotation.identity()
    for step in steps:
        slow = slow * Rotation.from_rotvec(step)
    for fast in (total_rotation(steps), running_rotation(steps)[-1]):
        assert (Rotation.from_quat(fast, scalar_first=True).inv() * slow).magnitude() < 1e-12


def cheap(seed: int) -> Faults:
    """Scales within ±3 %, a zero-g offset within 40 mg, 1 % across: consumer parts at their widest."""
    rng = np.random.default_rng(seed)
    square, across = rng.uniform(-0.005, 0.005, (3, 3)), rng.uniform(-0.01, 0.01, (3, 3))
    away = ~np.eye(3, dtype=bool)
    return Faults(
        force_offset_m_s2=rng.uniform(-0.04, 0.04, 3) * 9.80665,
        force_matrix=np.diag(1 + rng.uniform(-0.03, 0.03, 3)) + (square + square.T) / 2 * away,
        bias_rad_s=np.radians(rng.uniform(-3, 3, 3)),
        rate_matrix=np.diag(1 + rng.uniform(-0.03, 0.03, 3)) + across * away,
    )


def by_a_hand(made: Recording, seed: int, turn_deg: float, rest_m_s2: float) -> Recording:
    """Turns and poses that fit less well than a perfect table and a perfect part."""
    rng = np.random.default_rng(seed)
    omega, force = made.angular_velocity_rad_s.copy(), made.specific_force_m_s2.copy()
    rests, moves = rests_and_moves(made)
    for move in moves:
        inside = slice(round(move.before.end_s * 100) + 1, round(move.after.start_s * 100))
        omega[inside] += rng.normal(0, math.radians(turn_deg), 3) / ((inside.stop - inside.start) / 100)
    for rest in rests:
        force[round(rest.start_s * 100) : round(rest.end_s * 100) + 1] += rng.normal(0, rest_m_s2, 3)
    return replace(made, angular_velocity_rad_s=omega, specific_force_m_s2=force)


@pytest.mark.parametrize(
    ("sensors", "turn_deg", "rest_m_s2", "widest"), [(10, 0.0, 0.0, 3.5), (24, 0.15, 0.005, 1.6)]
)
def test_cheap_sensors_through_the_guide(
    sensors: int, turn_deg: float, rest_m_s2: float, widest: float
) -> None:
    """Every scale within two stated errors in 95 of 100, and the errors no wider than they need be."""
    off = []
    for seed in range(sensors):
        faults = cheap(seed)
        made = by_a_hand(handled(GUIDED, faults=faults, seed=seed), seed, turn_deg, rest_m_s2)
        found = run(made)
        assert found.refused == {}
        force, rate = found.calibration.accelerometer, found.calibration.gyroscope
        assert force is not None
        assert rate is not None
        assert rate.turned_axes == ("x", "y", "z")
        off += [*(np.diag(force.matrix - faults.force_matrix) / force.scale_se)]
        off += [*(np.diag(rate.matrix - faults.rate_matrix) / rate.scale_se)]
    assert len(off) == 6 * sensors
    assert np.mean(np.abs(off) <= 2) >= 0.95
    rms = float(np.sqrt(np.mean(np.square(off))))
    assert 1 / widest < rms < 1.25


def test_an_axis_nobody_turned_is_as_uncertain_as_the_others_were_off() -> None:
    off = []
    for seed in range(12):
        faults = cheap(seed)
        found = run(handled(SIX_SIDES, faults=faults, seed=seed))
        rate = found.calibration.gyroscope
        assert rate is not None
        if rate.turned_axes == ("x", "y"):
            assert any("axis z was not turned" in note for note in found.notes)
            off.append(float((rate.matrix[2, 2] - faults.rate_matrix[2, 2]) / rate.scale_se[2]))
    assert len(off) >= 8
    assert np.mean(np.abs(off) <= 2) >= 0.9


def test_rests_too_short_are_told() -> None:
    with pytest.raises(InputError, match="the rests are too short"):
        run(handled(GUIDED, rest_s=0.6))


def test_a_half_that_was_meant_and_failed_is_named() -> None:
    five = handled([*SIX_SIDES[:4], ([0, 1, 0], 90), ([0, 1, 0], -90)] * 2)
    found = run(five, known=run(handled(GUIDED)).calibration)
    assert found.failed == ("accelerometer",)
    assert "5 different poses" in found.refused["accelerometer"]
    flat = run(handled([([0, 0, 1], 360)] * 3), turn_deg=360)
    assert set(flat.refused) == {"accelerometer"}
    assert flat.failed == ()


def test_a_sensor_that_warms_up_is_told() -> None:
    made = handled(GUIDED)
    drifting = made.angular_velocity_rad_s + np.radians(0.35) * made.time_s[:, None] / made.time_s[-1]
    notes = run(replace(made, angular_velocity_rad_s=drifting)).notes
    assert any("zero drifted by 0.3" in note and "warm the sensor up first" in note for note in notes)
    warm = np.linspace(24.0, 29.0, len(made.time_s))
    assert any("moved by 5.0 K" in note for note in run(replace(made, temperature_c=warm)).notes)
    told = Metadata(
        sensor="bench", other={"sensor_temperature_c": 22.0, "events": [{"sensor_temperature_c": 26.5}]}
    )
    found = run(replace(made, metadata=told))
    assert any("moved by 4.5 K" in note for note in found.notes)
    assert found.calibration.temperature_c == pytest.approx(24.25)
    assert not any("warm" in note for note in run(made).notes)


@pytest.mark.parametrize(
    ("force", "rate", "said"),
    [
        (1.0, 1 / 1.14688, "35 mdps in a count"),
        (1.0, 0.5, "the range is twice what was assumed"),
        (2.0, 1.0, "the range is half what was assumed"),
    ],
)
def test_a_scale_off_by_a_known_factor_is_recognised(force: float, rate: float, said: str) -> None:
    made = handled(GUIDED, faults=cheap(1))
    made = replace(
        made,
        specific_force_m_s2=force * made.specific_force_m_s2,
        angular_velocity_rad_s=rate * made.angular_velocity_rad_s,
    )
    try:
        heard = " ".join(run(made).refused.values())
    except InputError as error:
        heard = f"{error.message} {error.hint}"
    assert said in heard
