"""The entries that come with armarc."""

from __future__ import annotations

import math
import re

import pytest

from armarc.exercises import (
    DEFAULT_EXERCISE,
    coordinate_meaning,
    exercise_record,
    find_exercise,
    load_catalogue,
    sensor_advice,
)

ASKED_FOR = {
    "lateral-raise": ("wrist", "elevation", "dumbbell"),
    "cable-lateral-raise": ("wrist", "elevation", "cable"),
    "machine-lateral-raise": ("wrist", "elevation", "machine"),
    "band-lateral-raise": ("wrist", "elevation", "band"),
    "scaption-raise": ("wrist", "elevation", "dumbbell"),
    "front-raise": ("wrist", "elevation", "dumbbell"),
    "front-raise-little-finger-up": ("wrist", "elevation", "dumbbell"),
    "reverse-fly": ("wrist", "horizontal", "dumbbell"),
    "machine-reverse-fly": ("wrist", "horizontal", "machine"),
    "upright-row": ("upper arm", "elevation", "any"),
    "overhead-press": ("upper arm", "elevation", "any"),
    "close-grip-bench-press": ("upper arm", "movement", "any"),
    "band-external-rotation": ("wrist", "horizontal", "band"),
    "band-internal-rotation": ("wrist", "horizontal", "band"),
    "unknown": ("wrist", "movement", "any"),
}


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory):
    return load_catalogue(tmp_path_factory.mktemp("none") / "missing")


def test_every_exercise_says_where_the_sensor_sits_and_which_angle_counts(catalogue):
    found = {key: (e.sensor_place, e.coordinate, e.resistance) for key, e in catalogue.items()}
    assert found == ASKED_FOR
    for exercise in catalogue.values():
        assert sensor_advice(exercise)
        assert coordinate_meaning(exercise)


def test_default_is_the_dumbbell_lateral_raise_and_unknown_comes_last(catalogue):
    assert DEFAULT_EXERCISE == next(iter(catalogue)) == "lateral-raise"
    assert list(catalogue)[-1] == "unknown"


def test_raises_carry_the_common_practice_band_and_loaded_range(catalogue):
    # Common practice, no source: a start near 57.5 °/s and 30-60° of abduction as the loaded range.
    for key in ASKED_FOR:
        record = exercise_record(catalogue[key])
        raise_ = key.endswith("-raise") or key == "front-raise-little-finger-up"
        assert record["band_deg_s"] == ([45.0, 70.0] if raise_ else None)
        assert record["loaded_range_deg"] == ([30.0, 60.0] if raise_ else None)
        assert record["gate_deg"] == [10.0, 20.0]
        if raise_:
            assert "no source" in record["note"]
    band = catalogue["lateral-raise"].band
    assert band.verdict(math.radians(57.5)) == "inside"


def test_start_gate_ends_before_the_smallest_rep_does(catalogue):
    for exercise in catalogue.values():
        assert exercise.gate_rad[1] <= exercise.smallest_rom_rad


def test_cautions_advise_and_never_judge_an_angle(catalogue):
    # The evidence on harm by angle is contested: Kolber et al. 2014 (JSCR 28:1081) against
    # Lawrence, Braman & Ludewig 2020 (Braz J Phys Ther 24:219).
    for exercise in catalogue.values():
        caution = exercise.caution.lower()
        assert "stop" in caution
        assert "licensed practitioner" in caution
        assert not re.search(r"\bsafe(ly)?\b|\bdangerous\b|\bimpingement\b|\bharmless\b", caution)
        assert not re.search(r"\b(9\d|1\d\d)°", caution)


def test_no_two_entries_share_a_name(catalogue):
    owner: dict[str, str] = {}
    for exercise in catalogue.values():
        for word in (exercise.key, exercise.name, *exercise.aliases):
            assert find_exercise(word, catalogue).key == exercise.key, word
            assert owner.setdefault(word.casefold(), exercise.key) == exercise.key


@pytest.mark.parametrize(
    ("spoken", "key"),
    [
        ("Lateral Raise", "lateral-raise"),
        ("side raises", "lateral-raise"),
        ("LATERALS", "lateral-raise"),
        ("lateral_raise", "lateral-raise"),
        ("cable lateral raises", "cable-lateral-raise"),
        ("scaption", "scaption-raise"),
        ("front raise thumb up", "front-raise"),
        ("front raise, little finger up", "front-raise-little-finger-up"),
        ("pinky-up front raise", "front-raise-little-finger-up"),
        ("rear delt fly", "reverse-fly"),
        ("reverse machine fly", "machine-reverse-fly"),
        ("shoulder press", "overhead-press"),
        ("close grip bench", "close-grip-bench-press"),
        ("external rotation with a band", "band-external-rotation"),
    ],
)
def test_spoken_names_find_their_exercise(catalogue, spoken, key):
    assert find_exercise(spoken, catalogue).key == key
