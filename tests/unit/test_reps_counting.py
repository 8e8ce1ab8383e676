"""Which movements are reps: sets among picking up, walking, fidgeting and rests."""

import math
from itertools import pairwise

import numpy as np
import pytest
from invented_reps import Curve, raises, ramp
from scipy.spatial.transform import Rotation

from armarc.reps import runs
from armarc.reps.counting import count_sets
from armarc.reps.largest_run import CountingRules
from armarc.reps.movements import on_angle
from armarc.reps.not_counted import NO_RISE, UNLIKE, unplaced
from armarc.reps.path import sensor_path

HZ = 100.0


def poses(angle_rad, roll_deg=0.0):
    """Orientation of a sensor on an arm raised in a plane, its hand turned by `roll_deg` (scalar or per sample)."""
    pose = Rotation.from_rotvec(np.outer(-angle_rad, [0, 1, 0]))
    roll = Rotation.from_rotvec(np.radians(np.broadcast_to(roll_deg, angle_rad.shape))[:, None] * [0, 0, 1.0])
    return pose * roll


def turning(pose):
    """Angular velocity in sensor axes, rad/s."""
    steps = (pose[:-1].inv() * pose[1:]).as_rotvec() * HZ
    return np.vstack([steps, steps[-1:]])


def felt(pose, lifted_m):
    """Specific force, m/s²: 55 cm from a shoulder that is lifted by so much (scalar or per sample)."""
    at = pose.apply([0, 0, -0.55]) + np.outer(np.broadcast_to(lifted_m, len(pose)), [0, 0, 1])
    acceleration = np.gradient(np.gradient(at, axis=0), axis=0) * HZ * HZ
    return pose.inv().apply(acceleration + np.array([0, 0, 9.81]))


def grouped(curve_or_angle, roll_deg=0.0, smallest_deg=30, rest_s=10.0, arm_axis=None, lifted_m=0.0):
    angle = curve_or_angle.angle_rad if isinstance(curve_or_angle, Curve) else curve_or_angle
    pose = poses(angle, roll_deg)
    rules = CountingRules(
        smallest_rad=math.radians(smallest_deg), rest_s=rest_s, curves=("tilt",), arm_axis=arm_axis
    )
    return count_sets(pose.as_quat(scalar_first=True), turning(pose), felt(pose, lifted_m), HZ, rules)


def counts(grouping):
    return [len(s) for s in grouping.sets]


def bumps(seconds, tops_deg, *, begin_s, every_s, up_s, base_deg=10.0):
    """Quick movements: `tops_deg` above the base, one `every_s`."""
    t = np.arange(round(seconds * HZ)) / HZ
    angle = np.full(len(t), float(base_deg))
    for k, top in enumerate(tops_deg):
        at = begin_s + k * every_s
        angle += top * (ramp((t - at) / up_s) - ramp((t - at - up_s) / up_s))
    return np.radians(angle)


def swinging(swings, *, size_deg=18, every_s=1.0, base_deg=10.0):
    """An arm that swings through its resting pose, once every `every_s`, some seconds of rest on either side."""
    t = np.arange(round((swings * every_s + 6) * HZ)) / HZ
    inside = ramp((t - 3) / every_s) - ramp((t - 3 - (swings - 1) * every_s) / every_s)
    return np.radians(base_deg + size_deg * inside * np.sin(2 * np.pi * (t - 3) / every_s))


@pytest.mark.parametrize("n", [1, 2, 3, 8, 40])
def test_sets_of_any_length(n):
    assert counts(grouped(raises([90] * n))) == [n]


def test_nothing_to_find():
    assert counts(grouped(np.full(2000, 0.2))) == []
    assert counts(grouped(np.full(3, 0.2))) == []
    assert counts(grouped(raises([35]))) == []


def test_rests_end_sets():
    curve = raises([90] * 9, pause_s=[1, 1, 15, 1, 1, 15, 1, 1])
    assert counts(grouped(curve)) == [3, 3, 3]
    assert counts(grouped(curve, rest_s=30)) == [9]


