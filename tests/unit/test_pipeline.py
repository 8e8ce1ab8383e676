"""The whole road on synthetic recordings with known truth."""

import json
import math
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from armarc import moved_arm
from armarc.api import process
from armarc.errors import UsageError
from armarc.kept import Kept
from armarc.options import MeasuringOptions
from armarc.pipeline import Session
from armarc.recording import Gap, Metadata, Recording
from armarc.settings import Settings
from armarc.simulate import (
    MountPlan,
    SensorPlan,
    SimulationOptions,
    find_pattern,
    plan_session,
    rep_record,
    simulate_session,
)
from grids import crossed, seldom


@cache
def simulated(seed=1, **simulated_as):
    return simulate_session(plan_session(SimulationOptions(**({"reps": 5} | simulated_as)), seed), seed)


@cache
def measured(seed=1, **simulated_as) -> Session:
    return process(simulated(seed, **simulated_as)[0])


def cut(recording, first_s, last_s):
    keep = (recording.time_s >= first_s) & (recording.time_s < last_s)
    return replace(
        recording,
        time_s=recording.time_s[keep] - recording.time_s[keep][0],
        specific_force_m_s2=recording.specific_force_m_s2[keep],
        angular_velocity_rad_s=recording.angular_velocity_rad_s[keep],
        clipped=recording.is_clipped[keep],
        gaps=(),
    )


def records(session):
    return [r for s in session.to_dict()["sets"] for r in s["reps"]]


def counts(session):
    return [len(s.reps) for s in session.sets]


def assert_close(session, truth, *, velocity=2.5, rom=1.5, instants=0.03, absolute=3.0):
    true = [rep_record(r) for s in truth.sets for r in s.reps]
    assert len(records(session)) == len(true)
    for mine, actual in zip(records(session), true, strict=True):
        assert mine["rom_deg"] == pytest.approx(actual["rom_deg"], abs=rom)
        assert mine["start_velocity_deg_s"] == pytest.approx(actual["start_velocity_deg_s"], abs=velocity)
        assert mine["top_deg"] == pytest.approx(actual["top_deg"], abs=absolute)
        for key in ("start_s", "top_start_s", "top_end_s", "end_s"):
            assert mine[key] == pytest.approx(actual[key], abs=instants)


MOUNTS = [
    MountPlan(),
    MountPlan(strap="inside", hand_axis="-x", tilt_rad=math.radians(6)),
    MountPlan(strap="thumb", hand_axis="-y", roll_rad=math.radians(14), reach_m=0.52),
    MountPlan(strap="little-finger", hand_axis="+x", height_m=0.03),
]


@pytest.mark.parametrize(("mount", "side"), crossed(MOUNTS, ["right", "left"], fold=2))
def test_any_strap_on_either_wrist(mount, side):
    simulated_as = {"mount": mount, "side": side}
    session = measured(**simulated_as)
    assert session.motions[0].mounting.method == "lever_arm"
    assert_close(session, simulated(**simulated_as)[1])


@pytest.mark.parametrize("start_deg_s", [30, 60, 100, 150])
def test_start_velocity_over_its_range(start_deg_s):
    simulated_as = {
        "start_velocity_rad_s": math.radians(start_deg_s),
        "concentric_s": 1.0 if start_deg_s > 90 else 1.8,
        "reps": 4,
    }
    assert_close(measured(**simulated_as), simulated(**simulated_as)[1])


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 200.0])
def test_sampling_rates(rate_hz):
    simulated_as = {"sensor": SensorPlan(rate_hz=rate_hz), "reps": 4}
    # One interval of the slowest rate is 40 ms.
    assert_close(
        measured(**simulated_as), simulated(**simulated_as)[1], instants=0.04 if rate_hz < 50 else 0.03
    )


def test_a_twist_gives_the_mounting_where_it_is_asked_for():
    assert measured(twist=True).motions[0].mounting.method == "lever_arm"
    session = process(simulated(twist=True)[0], mounting="twist")
    assert session.motions[0].mounting.method == "twist"
    assert counts(session) == [5]
    true = simulated(twist=True)[1].forearm_axis
    off = math.degrees(math.acos(min(1.0, float(session.motions[0].mounting.arm_axis @ true))))
    assert off < 3 * math.degrees(session.motions[0].mounting.uncertainty_rad)


def test_the_sensors_bias_and_the_reach_are_found():
    session, truth = measured(), simulated()[1]
    bias = session.motions[0].orientation.gyroscope_bias_rad_s
    np.testing.assert_allclose(np.degrees(bias), np.degrees(truth.gyroscope_bias_rad_s), atol=0.2)
    assert session.motions[0].mounting.reach_m == pytest.approx(truth.reach_m, rel=0.04)


