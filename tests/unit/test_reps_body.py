"""What a set shows of an elbow that bends, a trunk that tips and a strap that wobbles, on simulated bodies."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from armarc import pipeline
from armarc.api import process
from armarc.motion import elevation, up_in_sensor
from armarc.reps.body import SetBody, set_bodies
from armarc.simulate import (
    Body,
    draw_options,
    draw_session,
    find_pattern,
    plan_session,
    rep_record,
    simulate_session,
)

SEEDS, FEW = range(6), range(4)


@cache
def measured(scenario, seed):
    recording, truth = simulate_session(draw_session(scenario, seed), seed)
    return process(recording), truth


def flags(scenario):
    """For a few seeds, the flags its sets carry."""
    return [
        {flag for one in measured(scenario, seed)[0].sets for rep in one.reps for flag in rep.quality}
        for seed in FEW
    ]


def test_a_rigid_arm_has_none_of_the_flags():
    for found in flags("rigid"):
        assert not found & {"bent_elbow", "trunk_moved", "loose_strap", "unsteady_sensor"}


@pytest.mark.parametrize(
    ("scenario", "flag"), [("bending-elbow", "bent_elbow"), ("tipping-trunk", "trunk_moved")]
)
def test_a_body_that_is_no_rigid_arm_is_seen_in_most_sets(scenario, flag):
    assert sum(flag in found for found in flags(scenario)) >= 3


def test_the_reader_is_told_once_in_plain_words():
    session, _ = measured("tipping-trunk", 0)
    assert sum("when the trunk tips" in warning for warning in session.warnings) == 1


def test_the_errors_of_a_bending_elbow_grow_with_it():
    seen, all_reps = [], 0
    for seed in SEEDS:
        session, truth = measured("bending-elbow", seed)
        found = [rep for one in session.to_dict()["sets"] for rep in one["reps"]]
        for mine, true in zip(found, map(rep_record, truth.reps), strict=True):
            all_reps += 1
            assert set(mine["quality"]) & {"bent_elbow", "loose_strap"}  # never without a word
            if "bent_elbow" in mine["quality"]:
                seen.append(abs(mine["rom_deg"] - true["rom_deg"]) / mine["rom_deg_se"])
    # Under a wobbling strap two of the six stay unseen.
    assert len(seen) > 0.6 * all_reps
    assert np.mean(np.array(seen) < 3) > 0.9


def test_a_bending_elbow_is_followed_where_it_is_seen():
    # The same sets with the arm line fixed in the sensor: their ranges are off by half as much again.
    off = {True: [], False: []}
    for seed in (0, 3, 4, 5, 6, 8):
        session, truth = measured("bending-elbow", seed)
        fixed = elevation(up_in_sensor(session.motions[0].quaternion), session.motions[0].mounting.arm_axis)
        for mine, true in zip(session.sets[0].reps, truth.reps, strict=True):
            straight = fixed[mine.top_sample] - fixed[mine.first_sample]
            off[True].append(mine.rom_rad - true.rom_rad)
            off[False].append(straight - true.rom_rad)
    followed, straight = (np.degrees(np.sqrt(np.mean(np.square(off[key])))) for key in (True, False))
    assert followed < 0.75 * straight


def test_a_rigid_arm_is_moved_by_no_more_than_it_is_unsure():
    off = []
    for seed in FEW:
        session, truth = measured("rigid", seed)
        motion = session.motions[0]
        fixed = elevation(up_in_sensor(motion.quaternion), motion.mounting.arm_axis)
        moved = np.abs(motion.elevation_rad - fixed).max()
        assert moved < min(rep.top_se_rad for rep in session.sets[0].reps)
        for mine, true in zip(session.sets[0].reps, truth.reps, strict=True):
            off += [mine.top_rad - true.top_rad, mine.rom_rad - true.rom_rad]
    assert np.degrees(np.sqrt(np.mean(np.square(off)))) < 0.7


def test_what_a_strap_turns_about_the_wrist_does_not_pull_at_the_vertical():
    # 1.5° at 7 Hz would come back, squared, as 0.2 m/s² towards the shoulder: more than a degree of tilt at the top.
    options = draw_options("rigid", 3)
    body = Body(wobble_rad=np.radians(1.5), wobble_hz=7.0)
    recording, truth = simulate_session(plan_session(replace(options, body=body), 3), 3)
    session = process(recording)
    up = up_in_sensor(session.motions[0].quaternion)
    at = [rep.top_sample for rep in session.sets[0].reps]
    true_up = up_in_sensor(truth.series.quaternion)
    true_at = np.searchsorted(truth.series.time_s, session.motions[0].time_s[at])
    assert np.degrees(np.arccos(np.clip((up[at] * true_up[true_at]).sum(axis=1), -1, 1))).max() < 0.5


def test_a_trunk_that_tips_as_the_arm_sets_off_does_not_turn_the_arm_line():
    # Where the arm is lowest the trunk is on its way already: that pose is no hanging arm's.
    body = Body(tip_rad=np.radians(12), tip_s=0.5, tip_lead_s=0.3)
    off = []
    for seed in range(1, 5):
        options = replace(
            draw_options("rigid", seed), body=body, pattern=find_pattern("lateral-raise"), pause_s=0.5
        )
        recording, truth = simulate_session(plan_session(options, seed), seed)
        mounting = process(recording).motions[0].mounting
        assert mounting.method == "lever_arm"
        off.append(np.degrees(np.arccos(mounting.arm_axis @ truth.arm_axis)))
    assert max(off) < 3


BENDING_IN_THE_PLANE = Body(elbow_bottom_rad=np.radians(8), elbow_top_rad=np.radians(28), girdle_rise_m=0.03)


@cache
def front_raise(body, seed):
    options = replace(draw_options("rigid", seed), body=body, pattern=find_pattern("front-raise"))
    # A strap that wobbles takes away the fast half of what shows the bend.
    options = replace(options, body=replace(body, wobble_rad=np.radians(1.0)))
    recording, truth = simulate_session(plan_session(options, seed), seed)
    # Where the strap's place is stated the elbow shows without a measured reach, too.
    return options.side, replace(recording, metadata=replace(recording.metadata, strap=None)), truth


def start_errors(body, seed, reach_cm=None):
    """Mean error of the starts of a front raise, as a share, and their standard error, as a share."""
    side, recording, truth = front_raise(body, seed)
    session = process(recording, exercise="front-raise", side=side, reach_cm=reach_cm)
    reps = [rep for one in session.to_dict()["sets"] for rep in one["reps"]]
    pairs = [
        (
            mine["start_velocity_deg_s"],
            mine["start_velocity_deg_s_se"],
            rep_record(true)["start_velocity_deg_s"],
        )
        for mine, true in zip(reps, truth.reps, strict=True)
    ]
    return np.mean([a / b - 1 for a, _, b in pairs]), np.mean([se / b for _, se, b in pairs])


def test_an_elbow_that_bends_in_the_plane_of_the_raise_is_followed_with_a_measured_reach_or_without(
    monkeypatch,
):
    measured_cm = [100 * draw_options("rigid", seed).mount.reach_m for seed in FEW]

    def off(reaches_cm):
        errors = [
            start_errors(BENDING_IN_THE_PLANE, seed, cm)[0] for seed, cm in zip(FEW, reaches_cm, strict=True)
        ]
        return np.sqrt(np.mean(np.square(errors)))

    with_reach, without = off(measured_cm), off([None] * len(FEW))
    monkeypatch.setattr(pipeline, "forearms_of", lambda *_: ())
    assert max(with_reach, without) < off([None] * len(FEW))


def test_a_measured_reach_leaves_a_straight_arm_as_it_is():
    straight = Body(girdle_rise_m=0.03)
    for seed in FEW[:3]:
        cm = 100 * draw_options("rigid", seed).mount.reach_m
        alone, with_reach = start_errors(straight, seed)[0], start_errors(straight, seed, cm)[0]
        assert with_reach == pytest.approx(alone, abs=0.01)


def test_an_arm_that_seems_short_is_less_sure():
    usual, short = (SetBody(swept_rad=1.4, short_share=share) for share in (0.0, 0.05))
    assert usual.doubt_rad == 0.0
    assert short.doubt_rad == pytest.approx(0.07)


def test_a_forearm_off_the_arm_line_is_less_sure_at_both_ends_alike():
    # The line goes round the forearm on a cone: sin 10° times a turn of 19°.
    body = SetBody(forearm_rad=np.radians(10))
    assert np.degrees(body.turned_rad) == pytest.approx(3.3, abs=0.05)
    assert body.doubt_rad == pytest.approx(body.turned_rad)


def test_sets_so_close_that_their_margins_overlap_are_measured(monkeypatch):
    looked_at = []

    def overlapping(motion, ranges, bottoms, *rest, **more):
        (first, stop), *_ = ranges
        half, margin = (first + stop) // 2, round(0.5 * motion.rate_hz)
        parts = [(first, half + margin), (half - margin, stop)]
        bodies, moved = set_bodies(motion, parts, [bottoms[0]] * 2, *rest, **more)
        looked_at.append([body.signs.elbow is not None for body in bodies])
        return bodies[:1], moved

    monkeypatch.setattr(pipeline, "set_bodies", overlapping)
    recording, _ = simulate_session(draw_session("bending-elbow", 0), 0)
    assert process(recording).sets
    assert any(looked_at[0])  # the elbow of a half was weighed
