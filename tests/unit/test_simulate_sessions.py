"""What happens around the sets, and the truth file."""

import json
import math

import numpy as np
import pytest

from armarc.errors import FormatError, UsageError
from armarc.simulate import (
    PATTERNS,
    SensorPlan,
    SimulationOptions,
    find_pattern,
    plan_session,
    read_truth,
    simulate_session,
    truth_path,
    truth_record,
    write_truth,
)
from armarc.simulate.truth_file import REP_KEYS, SERIES_KEYS

IDEAL = SensorPlan(noise="ideal")


def made(seed=1, **options):
    return simulate_session(plan_session(SimulationOptions(**{"sensor": IDEAL, **options}), seed), seed)


@pytest.mark.parametrize("key", list(PATTERNS))
def test_every_movement_gives_its_reps(key):
    _, truth = made(reps=3, pattern=find_pattern(key))
    pattern = PATTERNS[key]
    assert len(truth.reps) == 3
    planned = pattern.top_rad - pattern.bottom_rad
    for rep in truth.reps:
        assert rep.rom_rad == pytest.approx(planned, abs=math.radians(4))
        assert math.degrees(rep.start_velocity_rad_s) == pytest.approx(57, rel=0.12)
        assert (rep.plane_rad is None) == (pattern.coordinate != "elevation")


def test_every_movement_is_in_the_catalogue():
    from armarc.exercises import load_catalogue

    catalogue = load_catalogue()
    for key, pattern in PATTERNS.items():
        assert catalogue[key].sensor_place == pattern.sensor_place


def test_walking_swings_the_arm_about_once_a_second_and_thuds_at_every_step():
    recording, truth = made(sets=2, reps=1, walk=True, rest_s=20)
    series = truth.series
    between = (series.time_s > truth.sets[0].reps[-1].end_s + 2) & (
        series.time_s < truth.sets[1].reps[0].start_s - 3
    )
    # Around 1 stride and 2 steps a second: common practice, no source.
    swing = np.degrees(series.elevation_rad[between])
    assert 15 < swing.max() < 40
    forward = np.ptp(series.shoulder_m[between, 0])
    assert forward > 2
    span = (recording.time_s > 10) & (recording.time_s < 12)
    walking = slice(
        *np.searchsorted(recording.time_s, [series.time_s[between][0], series.time_s[between][-1]])
    )
    size = np.linalg.norm(recording.specific_force_m_s2[walking], axis=1)
    assert size.max() > 13
    assert span.any()


def test_rests_last_as_long_as_asked():
    _, truth = made(sets=3, reps=1, walk=True, fidget=True, rest_s=33)
    for one, following in zip(truth.sets, truth.sets[1:], strict=False):
        pause = following.reps[0].start_s - one.reps[-1].end_s
        # The last rep's own rest, 0.8 s, and 1 s to get ready come on top.
        assert pause == pytest.approx(33 + 1.8, abs=0.5)


def test_picking_up_bends_down_and_comes_back():
    _, truth = made(reps=1, pick_up=True)
    z, t = truth.series.shoulder_m[:, 2], truth.series.time_s
    rep = truth.reps[0]
    assert z[t < rep.start_s].min() < -0.35
    assert z[t > rep.end_s].min() < -0.35
    assert abs(z[np.searchsorted(t, rep.start_s)]) < 0.01


def test_reference_moves():
    _, truth = made(reps=1, twist=True, front_raise=True)
    series, first = truth.series, truth.reps[0]
    before = series.time_s < first.start_s - 1
    assert np.degrees(series.elevation_rad[before].max()) == pytest.approx(90, abs=1)
    top = int(np.argmax(np.where(before, series.elevation_rad, 0)))
    assert np.degrees(series.plane_rad[top]) == pytest.approx(90, abs=3)


def test_the_record_speaks_the_published_keys_and_no_nan():
    recording, truth = made(reps=3, partial_last=True, pick_up=True)
    record = truth_record(truth, recording, file="set.csv")
    json.dumps(record, allow_nan=False)
    reps = record["sets"][0]["reps"]
    assert all(list(rep) == list(REP_KEYS) for rep in reps)
    assert reps[-1]["pause_s"] is None
    assert reps[-1]["quality"] == ["partial"]
    assert reps[0]["rom_deg"] == pytest.approx(reps[0]["top_deg"] - reps[0]["bottom_deg"], abs=1e-3)
    assert record["sets"][0]["summary"]["reps"] == 3
    assert "Invented" in record["note"]
    assert np.linalg.norm(record["mounting"]["arm_axis"]) == pytest.approx(1, abs=1e-5)


def test_a_truth_file_can_be_read_again_with_its_series(tmp_path):
    recording, truth = made(reps=1)
    path = truth_path(tmp_path / "set.csv")
    assert path.name == "set.truth.json"
    write_truth(path, truth, recording, file="set.csv", series=True)
    record = read_truth(path)
    assert tuple(record["series"]) == SERIES_KEYS
    np.testing.assert_allclose(record["series"]["quaternion"], truth.series.quaternion, atol=1e-6)
    assert len(record["series"]["time_s"]) == len(truth.series.time_s)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema": "something/9"}'])
def test_other_files_are_no_truth(tmp_path, text):
    path = tmp_path / "x.truth.json"
    path.write_text(text)
    with pytest.raises(FormatError) as caught:
        read_truth(path)
    assert caught.value.hint


@pytest.mark.parametrize(
    "change",
    [
        {"reps": 0},
        {"sets": 0},
        {"fatigue": 1.0},
        {"variation": math.nan},
        {"cheat_rep": 99},
        {"top_rad": 1.5, "rom_rad": 0.5},
        {"start_velocity_rad_s": -1.0},
        {"start_velocity_rad_s": math.nan},
        {"sets": 50, "rest_s": 600},
        {"bottom_rad": -0.5},
        {"hand_rotation_rad": math.inf},
        {"side": "both"},
    ],
)
def test_impossible_sessions_are_refused_with_a_hint(change):
    with pytest.raises(UsageError) as caught:
        made(**change)
    assert caught.value.hint


def test_an_unknown_movement_names_the_known_ones():
    with pytest.raises(UsageError, match="lateral-raise"):
        find_pattern("squat")
