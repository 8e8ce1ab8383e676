"""Option before header before settings before the exercise's entry."""

import math

import numpy as np
import pytest

from armarc.choices import choose, hand_axis_notes
from armarc.errors import ArmarcError, UsageError
from armarc.exercises import Band, Exercise
from armarc.motion import Mounting
from armarc.options import MeasuringOptions
from armarc.recording import Metadata
from armarc.settings import Settings

CATALOGUE = {
    name: Exercise(key=name, name=name.title(), band=Band(1.0, 2.0), rest_s=20.0, loaded_range_rad=(0.5, 1.0))
    for name in ("lateral-raise", "front-raise", "upright-row")
}


def saved_as(values):
    """A settings file that says this."""
    return Settings(options=MeasuringOptions.of(values))


def chosen(metadata=None, settings=None, **options):
    return choose(
        Metadata(**(metadata or {})), MeasuringOptions(**options), settings=settings, catalogue=CATALOGUE
    )


LADDER = [
    # option, header, settings: how each says it, and what comes out
    ("exercise", "front-raise", "upright-row", "lateral-raise", lambda c: c.exercise.key),
    ("side", "left", "right", "left", lambda c: c.side),
    ("load_kg", 5.0, 6.0, 7.0, lambda c: c.load_kg),
    ("strap", "back", "inside", "thumb", lambda c: c.strap),
    ("hand_axis", "+x", "-x", "+y", lambda c: c.hand_axis),
]


@pytest.mark.parametrize(("key", "option", "header", "saved", "read"), LADDER)
def test_each_step_of_the_ladder(key, option, header, saved, read):
    settings = saved_as({key: saved})
    assert read(chosen({key: header}, settings, **{key: option})) == option
    assert read(chosen({key: header}, settings)) == header
    assert read(chosen(None, settings)) == saved


def test_a_sensor_sits_where_the_exercise_wants_it_unless_somebody_says_otherwise():
    settings, head = saved_as({"sensor_place": "wrist"}), {"other": {"sensor_place": "upper arm"}}
    assert chosen().exercise.sensor_place == "wrist"
    assert chosen(head).exercise.sensor_place == "upper arm"
    assert chosen(head, settings, sensor_place="wrist").exercise.sensor_place == "wrist"
    assert chosen(head, settings).options().sensor_place == "upper arm"  # and in the result
    assert (
        chosen({"other": {"sensor_place": ["knee"]}}).exercise.sensor_place == "wrist"
    )  # a header stops nothing
    with pytest.raises(UsageError, match="one of wrist, upper arm"):
        chosen(sensor_place="knee")


def test_what_nobody_said_is_assumed_and_said():
    c = chosen()
    assert (c.exercise.key, c.side, c.fusion, c.mounting) == ("lateral-raise", "right", "smoother", "auto")
    assert (c.load_kg, c.strap, c.reference) == (None, None, None)
    assert len(c.assumed) == 2
    assert "--exercise" in c.assumed[0]
    assert chosen({"exercise": "front-raise", "side": "left"}).assumed == ()


def test_the_exercises_own_numbers_are_the_last_step():
    entry = chosen().exercise
    assert (entry.band, entry.rest_s, entry.loaded_range_rad) == (Band(1.0, 2.0), 20.0, (0.5, 1.0))
    saved = saved_as(
        {
            "band_deg_s": (30.0, 60.0),
            "rest_s": 15.0,
            "gate_deg": (5.0, 15.0),
            "loaded_range_deg": (20.0, 70.0),
            "smallest_rom_deg": 25.0,
        }
    )
    entry = chosen(settings=saved).exercise
    assert math.degrees(entry.band.low_rad_s) == pytest.approx(30)
    assert (entry.rest_s, math.degrees(entry.smallest_rom_rad)) == (15.0, pytest.approx(25))
    entry = chosen(
        settings=saved, band_rad_s=(0.1, 0.2), rest_s=3.0, gate_rad=(0.2, 0.3), loaded_range_rad=(0.1, 0.9)
    ).exercise
    assert (entry.band, entry.rest_s) == (Band(0.1, 0.2), 3.0)
    assert (entry.gate_rad, entry.loaded_range_rad) == ((0.2, 0.3), (0.1, 0.9))


