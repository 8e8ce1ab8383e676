"""Every option of measuring is spelled once; file, result, log and archive follow."""

import pytest

from armarc.choices import choose
from armarc.errors import UsageError
from armarc.load import Lifter
from armarc.options import OPTIONS, MeasuringOptions
from armarc.recording import Metadata
from armarc.results import STATED_ONLY, UsedSettings
from armarc.settings import CHECKS, READING

EXAMPLES = {
    "exercise": "front-raise",
    "side": "left",
    "load_kg": 7.5,
    "resistance": ["8kg", "band:100N/m,length=0.7,anchor=0/-1.4/0"],
    "lifter": "Anna",
    "band_deg_s": [41.0, 66.0],
    "gate_deg": [18.0, 28.0],
    "band_basis": "from 40 clean reps",
    "gate_from": "vertical",
    "loaded_range_deg": [25.0, 65.0],
    "smallest_rom_deg": 22.0,
    "swung_cm": 4.0,
    "dropped_pct": 40.0,
    "rest_s": 7.0,
    "fusion": "madgwick",
    "mounting": "hanging",
    "sensor_place": "upper arm",
    "strap": "back",
    "hand_axis": "+y",
    "reach_cm": 56.5,
    "sensor_height_cm": 2.5,
    "reference": "front-raise",
}


def test_there_is_an_example_of_every_option():
    assert set(EXAMPLES) == {option.outside for option in OPTIONS.values()}


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_option_goes_in_and_comes_out_again(name):
    options = MeasuringOptions.of({name: EXAMPLES[name]})
    assert options.record() == {name: EXAMPLES[name]}
    assert MeasuringOptions.of(options.stated()) == options  # by the names inside, too


def test_every_option_stands_in_a_result_and_gives_the_same_choices_again():
    stated = MeasuringOptions.of(EXAMPLES)
    first = choose(Metadata(), stated)
    record = UsedSettings.of(first).record()
    assert {key: record[key] for key in EXAMPLES if key != "lifter"} == {
        key: value for key, value in EXAMPLES.items() if key != "lifter"
    }
    again = choose(Metadata(), MeasuringOptions.of_record(record | {"reading": {"axes": "x,y,z"}}))
    assert UsedSettings.of(again).record() == record
    plain = UsedSettings.of(choose(Metadata())).record()
    assert set(plain) == ({option.outside for option in OPTIONS.values()} | {"coordinate"}) - set(STATED_ONLY)


def test_every_option_but_those_of_one_recording_belongs_into_the_settings_file():
    left_out = {option.outside for option in OPTIONS.values()} - set(CHECKS)
    assert left_out == {"resistance", "lifter", "band_basis", "gate_from", "reference"}
    assert set(CHECKS) - {option.outside for option in OPTIONS.values()} == set(READING)
    for key, check in CHECKS.items():
        if key in EXAMPLES:
            value = check(EXAMPLES[key])
            assert (list(value) if isinstance(value, tuple) else value) == EXAMPLES[key]


def test_what_is_stated_beats_what_lies_below():
    over = MeasuringOptions(side="left", rest_s=5.0).over(MeasuringOptions(side="right", load_kg=3.0))
    assert over == MeasuringOptions(side="left", rest_s=5.0, load_kg=3.0)
    assert MeasuringOptions(lifter=Lifter(name="Anna")).record() == {"lifter": "Anna"}


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ({"band": (45, 70)}, "band_deg_s"),
        ({"band_deg_s": (1, 2, 3)}, "a number or two"),
        ({"gate_deg": "low"}, "a number or two"),
        ({"band_deg_s": 45}, "two numbers"),
        ({"reach_cm": None, "loud": None}, "no option 'loud'"),
    ],
)
def test_what_is_no_option_is_named(named, said):
    with pytest.raises(UsageError, match=said):
        MeasuringOptions.of(named)
