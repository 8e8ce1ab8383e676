"""What a check makes of a recording."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from armarc.errors import InputError
from armarc.recording import Gap, Recording, Source
from armarc.sensor.bench.check import check_sensor
from armarc.sensor.bench.verdict import check_record
from invented_bench import SIX_SIDES, Faults, handled, still


def joined(*parts: Recording) -> Recording:
    """One after the other, on one clock."""
    rate = parts[0].rate_hz
    force = np.concatenate([part.specific_force_m_s2 for part in parts])
    return replace(
        parts[0],
        time_s=np.arange(len(force)) / rate,
        specific_force_m_s2=force,
        angular_velocity_rad_s=np.concatenate([part.angular_velocity_rad_s for part in parts]),
        clipped=None,
    )


def test_bias_and_gravity_are_found() -> None:
    bias = np.radians([0.5, -2.0, 0.1])
    check = check_sensor(still(60.0, faults=Faults(bias_rad_s=bias)))
    assert check.still is not None
    for axis, truth in zip(check.still.gyroscope, bias, strict=True):
        assert axis.mean == pytest.approx(truth, abs=4 * axis.mean_se)
    assert check.still.gravity_m_s2 == pytest.approx(9.80665, abs=0.002)
    assert any("bias high (2 °/s" in sentence for sentence in check.findings)


def test_the_still_part_is_found_by_itself() -> None:
    moving = handled(SIX_SIDES)
    check = check_sensor(joined(moving, still(30.0, seed=4), moving))
    assert check.still is not None
    assert check.still.duration_s > 29
    assert check.still.start_s == pytest.approx(moving.duration_s, abs=2.5)


def test_a_short_record_admits_what_it_cannot_tell() -> None:
    ten = check_sensor(still(10.0))
    assert any("nothing about drift" in sentence for sentence in ten.findings)
    two_minutes = check_sensor(still(120.0))
    assert any("upper bound" in sentence for sentence in two_minutes.findings)
    assert two_minutes.still is not None
    assert not any(axis.terms and axis.terms.floor_seen for axis in two_minutes.still.gyroscope)


def test_no_still_stretch_is_said() -> None:
    moving = handled([([1, 0, 0], 360)] * 6, rest_s=0.5)
    check = check_sensor(moving)
    assert check.still is None
    assert "moving throughout" in check.findings[0]
    assert check.start_velocity_se_rad_s is None
    assert check.stream.rate_hz == pytest.approx(100)


def test_a_worn_sensor_is_told_from_a_still_one() -> None:
    rng = np.random.default_rng(1)
    lying = still(30.0)
    n = len(lying.time_s)
    tremor = math.radians(1.5) * np.sin(2 * math.pi * 9 * lying.time_s + rng.uniform(0, 6))
    worn = replace(
        lying, angular_velocity_rad_s=lying.angular_velocity_rad_s + tremor[:, None] * np.ones((n, 3))
    )
    check = check_sensor(worn)
    assert check.still is None
    assert "worn or held" in check.not_still
    sway = math.radians(0.3) * np.sin(2 * math.pi * 0.5 * lying.time_s)
    swaying = replace(
        lying, angular_velocity_rad_s=lying.angular_velocity_rad_s + sway[:, None] * np.ones((n, 3))
    )
    check = check_sensor(swaying)
    assert check.still is not None
    assert not check.still.is_quite_still
    assert check.start_velocity_se_rad_s is None


def test_too_short_is_said() -> None:
    assert "too short" in check_sensor(still(1.5)).not_still


def test_nothing_in_a_row_is_an_error() -> None:
    with pytest.raises(InputError, match="second of samples"):
        check_sensor(still(0.5))


def test_losses_are_counted() -> None:
    whole = still(60.0)
    keep = np.ones(len(whole.time_s), bool)
    keep[1000:1003] = keep[2000:2050] = False
    lossy = replace(
        whole,
        time_s=whole.time_s[keep],
        specific_force_m_s2=whole.specific_force_m_s2[keep],
        angular_velocity_rad_s=whole.angular_velocity_rad_s[keep],
        clipped=None,
        gaps=(Gap(start_s=19.99, end_s=20.5, missing_samples=50),),
    )
    check = check_sensor(lossy)
    assert check.stream.missing_samples == 53
    assert check.stream.longest_gap_s == pytest.approx(0.51)
    assert any("missing" in sentence for sentence in check.findings)
    assert check.still is not None
    assert check.still.duration_s > 59


def test_arrival_times_are_told() -> None:
    check = check_sensor(replace(still(10.0), source=Source(jitter_s=0.006)))
    assert any("arrival times" in sentence for sentence in check.findings)


def test_warming_up_is_parted_from_noise() -> None:
    lying = still(900.0)
    warm = 24 + 6 * (1 - np.exp(-lying.time_s / 200))
    slope = math.radians(0.03)
    omega = lying.angular_velocity_rad_s.copy()
    omega[:, 1] += slope * (warm - 24)
    check = check_sensor(replace(lying, angular_velocity_rad_s=omega, temperature_c=warm))
    assert check.still is not None
    x, y, _ = check.still.gyroscope
    assert y.per_kelvin == pytest.approx(slope, rel=0.05)
    assert x.per_kelvin is not None
    assert x.per_kelvin_se is not None
    assert abs(x.per_kelvin) < 4 * x.per_kelvin_se
    assert any("30 mdps/K" in sentence for sentence in check.findings)


def test_steps_coarser_than_noise_and_dead_axes_are_told() -> None:
    lying = still(30.0)
    omega = lying.angular_velocity_rad_s.copy()
    step = math.radians(0.25)
    omega[:, 0] = 0.0
    omega[:, 1:] = np.round(omega[:, 1:] / step + 0.5) * step
    checked = check_sensor(replace(lying, angular_velocity_rad_s=omega))
    found = checked.findings
    assert checked.start_velocity_se_rad_s is None
    assert not any("good for" in sentence for sentence in found)
    assert any("axis x gave one value" in sentence for sentence in found)
    assert any("coarser" in sentence for sentence in found)


def test_scale_decides_how_good_the_start_velocity_is() -> None:
    lying = still(60.0)
    free, bound = check_sensor(lying), check_sensor(lying, scale_se=0.001)
    assert free.start_velocity_se_rad_s is not None
    assert bound.start_velocity_se_rad_s is not None
    # As a measurement guesses it from 7 mdps/√Hz: ±0.77 % over √3 of 60 °/s.
    assert math.degrees(free.start_velocity_se_rad_s) == pytest.approx(0.27, abs=0.02)
    assert bound.start_velocity_se_rad_s < 0.4 * free.start_velocity_se_rad_s
    assert bound.start_velocity_span_rad_s is None
    assert free.start_velocity_span_rad_s is not None
    # ±0.5 and ±3 % over √3.
    assert np.degrees(free.start_velocity_span_rad_s) == pytest.approx([0.17, 1.04], abs=0.03)
    assert any("between ±0.17 and ±1 °/s" in sentence for sentence in free.findings)


@pytest.mark.parametrize("duration_s", [1.5, 5.0, 60.0])
def test_the_record_is_plain_json(duration_s: float) -> None:
    record = check_record(check_sensor(still(duration_s)))
    text = json.dumps(record, allow_nan=False)
    assert json.loads(text)["schema"] == "armarc.sensor_check/1"