def test_no_pause_and_long_holds():
    assert counts(grouped(raises([90] * 6, pause_s=0.0, hold_s=0.0))) == [6]
    assert counts(grouped(raises([90] * 4, hold_s=9.0, pause_s=4.0))) == [4]


@pytest.mark.parametrize("which", [0, 2, 5])
@pytest.mark.parametrize("hold_s", [8.0, 12.0, 16.0])
def test_one_rep_held_for_longer_than_a_rest(hold_s, which):
    parts = [raises([90], hold_s=hold_s if k == which else 0.5, still_s=0.3, after_s=0.3) for k in range(6)]
    still = np.full(300, parts[0].angle_rad[0])
    assert counts(grouped(np.concatenate([still, *(part.angle_rad for part in parts), still]))) == [6]


def test_a_few_movements_of_another_kind_beside_a_set_may_be_none():
    angle = raises([90] * 6, after_s=12.0).angle_rad
    others = bumps(24, [42, 75, 46, 70], begin_s=1, every_s=5, up_s=1.0)
    roll = np.concatenate([np.zeros(len(angle)), np.full(len(others), 80.0)])
    found = grouped(np.concatenate([angle, others]), roll)
    assert counts(found) == [6, 4]
    assert [{m.is_doubtful for m in one} for one in found.sets] == [{False}, {True}]


def test_walking_after_a_set_is_left_out():
    angle = raises([90] * 6, after_s=1.0).angle_rad
    found = grouped(np.concatenate([angle, swinging(17)]))
    assert counts(found) == [6]
    assert {out.reason for out in found.left_out} >= {"an arm swung to and fro: walking, loosening up"}


@pytest.mark.parametrize("wobble_hz", [5.0, 6.5, 8.5])
def test_a_sensor_whose_strap_wobbles_comes_to_rest(wobble_hz):
    """It turns to and fro by a degree and a half, at up to 80 °/s, and nowhere."""
    angle = raises([90] * 6, after_s=1.0).angle_rad
    wobble = 1.5 * np.sin(2 * np.pi * wobble_hz * np.arange(len(angle)) / HZ)
    pose = poses(angle, wobble)
    rests, shaken = (
        sensor_path(p.as_quat(scalar_first=True), turning(p), HZ).rests for p in (poses(angle), pose)
    )
    assert len(shaken) == len(rests)
    assert np.abs(np.subtract(shaken, rests)).max() <= 6  # a fifth of a second


@pytest.mark.parametrize("swings", [6, 12])
def test_walking_that_swings_from_its_resting_pose_is_left_out(swings):
    """Forward about a bent elbow and hardly back: its bottom is where the arm rests, as a rep's is."""
    angle = raises([90] * 6, after_s=8.0).angle_rad
    walk = bumps(swings + 12, [32] * swings, begin_s=8, every_s=1, up_s=0.5)
    roll = np.concatenate([np.zeros(len(angle)), np.full(len(walk), 80.0)])
    assert counts(grouped(np.concatenate([angle, walk]), roll)) == [6]


def steps(angle, *, begin_s, swings, every_s=1.0, bob_m=0.018):
    """A walker's height: lowest where the arm turns round, half a cycle later highest, where it passes fastest."""
    t = np.arange(len(angle)) / HZ - begin_s
    inside = ramp(t) - ramp(t - (swings - 0.5) * every_s)
    return bob_m * inside * np.cos(4 * np.pi * (t / every_s - 0.25))


@pytest.mark.parametrize("bob_m", [0.012, 0.018, 0.024])
@pytest.mark.parametrize("reps", [0, 12])
def test_a_walk_is_told_by_its_bobbing_shoulder(reps, bob_m):
    """Swings as quick as the reps, forward from the resting pose: only the shoulder tells them from reps.

    A body rises and falls by 3–5 cm in walking, lowest with both feet on the ground, when the arms are at their ends
    (common knowledge of gait, from memory).
    """
    fast = raises([90] * reps, pause_s=0.0, hold_s=0.0, up_s=0.5, down_s=0.6).angle_rad if reps else []
    swings = bumps(18, [30] * 10, begin_s=3, every_s=1, up_s=0.5)
    angle = np.concatenate([fast, swings])
    roll = np.concatenate([np.zeros(len(fast)), np.full(len(swings), 60.0)])
    bob = steps(angle, begin_s=len(fast) / HZ + 3, swings=10, bob_m=bob_m)
    walking = grouped(angle, roll, smallest_deg=25, lifted_m=bob)
    assert counts(walking) == [reps] * (reps > 0)
    assert [out.reason for out in walking.left_out].count(
        "an arm swung to and fro: walking, loosening up"
    ) >= 8
    assert counts(grouped(angle, roll, smallest_deg=25)) == [reps] * (reps > 0) + [10]


