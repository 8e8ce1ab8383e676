"""Settings of a recording as its sets were corrected in the log."""

from armarc.log.edited import settings_as_edited

MEASURED = {
    "exercise": "lateral-raise",
    "side": "right",
    "load_kg": 8.0,
    "band_deg_s": [45.0, 70.0],
    "gate_deg": [10.0, 20.0],
    "loaded_range_deg": [20.0, 50.0],
    "rest_s": 10.0,
    "sensor_place": "wrist",
    "strap": "back",
}


def test_nothing_edited_changes_nothing():
    assert settings_as_edited(MEASURED, {"lateral-raise"}, {"right"}) == MEASURED
    assert settings_as_edited(MEASURED, {"lateral-raise"}, {None}) == MEASURED
    assert settings_as_edited(MEASURED, (), ()) == MEASURED


def test_one_arm_for_all_sets_is_taken_and_two_are_not():
    assert settings_as_edited(MEASURED, {"lateral-raise"}, {"left"}) == MEASURED | {"side": "left"}
    assert settings_as_edited(MEASURED, {"lateral-raise"}, {"left", "right"}) == MEASURED


def test_what_an_exercise_brings_goes_with_it_and_what_was_stated_stays():
    taken = settings_as_edited(MEASURED, {"overhead-press"}, {"right"})
    stated = {"loaded_range_deg": [20.0, 50.0], "side": "right", "load_kg": 8.0, "strap": "back"}
    assert taken == {"exercise": "overhead-press", **stated}


def test_a_lifters_own_band_is_of_one_exercise():
    own = MEASURED | {"band_deg_s": [50.0, 60.0], "band_basis": "40 starts of Anna"}
    taken = settings_as_edited(own, {"front-raise"}, {"right"})
    assert not {"band_deg_s", "band_basis"} & set(taken)


def test_a_name_nobody_knows_and_two_exercises_say_nothing_of_measuring():
    assert settings_as_edited(MEASURED, {"y-raise"}, {"right"}) == MEASURED
    assert settings_as_edited(MEASURED, {"front-raise", "lateral-raise"}, {"right"}) == MEASURED
