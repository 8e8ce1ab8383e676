"""A plane that is not the exercise's is doubted, whoever is wrong: the exercise's name or where the thumb pointed."""

import math
from dataclasses import replace

import pytest

from armarc.api import process
from armarc.exercises import find_exercise
from armarc.reps.planes import doubt_planes
from armarc.simulate import draw_options, plan_session, simulate_session


@pytest.fixture(scope="module")
def measured():
    recording, _ = simulate_session(plan_session(draw_options("rigid", 100), 100), 100)
    session = process(recording)
    assert session.choices.exercise.plane_rad == 0.0
    return session


def turned(session, plane_deg):
    one = session.sets[0]
    return replace(one, reps=tuple(replace(rep, plane_rad=math.radians(plane_deg)) for rep in one.reps))


@pytest.mark.parametrize(
    ("plane_deg", "is_doubted"), [(0, False), (40, False), (-44, False), (50, True), (-175, True)]
)
def test_more_than_45_degrees_off_its_exercise(measured, plane_deg, is_doubted):
    sets, notes = doubt_planes([turned(measured, plane_deg)], measured.choices.exercise)
    usual, now = measured.sets[0].reps[0].plane_se_rad, sets[0].reps[0].plane_se_rad
    assert bool(notes) is (abs(plane_deg) > 45)
    if notes:
        assert f"set 1 reads {plane_deg}°" in notes[0]
        assert now == pytest.approx(
            math.hypot(usual, math.radians(min(abs(plane_deg), 360 - abs(plane_deg))))
        )
    else:
        assert now == usual


def test_without_a_plane_nothing_is_doubted(measured):
    unknown = replace(measured.choices.exercise, plane_rad=None)
    assert doubt_planes([turned(measured, 120)], unknown) == ([turned(measured, 120)], [])
    bare = replace(measured.sets[0], reps=tuple(replace(r, plane_rad=None) for r in measured.sets[0].reps))
    assert doubt_planes([bare], measured.choices.exercise) == ([bare], [])


def test_a_front_raise_logged_as_a_lateral_raise_is_asked_about():
    options = draw_options("rigid", 101)
    assert options.pattern.key == "front-raise"
    recording, _ = simulate_session(plan_session(options, 101), 101)
    said = process(recording, exercise=find_exercise("lateral-raise")).warnings
    assert any("it is another exercise, or the thumb did not point forward" in each for each in said)
    assert not any("another exercise" in each for each in process(recording).warnings)


def test_weights_before_the_thighs_do_not_pass_for_a_plane():
    """Claimed to 10° and off by 70 until it was asked whether the plane can be the exercise's."""
    recording, truth = simulate_session(plan_session(draw_options("resting-in-front", 103), 103), 103)
    session = process(recording)
    assert any("a weight before the thighs turns it inward" in each for each in session.warnings)
    for rep, true in zip(session.sets[0].reps, truth.sets[0].reps, strict=True):
        assert abs(rep.plane_rad - true.plane_rad) < 2 * rep.plane_se_rad