@pytest.mark.parametrize("is_before", [True, False])
def test_a_walk_in_the_plane_of_the_set_beside_it_is_no_partial_reps_of_it(is_before):
    """As after a front raise: the swings turn as the reps do, from the same pose, and are half as large."""
    parts = raises([90] * 8, after_s=0.5).angle_rad, bumps(10, [35] * 8, begin_s=1, every_s=1, up_s=0.5)
    angle = np.concatenate(parts[::-1] if is_before else parts)
    begin_s = 1.0 if is_before else len(parts[0]) / HZ + 1.0
    found = grouped(angle, lifted_m=steps(angle, begin_s=begin_s, swings=8))
    assert counts(found) == [8]
    assert [out.reason for out in found.left_out].count("an arm swung to and fro: walking, loosening up") >= 7
    partials = grouped(angle)
    assert sum(counts(partials)) == 16


def test_small_fast_reps_of_the_same_exercise_are_a_set():
    angle = raises([90] * 6, after_s=8.0).angle_rad
    small = bumps(22, [35] * 10, begin_s=8, every_s=1, up_s=0.5)
    assert counts(grouped(np.concatenate([angle, small]))) == [6, 10]


@pytest.mark.parametrize("is_before", [True, False])
def test_a_lift_some_seconds_beside_a_set_is_none_of_its_reps(is_before):
    """To a button: as large as a rep, quicker and up for a shorter time."""
    lift = bumps(7, [75], begin_s=1 if is_before else 4, every_s=1, up_s=1.0)
    angle = raises([90] * 6, pause_s=0.5, still_s=1.0, after_s=1.0).angle_rad
    assert counts(grouped(np.concatenate([lift, angle] if is_before else [angle, lift]))) == [6]


def test_a_last_rep_after_a_breather_counts():
    assert counts(grouped(raises([90] * 6 + [80], pause_s=[0.5] * 5 + [7.0]))) == [7]


def test_picking_up_and_drinking_are_left_out():
    before = bumps(8, [55], begin_s=2, every_s=1, up_s=0.5)
    after = bumps(8, [120], begin_s=3, every_s=1, up_s=0.6)
    angle = np.concatenate([before, raises([90] * 5).angle_rad, after])
    roll = np.concatenate(
        [
            np.full(len(before), 60.0),
            np.zeros(len(angle) - len(before) - len(after)),
            np.full(len(after), -70.0),
        ]
    )
    assert counts(grouped(angle, roll)) == [5]


def test_partial_and_stretched_reps_belong_to_their_set():
    assert counts(grouped(raises([90, 90, 90, 55, 50]))) == [5]
    assert counts(grouped(raises([90, 120, 90, 90]))) == [4]


def test_a_last_rep_that_gets_half_way_in_the_time_of_a_whole_one_counts():
    angle = raises([90] * 5, up_s=1.0, hold_s=0.0, after_s=1.0).angle_rad
    half = bumps(9, [42], begin_s=0.5, every_s=1, up_s=2.6)
    assert counts(grouped(np.concatenate([angle, half]))) == [6]


@pytest.mark.parametrize(("others", "expected"), [(3, [6]), (5, [6, 5])])
def test_three_movements_of_another_kind_beside_a_set_are_handling(others, expected):
    side = raises([90] * 6, after_s=8.0).angle_rad
    front = raises([75] * others, still_s=8.0, up_s=1.5).angle_rad
    roll = np.concatenate([np.zeros(len(side)), np.full(len(front), 90.0)])
    found = grouped(np.concatenate([side, front]), roll)
    assert counts(found) == expected
    assert len(found.left_out) == (3 if others == 3 else 0)