def test_swing_separates_strict_from_cheated():
    strict, cheated = (
        [r["body_swing_cm"] for r in records(measured(swing_m=s, reps=6))] for s in (0.0, 0.05)
    )
    assert np.median(strict) < 1.5
    assert np.median(cheated) == pytest.approx(5, abs=1.5)


# --- what must not be counted, and what must


@pytest.mark.parametrize(
    "simulated_as",
    [
        {"sets": 2, "rest_s": 25.0, "pick_up": True, "walk": True, "fidget": True},
        {"reps": 3, "pick_up": True},
        {"reps": 6, "pause_s": 0.0, "hold_s": 0.0},
        {"reps": 6, "partial_last": True},
        {"reps": 6, "cheat_rep": 3},
        {"reps": 4, "hold_s": 4.0, "eccentric_s": 5.0},
        {"reps": 25, "concentric_s": 1.2, "eccentric_s": 1.2, "pause_s": 0.1},
        {"reps": 5, "tremor_rad": math.radians(0.05)},
        {"reps": 1},
        {"reps": 2},
    ],
    ids=str,
)
@pytest.mark.parametrize("seed", [3, *seldom(4)])
def test_counts(simulated_as, seed):
    truth = simulated(seed, **simulated_as)[1]
    assert counts(measured(seed, **simulated_as)) == [len(s.reps) for s in truth.sets]


def test_a_partial_last_rep_is_flagged():
    quality = [r["quality"] for r in records(measured(3, reps=6, partial_last=True))]
    assert quality == [[], [], [], [], [], ["partial"]]


def test_a_recording_cut_on_both_sides():
    recording, truth = simulated()
    reps = truth.reps
    session = process(cut(recording, reps[0].start_s + 0.8, reps[4].top_start_s + 0.3))
    assert counts(session) == [5]
    assert [r["quality"] for r in records(session)] == [["no_gate", "open_start"], [], [], [], ["open_end"]]
    assert records(session)[1]["rom_deg"] == pytest.approx(math.degrees(reps[1].rom_rad), abs=1.5)


def test_a_rep_begun_before_the_recording_is_no_surer_of_its_lowering_than_a_whole_one():
    """Only its lowering was seen: there is no range, and the lowering is measured as in any other rep."""
    recording, truth = simulated()
    begun, whole = records(process(cut(recording, truth.reps[0].top_start_s + 0.1, truth.reps[4].end_s)))[:2]
    assert begun["quality"] == ["no_gate", "open_start"]
    assert begun["rom_deg"] is begun["rom_deg_se"] is begun["concentric_s"] is None
    for key in ("eccentric_s_se", "mean_eccentric_deg_s_se"):
        assert begun[key] == pytest.approx(whole[key], rel=0.3)


def test_one_set_of_two_read_upside_down_is_read_again(monkeypatch):
    """From top to top, as the counting may read a set beside which the arm rested high; the lever arm knows."""
    recording, _ = simulated(seed=2, reps=6, sets=2, rest_s=20.0)
    as_it_is = process(recording)

    def misread(*args, **kwargs):
        found = counted(*args, **kwargs)
        first = found.sets[0]
        over = tuple(
            replace(m, bottom=m.top, top=m.bottom_after, bottom_after=after.top)
            for m, after in pairwise(first)
        )
        return found if args[-1].arm_axis is not None else replace(found, sets=(over, *found.sets[1:]))

    counted = moved_arm.count_sets
    monkeypatch.setattr(moved_arm, "count_sets", misread)
    again = process(recording)
    assert counts(again) == counts(as_it_is) == [6, 6]
    assert [r["rom_deg"] for r in records(again)] == pytest.approx(
        [r["rom_deg"] for r in records(as_it_is)], abs=0.5
    )


def test_a_short_gap_is_bridged_and_flagged():
    simulated_as = {"sensor": SensorPlan(gaps_s=((5.0, 0.15),))}
    session = measured(**simulated_as)
    assert counts(session) == [5]
    touched = [r["rep"] for r in records(session) if "gap" in r["quality"]]
    truth = simulated(**simulated_as)[1]
    hit = [r.rep for r in truth.reps if r.start_s - 0.3 < 5.15 and r.end_s + 0.3 > 5.0]
    assert touched == hit
    assert session.to_dict()["source"]["gaps"]


def without(recording, at, length):
    keep = (recording.time_s < at) | (recording.time_s > at + length)
    gap = Gap(start_s=at, end_s=at + length, missing_samples=int((~keep).sum()))
    return replace(
        recording,
        time_s=recording.time_s[keep],
        specific_force_m_s2=recording.specific_force_m_s2[keep],
        angular_velocity_rad_s=recording.angular_velocity_rad_s[keep],
        clipped=recording.is_clipped[keep],
        gaps=(gap,),
    )


