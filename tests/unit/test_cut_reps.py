"""Reps that an end of the recording cuts: what was not seen has no number, and what has one is right."""

import math
from dataclasses import replace
from functools import cache

import pytest

from armarc.api import process
from armarc.measures import columns
from armarc.report.markers import markers_of
from armarc.report.step_figure import draw_steps
from armarc.reps.types import Rep
from armarc.simulate import SimulationOptions, plan_session, simulate_session
from grids import seldom

RAISED = {"concentric_s", "rom_deg", "mean_concentric_deg_s", "peak_concentric_deg_s", "peak_concentric_at_deg"} | {
    "drive_angle_deg", "time_to_peak_s", "smoothness_sparc", "start_ratio", "lowering_ratio", "loaded_range_s"
} | {"time_under_tension_s", "body_swing_cm", "hand_rotation_change_deg"}  # fmt: skip
LOWERED = {"eccentric_s", "mean_eccentric_deg_s", "peak_eccentric_deg_s", "lowering_ratio", "loaded_range_s"} | {
    "time_under_tension_s", "least_held_pct", "body_swing_cm"
}  # fmt: skip
STARTED = {"bottom_deg", "start_velocity_deg_s", "gate_s", "start_verdict"}
NOT_BEFORE = {
    "up": RAISED | STARTED,
    "held": RAISED | STARTED | {"top_deg", "hold_s"},
    "down": RAISED | STARTED | LOWERED | {"top_deg", "hold_s"},
}
"""What is not seen of a first rep whose recording begins so far in."""
NOT_AFTER = {
    "up": RAISED | LOWERED | {"top_deg", "hold_s"},
    "held": LOWERED | {"hold_s"},
    "down": LOWERED,
}


INSTANTS = ("start_s", "top_start_s", "top_end_s", "end_s")


@cache
def simulated(seed):
    return simulate_session(plan_session(SimulationOptions(reps=5, hold_s=0.8), seed), seed)


@cache
def whole_reps(seed):
    return records(process(simulated(seed)[0], load_kg=5.0, band_deg_s=(45.0, 70.0)))


def cut(recording, first_s, last_s):
    kept = (recording.time_s >= first_s) & (recording.time_s < last_s)
    return replace(
        recording,
        time_s=recording.time_s[kept] - recording.time_s[kept][0],
        specific_force_m_s2=recording.specific_force_m_s2[kept],
        angular_velocity_rad_s=recording.angular_velocity_rad_s[kept],
        clipped=recording.is_clipped[kept],
        gaps=(),
    )


def records(session):
    return [rep for one in session.to_dict()["sets"] for rep in one["reps"]]


def within(rep, part, share):
    """Some way into a phase of a rep, s."""
    edges = {"up": (0, 1), "held": (1, 2), "down": (2, 3)}[part]
    start, stop = (getattr(rep, INSTANTS[k]) for k in edges)
    return start + share * (stop - start)


def assert_right_or_none(cut_rep, whole, moved_s, unseen):
    """What is given is what the whole recording says, and what was not seen is not given."""
    assert {key for key in unseen if cut_rep[key] is not None} == set()
    for each in columns(Rep):
        if each.kind != "number" or each.is_error or each.key in INSTANTS or cut_rep[each.key] is None:
            continue
        late = moved_s if each.key == "gate_s" else 0.0
        # A mounting from a rep less is another one by some tenths of a degree, and rates with it by two in a hundred.
        room = (
            0.9
            if each.key == "body_swing_cm"
            else max(1.0 if each.key.endswith("_deg") else 0.05, 0.03 * abs(whole[each.key]))
        )
        assert cut_rep[each.key] + late == pytest.approx(whole[each.key], abs=room), each.key
    for key in INSTANTS:
        seen = {"start_s": "concentric_s", "end_s": "eccentric_s"}.get(key, "hold_s")
        if cut_rep[seen] is not None:
            assert cut_rep[key] + moved_s == pytest.approx(whole[key], abs=0.05), key