def test_a_second_set_of_two_reps_is_known_by_its_likeness():
    one, two = raises([90] * 6, after_s=10.0).angle_rad, raises([88] * 2, still_s=10.0).angle_rad
    assert counts(grouped(np.concatenate([one, two]))) == [6, 2]


def test_two_single_movements_that_do_not_look_alike_are_handling():
    one = bumps(12, [60], begin_s=2, every_s=1, up_s=0.5)
    two = bumps(12, [110], begin_s=2, every_s=1, up_s=0.7)
    angle = np.concatenate([one, two])
    # The hand turns over between the two.
    roll = 120 * ramp((np.arange(len(angle)) / HZ - 8) / 2)
    found = grouped(angle, roll)
    assert counts(found) == []
    assert found.left_out


def test_a_movement_left_out_goes_from_bottom_to_bottom():
    """Whichever way the sensor's axes lie."""
    angle = np.concatenate(
        [raises([90] * 6, after_s=12.0).angle_rad, bumps(12, [60], begin_s=5, every_s=1, up_s=0.4)]
    )
    for roll in (0.0, 180.0):
        found = grouped(angle, roll)
        assert counts(found) == [6]
        (out,) = found.left_out
        assert len(angle) / HZ - 8 < out.first / HZ < len(angle) / HZ - 6
        assert out.stop / HZ < len(angle) / HZ - 5


def test_reps_cut_at_both_ends_count():
    curve = raises([90] * 6)
    first, last = 100 + 120, round(100 * curve.begins_s[5]) + 150
    # Cut like this nothing but the arm's direction tells which end is the bottom.
    assert counts(grouped(curve.angle_rad[first:last], arm_axis=np.array([0.0, 0.0, -1.0]))) == [6]


def test_lowering_the_arm_into_position_is_no_rep():
    lowered = np.radians(10 + 80 * (1 - ramp((np.arange(400) - 200) / 150)))
    angle = np.concatenate([lowered, raises([90] * 5, still_s=6.0).angle_rad])
    assert counts(grouped(angle)) == [5]


def test_a_change_of_pace_inside_a_set_does_not_split_it():
    slow, fast = raises([90] * 4, up_s=3.0).angle_rad, raises([90] * 4, up_s=1.0, still_s=0.3).angle_rad
    assert counts(grouped(np.concatenate([slow, fast]))) == [8]


def test_sets_come_in_time_order_and_do_not_overlap():
    curve = raises([90] * 9, pause_s=[1, 1, 15, 1, 1, 15, 1, 1])
    spans = [(s[0].bottom, s[-1].bottom_after) for s in grouped(curve).sets]
    assert spans == sorted(spans)
    assert all(a[1] <= b[0] for a, b in pairwise(spans))


@pytest.mark.parametrize("up_s", [1.2, 2.0])
@pytest.mark.parametrize("before_s", [0.2, 0.5, 1.0, 2.0])
def test_an_arm_that_sinks_just_before_the_next_set_begins_no_rep_twice(up_s, before_s):
    curve = raises([90] * 6, pause_s=[1, 1, 15, 1, 1], up_s=up_s)
    t = np.arange(len(curve.angle_rad)) / HZ
    sunk = curve.angle_rad - np.radians(3) * np.exp(-(((t - curve.begins_s[3] + before_s) / 0.3) ** 2))
    found = grouped(sunk)
    assert counts(found) == [3, 3]
    assert not any(m.is_open for s in found.sets for m in s)


def test_a_partial_last_rep_is_kept_beside_larger_handling():
    # The handling is larger than the reps: it must not raise the bar for the partial one.
    angle = raises([75, 75, 75, 75, 75, 42], after_s=3.0).angle_rad
    handling = bumps(30, [115, 120, 110], begin_s=3, every_s=9, up_s=0.6)
    roll = np.concatenate([np.zeros(len(angle)), np.full(len(handling), 70.0)])
    assert counts(grouped(np.concatenate([angle, handling]), roll)) == [6]