def test_lengths_come_from_option_header_and_settings():
    saved = saved_as({"reach_cm": 50.0, "sensor_height_cm": 3.0})
    c = chosen({"other": {"sensor_height_m": 0.04}}, saved)
    assert (c.reach_m, c.sensor_height_m) == (pytest.approx(0.5), 0.04)
    c = chosen({"other": {"sensor_height_m": 0.04}}, saved, reach_m=0.6, sensor_height_m=0.01)
    assert (c.reach_m, c.sensor_height_m) == (0.6, 0.01)
    assert chosen(None, saved).sensor_height_m == pytest.approx(0.03)


def test_a_load_of_nothing_is_a_load():
    assert chosen({"load_kg": 5.0}, load_kg=0.0).load_kg == 0.0


def test_an_entry_of_ones_own():
    own = Exercise(key="own", name="Own", rest_s=7.0)
    assert chosen(exercise=own).exercise.rest_s == 7.0


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"side": "middle"}, "right or left"),
        ({"gate_rad": (0.3, 0.2)}, "--gate"),
        ({"gate_rad": (-0.1, 0.2)}, "--gate"),
        ({"gate_rad": (0.1, 1.7)}, "--gate"),
        ({"band_rad_s": (2.0, 1.0)}, "45 to 70"),
        ({"loaded_range_rad": (1.0, 0.5)}, "--loaded-range"),
        ({"rest_s": -4.0}, "--rest"),
        ({"rest_s": math.nan}, "--rest"),
        ({"reach_m": -0.04}, "--reach-cm"),
        ({"sensor_height_m": 0.5}, "--sensor-height-cm"),
        ({"metadata": {"other": {"sensor_height_m": "high"}}}, "--sensor-height-cm"),
        ({"exercise": "nothing-like-this"}, "nothing-like-this"),
    ],
)
def test_senseless_choices_are_refused(options, says):
    with pytest.raises(ArmarcError, match=says) as caught:
        chosen(**options)
    assert isinstance(caught.value, UsageError)
    assert caught.value.exit_code == 2


def test_a_senseless_side_in_the_header_is_refused_too():
    with pytest.raises(UsageError, match="not a side"):
        chosen({"side": "both"})


def mounted(arm_axis, method="lever_arm"):
    return Mounting(method=method, arm_axis=np.asarray(arm_axis, dtype=float), uncertainty_rad=0.03)


def test_a_stated_hand_axis_is_answered():
    """Said on its own it is compared with what the recording shows, and said what to add to have it used."""
    arm = [0.96, 0.28, 0.0]
    (near,) = hand_axis_notes(chosen(hand_axis="+x"), mounted(arm))
    assert "the lever arm shows the arm 16° from the stated hand axis +x and was used" in near
    assert "--mounting stated" in near
    (far,) = hand_axis_notes(chosen(hand_axis="-x"), mounted(arm))
    assert "164° from the stated hand axis -x: one of them is wrong" in far
    # One from a header or the settings only counts where it contradicts the recording.
    assert hand_axis_notes(chosen({"hand_axis": "+x"}), mounted(arm)) == ()
    assert len(hand_axis_notes(chosen({"hand_axis": "+z"}), mounted(arm))) == 1
    assert hand_axis_notes(chosen({"hand_axis": "towards the hand"}), mounted(arm)) == ()
    # Used as stated, or not stated at all: nothing to say.
    assert hand_axis_notes(chosen(hand_axis="+x"), mounted(arm, "stated")) == ()
    assert hand_axis_notes(chosen(), mounted(arm)) == ()


def test_a_hand_axis_that_is_none_is_refused():
    with pytest.raises(UsageError, match="not a sensor axis"):
        chosen(hand_axis="q")
