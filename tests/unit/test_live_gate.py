"""How sure a start velocity is the moment it is told."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from armarc.api import process
from armarc.exercises import Band
from armarc.live.told import is_provisional, speed_of
from armarc.live.tracker import Gate
from live_runs import recording, run, sets_in

GATE = (math.radians(10), math.radians(20))


def stretch(
    *,
    tilt_rad: float = 0.0,
    axis_rad: float = 0.0,
    period_s: float = 0.01,
    provisional: bool = False,
    gate_from: str = "bottom",
) -> Any:
    return SimpleNamespace(
        exercise=SimpleNamespace(
            gate_rad=GATE, gate_from=gate_from, band=Band(math.radians(45), math.radians(70))
        ),
        mounting=SimpleNamespace(uncertainty_rad=axis_rad),
        fusion=SimpleNamespace(tilt_se_rad=tilt_rad),
        period_s=period_s,
        is_provisional=provisional,
    )


def passage(acceleration_rad_s2: float, lift_rad: float = 0.0) -> Gate:
    """The gate of an arm that leaves its bottom with an even acceleration; the gate stands `lift_rad` too high."""
    times = [math.sqrt(2 * (edge + lift_rad) / acceleration_rad_s2) for edge in GATE]
    return Gate(times[0], times[1], 0, acceleration_rad_s2 * times[0], acceleration_rad_s2 * times[1])


@pytest.mark.parametrize("acceleration", [1.0, 5.0, 20.0])
def test_a_bottom_that_is_off_moves_the_start_velocity_by_its_standard_error(acceleration):
    off = math.radians(0.2)
    speed, se = speed_of(passage(acceleration), stretch(tilt_rad=off))
    moved, _ = speed_of(passage(acceleration, off), stretch())
    assert speed == pytest.approx(
        (GATE[1] - GATE[0]) / (passage(acceleration).far_s - passage(acceleration).near_s)
    )
    assert se == pytest.approx(abs(moved - speed), rel=0.05)


def test_few_samples_in_the_gate_make_it_less_sure():
    errors = [speed_of(passage(10.0), stretch(period_s=1 / hz))[1] for hz in (200, 50, 25)]
    assert errors == sorted(errors)
    assert errors[2] > 30 * errors[0]


def test_an_even_speed_does_not_depend_on_the_bottom():
    gate = Gate(0.0, (GATE[1] - GATE[0]) / 1.0, 0, 1.0, 1.0)
    assert speed_of(gate, stretch(tilt_rad=0.1, axis_rad=0.1)) == pytest.approx((1.0, 0.0))


def test_a_gate_from_the_vertical_stands_on_nothing_that_errs_alike():
    errors = [
        speed_of(passage(10.0), stretch(axis_rad=0.05, gate_from=what))[1] for what in ("bottom", "vertical")
    ]
    assert errors[1] == pytest.approx(2 * errors[0], rel=0.01)


@pytest.mark.parametrize("bottom_deg", [3.0, 12.0, 24.0])
def test_the_gate_may_count_from_the_vertical(bottom_deg):
    """Offline is the judge: told within the same gate it measures in; a bottom above the gate's edge has none."""
    made, _ = recording(8, sets=1, reps=5, bottom_rad=math.radians(bottom_deg))
    gate = {"gate_rad": (math.radians(20), math.radians(30)), "gate_from": "vertical"}
    (ended,) = sets_in(run(made, **gate))
    measured = process(made, **gate).sets[0].reps
    assert len(ended.reps) == len(measured) == 5
    for live, whole in list(zip(ended.reps, measured, strict=True))[1:]:
        if whole.start_velocity_rad_s is None:
            assert live.told_velocity_rad_s is None
            assert bottom_deg > 20
        else:
            assert bottom_deg < 20
            assert live.told_velocity_rad_s == pytest.approx(
                whole.start_velocity_rad_s, abs=math.radians(1.5)
            )


def test_a_verdict_within_one_standard_error_of_an_edge_may_turn():
    se = math.radians(3)
    assert is_provisional(stretch(), math.radians(68), se)
    assert is_provisional(stretch(), math.radians(47), se)
    assert not is_provisional(stretch(), math.radians(60), se)
    assert not is_provisional(stretch(), math.radians(68), None)
    assert is_provisional(stretch(provisional=True), math.radians(60), se)
