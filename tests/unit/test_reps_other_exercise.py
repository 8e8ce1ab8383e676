"""A movement that raises no arm is not taken for a raise without a word; a raise is, however the hand turns."""

import math
from dataclasses import replace

import pytest

from armarc.api import process
from armarc.exercises import find_exercise
from armarc.reps.other_exercise import RAISED_SHARE, doubt_exercise
from armarc.simulate import draw_options, plan_session, simulate_session


@pytest.fixture(scope="module")
def measured():
    recording, _ = simulate_session(plan_session(draw_options("rigid", 100), 100), 100)
    return process(recording, exercise="lateral-raise")


def doubts(session, share=1.0, exercise=None):
    """What is said when the arm rose by a share of what it did, with the sensor turning as it was."""
    motion = session.motions[0]
    motion = replace(motion, elevation_rad=motion.elevation_rad * share)
    said = doubt_exercise(session.sets, motion, exercise or session.choices.exercise)
    return [doubt.words for doubt in said]


def test_a_raise_is_none_other(measured):
    assert doubts(measured) == []
    assert not any("does not look like" in each for each in measured.warnings)


def test_half_of_the_turning_decides(measured):
    rep = measured.sets[0].reps[0]
    exercise = replace(measured.choices.exercise, smallest_rom_rad=0.0)
    assert doubts(measured, RAISED_SHARE + 0.1, exercise) == []
    (said,) = doubts(measured, RAISED_SHARE - 0.1, exercise)
    assert said.startswith("set 1 does not look like lateral-raise: the sensor turned by ")
    rose = math.degrees(rep.rom_rad) * (RAISED_SHARE - 0.1)
    told = float(said.split("rose by ")[1].split("°")[0])
    assert told == pytest.approx(rose, rel=0.2)


def test_a_set_smaller_than_its_exercise_begins_is_asked_about(measured):
    rises = sorted(math.degrees(rep.rom_rad) for rep in measured.sets[0].reps)
    middle = rises[len(rises) // 2]
    smaller, larger = (
        replace(measured.choices.exercise, smallest_rom_rad=math.radians(middle + off)) for off in (-15, 15)
    )
    assert doubts(measured, exercise=smaller) == []
    (said,) = doubts(measured, exercise=larger)
    assert f"begins at {middle + 15:.0f}°: partial reps, or another exercise" in said


def test_an_exercise_that_raises_no_arm_is_not_asked_about(measured):
    motion = replace(measured.motions[0], coordinate="movement")
    assert doubt_exercise(measured.sets, motion, find_exercise("unknown")) == []