def test_arm_swing_at_the_pace_of_the_reps_is_no_partial_rep():
    # Quick reps of 65°, then walking with 36°: as fast, but to both sides of where the arm rests.
    angle = raises([75] * 5, up_s=1.0, after_s=2.0).angle_rad
    assert counts(grouped(np.concatenate([angle, swinging(6)]))) == [5]


def test_a_movement_between_the_reps_of_a_set_that_is_none_is_named():
    found = grouped(raises([100, 100, 100, 40, 100, 100, 100]))
    assert counts(found) == [6]
    assert [out.reason for out in found.left_out] == [UNLIKE]
    before, after = found.sets[0][2:4]
    assert before.bottom_after <= found.left_out[0].first < found.left_out[0].stop <= after.bottom + 1


def test_a_counted_movement_that_does_not_rise_on_the_measured_angle_is_named():
    curve = raises([90] * 5)
    found = grouped(curve)
    gone = found.sets[0][2]
    angle = curve.angle_rad.copy()
    angle[gone.bottom : gone.bottom_after + 1] = angle[gone.bottom]
    placed = on_angle(found.sets, angle, HZ)
    assert [len(group) for group in placed] == [4]
    (out,) = unplaced(found.sets, placed[0])
    assert (out.first, out.stop, out.reason) == (gone.bottom, gone.bottom_after + 1, NO_RISE)


@pytest.mark.parametrize(("lifted_deg", "rolled_deg"), [(100, 80), (160, 80), (160, 40)])
def test_a_wrist_held_before_the_face_beside_a_set_does_not_tell_its_bottom(lifted_deg, rolled_deg):
    """Its pose is neither end of the reps, though about their axis it lies nearer to one."""
    curve = raises([90] * 6, hold_s=0.8, pause_s=0.8, still_s=0.7, after_s=0.7).angle_rad
    lift = ramp((np.arange(400) / HZ - 0.2) / 0.8)
    away = np.concatenate([lift[::-1], np.zeros(len(curve)), lift])
    angle = np.concatenate([np.full(400, curve[0]), curve, np.full(400, curve[0])])
    angle += math.radians(lifted_deg) * away
    found = grouped(angle, rolled_deg * away)
    assert counts(found) == [6]
    assert angle[[m.top for m in found.sets[0]]].min() > math.radians(60)


@pytest.mark.parametrize(("others", "expected"), [(3, [8]), (7, [8, 7])])
def test_a_fast_set_of_another_kind_beside_slow_ones_is_a_set(others, expected):
    slow = raises([90] * 8, up_s=2.5, down_s=2.5, after_s=12.0).angle_rad
    fast = bumps(16, [75] * others, begin_s=1, every_s=1.6, up_s=0.7)
    roll = np.concatenate([np.zeros(len(slow)), np.full(len(fast), 60.0)])
    assert counts(grouped(np.concatenate([slow, fast]), roll)) == expected


def test_a_set_like_a_known_one_is_the_one_that_a_search_at_every_size_finds(monkeypatch):
    rng = np.random.default_rng(5)
    tops = 90 + 5 * rng.standard_normal(24)
    curve = raises(tops, pause_s=[1.0] * 7 + [25.0] + [1.0] * 8 + [25.0] + [1.0] * 6)
    searched = []

    def furthest_axes(*args):
        searched.append(args)
        return axes(*args)

    axes = runs.furthest_axes
    monkeypatch.setattr(runs, "furthest_axes", furthest_axes)
    plain, times = grouped(curve), len(searched)
    monkeypatch.setattr(runs, "PLAIN_SET", 1000)
    by_search = grouped(curve)
    assert counts(plain) == [8, 9, 7]
    assert plain.sets == by_search.sets
    assert times < len(searched) - times


def test_reps_of_another_size_about_the_axis_of_a_known_set_are_searched_for():
    """Half as far again is another exercise: nothing of it is taken for the known one."""
    known, larger = raises([60] * 8, after_s=12), raises([130] * 8, up_s=2.2, still_s=12)
    assert counts(grouped(np.concatenate([known.angle_rad, larger.angle_rad]))) == [8, 8]