@pytest.mark.parametrize("part", ["up", "held", "down"])
@pytest.mark.parametrize("share", [0.15, 0.4])
@pytest.mark.parametrize("seed", [7, *seldom(31, 32, 33)])
def test_a_recording_that_begins_within_a_rep_says_nothing_of_what_came_before(seed, share, part):
    recording, truth = simulated(seed)
    begins = within(truth.reps[0], part, share)
    session = process(cut(recording, begins, math.inf), load_kg=5.0, band_deg_s=(45.0, 70.0))
    reps = records(session)
    assert len(reps) == 5
    assert "open_start" in reps[0]["quality"]
    assert_right_or_none(reps[0], whole_reps(seed)[0], begins, NOT_BEFORE[part])
    for rep, whole in zip(reps[1:], whole_reps(seed)[1:], strict=True):
        assert "open_start" not in rep["quality"]
        assert_right_or_none(rep, whole, begins, ())


@pytest.mark.parametrize("part", ["up", "held", "down"])
@pytest.mark.parametrize("share", [0.75, 0.9])
@pytest.mark.parametrize("seed", [7, *seldom(31, 32, 33)])
def test_a_recording_that_ends_within_a_rep_says_nothing_of_what_came_after(seed, share, part):
    recording, truth = simulated(seed)
    session = process(
        cut(recording, 0.0, within(truth.reps[-1], part, share)), load_kg=5.0, band_deg_s=(45.0, 70.0)
    )
    reps = records(session)
    assert len(reps) == 5
    assert "open_end" in reps[-1]["quality"]
    assert_right_or_none(reps[-1], whole_reps(seed)[-1], 0.0, NOT_AFTER[part])


@pytest.mark.parametrize("part", ["up", "held", "down"])
def test_means_tempo_and_moments_leave_out_what_was_not_seen(part):
    recording, truth = simulated(7)
    begins, ends = within(truth.reps[0], part, 0.3), within(truth.reps[-1], part, 0.8)
    session = process(cut(recording, begins, ends), load_kg=5.0)
    (one,) = session.to_dict()["sets"]
    (plain,) = process(simulated(7)[0], load_kg=5.0).to_dict()["sets"]
    for key in ("mean_concentric_s", "mean_eccentric_s", "mean_rom_deg", "mean_time_under_tension_s"):
        assert one["summary"][key] == pytest.approx(plain["summary"][key], rel=0.03)
    assert one["summary"]["tempo"] == plain["summary"]["tempo"]
    first, last = one["reps"][0], one["reps"][-1]
    assert first["concentric_work_j"] is first["moment_impulse_n_m_s"] is first["peak_moment_phase"] is None
    assert last["eccentric_work_j"] is last["moment_impulse_n_m_s"] is last["peak_moment_n_m"] is None
    assert (last["concentric_work_j"] is None) == (part == "up")


def test_a_set_of_one_cut_rep_has_no_tempo_of_what_was_not_seen():
    recording, truth = simulated(7)
    first, second = truth.reps[:2]
    session = process(
        cut(recording, within(first, "held", 0.5), second.start_s - 0.1), exercise="lateral-raise"
    )
    for one in session.to_dict()["sets"]:
        assert one["summary"]["tempo"].endswith("/0/–/–")
        assert one["summary"]["mean_concentric_s"] is None


@pytest.mark.parametrize("part", ["up", "down", *seldom("held")])
def test_pictures_of_cut_reps_are_drawn(part, tmp_path):
    recording, truth = simulated(7)
    session = process(cut(recording, within(truth.reps[0], part, 0.3), within(truth.reps[-1], part, 0.8)))
    session.plot(1).savefig(tmp_path / "set.png")
    assert not any("nan" in marker.words for marker in markers_of(session.sets, 0.0))
    for number in (1, 5):
        draw_steps(session.motions[0], session.sets[0], number).savefig(tmp_path / f"{number}.png")