@pytest.mark.parametrize("length", [2.5, 4.0])
def test_a_gap_within_a_set_leaves_it_one_and_says_that_a_rep_may_be_missing(length):
    recording, truth = simulated(reps=8)
    true = truth.sets[0].reps
    at = true[3].end_s
    session = process(without(recording, at, length))
    lost = sum(rep.start_s < at + length and rep.end_s > at for rep in true)
    assert len(session.sets) == 1
    assert 8 - lost <= counts(session)[0] <= 8
    (said,) = [w for w in session.warnings if "may be missing from its count" in w]
    assert said.startswith("set 1 ")
    assert f"{length:.1f} s without samples" in said
    whole = {round(r.top_start_s, 1): r for r in true if r.end_s < at or r.start_s > at + length}
    for rep in records(session):
        near = [r for top, r in whole.items() if abs(rep["top_start_s"] - top) < 0.5]
        if near and "gap" not in rep["quality"]:
            assert rep["rom_deg"] == pytest.approx(math.degrees(near[0].rom_rad), abs=2)


def test_a_short_gap_hides_no_rep():
    recording, truth = simulated(reps=8)
    session = process(without(recording, truth.sets[0].reps[3].top_start_s, 0.2))
    assert counts(session) == [8]
    assert not any("may be missing" in w for w in session.warnings)


def test_a_long_gap_parts_the_recording():
    recording, truth = simulated(sets=2, rest_s=30.0, reps=4)
    at = truth.sets[0].reps[-1].end_s + 10
    session = process(without(recording, at, 12))
    assert counts(session) == [4, 4]
    assert session.motion_of_set == (0, 1)
    assert [s.set for s in session.sets] == [1, 2]
    assert any("2 separate pieces" in w for w in session.warnings)
    assert_close(session, truth)


def test_lost_packets():
    simulated_as = {"sensor": SensorPlan(drop_fraction=0.03)}
    session = measured(**simulated_as)
    assert_close(session, simulated(**simulated_as)[1], velocity=4, rom=2)


# --- references


def test_plane_and_hand_rotation_with_a_stated_strap():
    pattern = replace(find_pattern("scaption-raise"), plane_rad=math.radians(35))
    simulated_as = {"pattern": pattern, "hand_rotation_rad": math.radians(15), "reps": 4}
    for side in ("right", "left"):
        for rep in records(measured(side=side, **simulated_as)):
            assert rep["plane_deg"] == pytest.approx(35, abs=6)
            assert rep["hand_rotation_deg"] == pytest.approx(15, abs=6)


def test_a_front_raise_shows_where_the_lifter_faces():
    simulated_as = {"front_raise": True, "reps": 4, "hang_turn_rad": math.radians(25)}
    session = measured(**simulated_as)
    assert counts(session) == [4]
    true = [math.degrees(r.plane_rad) for r in simulated(**simulated_as)[1].reps]
    np.testing.assert_allclose([r["plane_deg"] for r in records(session)], true, atol=8)


def test_without_a_reference_plane_and_hand_rotation_are_none_and_it_says_why():
    recording = replace(simulated()[0], metadata=Metadata(exercise="lateral-raise", side="right"))
    session = process(recording)
    assert {r["plane_deg"] for r in records(session)} == {None}
    assert {r["hand_rotation_deg"] for r in records(session)} == {None}
    assert all(r["hand_rotation_change_deg"] is not None for r in records(session))
    assert any("--strap" in w for w in session.warnings)


def test_a_promised_front_raise_that_is_not_there():
    session = process(simulated()[0], reference="front-raise")
    assert any("front raise was promised" in w for w in session.warnings)


def test_an_unknown_reference():
    with pytest.raises(UsageError, match="front-raise"):
        process(simulated()[0], reference="north")


# --- other coordinates


def test_a_horizontal_exercise_is_measured_about_the_vertical():
    simulated_as = {"pattern": find_pattern("machine-reverse-fly"), "reps": 5}
    session = measured(**simulated_as)
    assert counts(session) == [5]
    for mine, true in zip(records(session), simulated(**simulated_as)[1].reps, strict=True):
        assert mine["rom_deg"] == pytest.approx(math.degrees(true.rom_rad), abs=2)
        assert mine["start_velocity_deg_s"] == pytest.approx(math.degrees(true.start_velocity_rad_s), abs=3)


