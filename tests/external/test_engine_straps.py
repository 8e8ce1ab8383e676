"""A loose strap of MuJoCo, a multibody engine (``mujoco-core``, Apache-2.0): its own angle and what is read of it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

pytest.importorskip("mujoco", reason="mujoco-core, the multibody engine, is not installed")

from engine_kinds import Outcome, draw, outcome

from grids import seldom

SEEDS = (441, 442, 443)
MOST_OFF = {"start_velocity_deg_s": 3.0, "rom_deg": 4.0}


@cache
def found(kind: str, seed: int) -> Outcome:
    case = draw(kind, seed)
    return outcome(replace(case, plan=replace(case.plan, reps=4)))


def said(one: Outcome) -> list[str]:
    return [text for text in one.record["warnings"] if text.startswith("the strap gives")]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_loose_strap_is_seen_to_lean_as_the_engines_does(seed):
    """The engine's own lean goes with gravity along the forearm: its slope is what it leans per g."""
    one = found("loose-strap", seed)
    rocked = one.lifted.strap_rad[:, 1]
    pull = one.lifted.forearm.inv().apply([0.0, 0.0, 1.0])[:, 2]
    leans_deg = abs(np.degrees(np.polyfit(pull, rocked, 1)[0]))
    assert 2.0 < leans_deg < 8.0
    [text] = said(one)
    read_deg = float(text.split("leans by ")[1].split("°")[0])
    assert read_deg == pytest.approx(leans_deg, rel=0.45)


@pytest.mark.parametrize("seed", [SEEDS[0], *seldom(*SEEDS[1:])])
def test_a_firm_strap_is_left_alone(seed):
    assert said(found("straight", seed)) == []


def test_ranges_and_starts_of_loose_straps_hold():
    for key, most in MOST_OFF.items():
        rows = [
            (rep[key] - true[key], rep[f"{key}_se"])
            for one in (found("loose-strap", seed) for seed in SEEDS)
            for rep, true in zip(one.reps, one.truth, strict=True)
        ]
        error, se = np.array(rows, dtype=float).T
        assert np.sqrt(np.mean(error**2)) < most, key
        assert np.mean(np.abs(error) < 2 * se) > 0.85, key