def test_an_unknown_exercise_is_measured_about_its_own_axis():
    recording, truth = simulated()
    session = process(recording, exercise="unknown")
    assert counts(session) == [5]
    assert session.motions[0].coordinate == "movement"
    for mine, true in zip(records(session), truth.reps, strict=True):
        # A raise turns nearly about one axis; the hand's own turning is not counted.
        assert mine["rom_deg"] == pytest.approx(math.degrees(true.rom_rad), abs=8)
        assert mine["body_swing_cm"] is None
        assert mine["plane_deg"] is None


# --- nothing to measure, and options


def test_a_still_recording_has_no_set():
    n = 1000
    still = Recording(
        time_s=np.arange(n) / 100,
        specific_force_m_s2=np.tile([0.0, 0.0, 9.80665], (n, 1)),
        angular_velocity_rad_s=np.zeros((n, 3)),
        rate_hz=100.0,
    )
    session = process(still)
    assert session.sets == ()
    record = session.to_dict()
    assert record["sets"] == []
    assert record["mounting"] is not None
    # A loop over many recordings may ask an empty table for a column.
    assert session.frame()["rom_deg"].tolist() == []
    json.dumps(record, allow_nan=False)


def test_gate_band_and_loaded_range_are_options():
    recording = simulated()[0]
    plain = process(recording)
    wide = process(recording, gate_deg=(5, 30), band_deg_s=(1, 2), loaded_range_deg=(0, 180))
    assert wide.to_dict()["settings"]["gate_deg"] == [5.0, 30.0]
    assert {r["start_verdict"] for r in records(wide)} == {"above"}
    for a, b in zip(records(plain), records(wide), strict=True):
        assert a["rom_deg"] == b["rom_deg"]
        assert b["loaded_range_s"] == pytest.approx(b["time_under_tension_s"], abs=0.02)


@pytest.mark.parametrize("fusion", ["madgwick", "mahony"])
def test_a_textbook_filter_can_be_chosen(fusion):
    session = process(simulated(reps=3)[0], fusion=fusion)
    assert counts(session) == [3]
    assert session.to_dict()["settings"]["fusion"] == fusion


def test_the_hanging_pose_is_off_by_the_hang_and_says_so():
    recording, truth = simulated()
    session = process(recording, mounting="hanging")
    # Between the reps the arm hangs 8° off the vertical: the top reads some 8° low or high, the range hardly.
    shift = [
        m["top_deg"] - math.degrees(t.top_rad) for m, t in zip(records(session), truth.reps, strict=True)
    ]
    assert np.median(np.abs(shift)) == pytest.approx(8, abs=2)
    assert records(session)[0]["top_deg_se"] > 7
    assert any("hanging pose" in w for w in session.warnings)


def test_settings_are_used_and_options_beat_them():
    recording = replace(simulated()[0], metadata=Metadata())
    saved = Settings(options=MeasuringOptions.of({"side": "left", "band_deg_s": (1.0, 2.0), "load_kg": 4.0}))
    session = process(recording, kept=Kept(settings=saved), load_kg=5.0)
    assert (session.choices.side, session.choices.load_kg) == ("left", 5.0)
    assert {r["start_verdict"] for r in records(session)} == {"above"}


# --- the record


def test_the_table_has_the_records_keys():
    session = measured()
    frame = session.frame()
    assert list(frame.columns) == ["set", *records(session)[0]]
    assert len(frame) == 5
    assert frame["rom_deg"].tolist() == [r["rom_deg"] for r in records(session)]
    assert frame["quality"].tolist() == [""] * 5


def test_the_table_has_what_the_shoulder_did_where_a_load_is_known():
    session = process(simulated()[0], load_kg=6.0)
    frame, reps = session.frame(), session.to_dict()["sets"][0]["reps"]
    assert frame["peak_moment_n_m"].tolist() == [rep["peak_moment_n_m"] for rep in reps]
    assert list(frame.columns) == ["set", *reps[0]]


def test_times_count_from_the_recordings_first_sample():
    session, truth = measured(), simulated()[1]
    assert session.sets[0].start_s == pytest.approx(truth.reps[0].start_s, abs=0.02)
    assert session.sets[0].end_s == pytest.approx(records(session)[-1]["end_s"], abs=1e-4)
    assert session.sets[0].end_s == pytest.approx(truth.reps[-1].end_s, abs=0.03)


def test_the_package_offers_its_rooms_without_further_imports():
    import subprocess
    import sys

    text = "import armarc; print(armarc.motion.estimate_orientation.__name__, armarc.read_csv.__name__)"
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["estimate_orientation", "read_csv"]


def test_a_set_is_drawn_by_its_number():
    session = measured(1)
    with pytest.raises(UsageError, match="by its number, got '1'"):
        session.plot("1")  # type: ignore[arg-type]
    assert session.plot(np.int64(1)).axes, "as pandas and NumPy hand them on"
