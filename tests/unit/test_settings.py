"""The lifter's settings file, and loads and pairs as people type them."""

from __future__ import annotations

import math

import pytest

from armarc import settings as module
from armarc.errors import FormatError, InputError, UsageError
from armarc.exercises import find_exercise, load_catalogue
from armarc.options import FUSIONS, MeasuringOptions
from armarc.settings import (
    TEMPLATE,
    Settings,
    effective,
    load_settings,
    parse_load,
    parse_pair,
    settings_path,
)


def write(folder, text):
    path = folder / "armarc.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_no_file_sets_nothing(tmp_path):
    assert load_settings(tmp_path) == Settings()


def test_template_sets_nothing_until_a_line_is_uncommented(tmp_path):
    path = write(tmp_path, TEMPLATE)
    assert load_settings(tmp_path) == Settings(file=path)
    keys = set()
    lines = []
    for line in TEMPLATE.splitlines():
        if line.startswith("# ") and " = " in line.split("#")[1]:
            lines.append(line[2:])
            keys.add(line[2:].split(" = ")[0])
    write(tmp_path, "\n".join(lines))
    loaded = load_settings(tmp_path)
    assert keys == set(module.CHECKS)
    assert set(loaded.record()) == keys


def test_as_options_they_are_in_si(tmp_path):
    write(
        tmp_path,
        "band_deg_s = [50, 60]\ngate_deg = [12, 22]\nloaded_range_deg = [20, 70]\nsmallest_rom_deg = 25\n"
        'reach_cm = 52\nsensor_height_cm = 3.5\nSide = "right"\n'.replace("Side", "side"),
    )
    s = load_settings(tmp_path).options
    assert s.band_rad_s == pytest.approx((math.radians(50), math.radians(60)))
    assert s.gate_rad == pytest.approx((math.radians(12), math.radians(22)))
    assert s.loaded_range_rad == pytest.approx((math.radians(20), math.radians(70)))
    assert s.smallest_rom_rad == pytest.approx(math.radians(25))
    assert (s.reach_m, s.sensor_height_m) == pytest.approx((0.52, 0.035))
    assert s.side == "right"
    assert Settings().options == MeasuringOptions()


@pytest.mark.parametrize(
    ("line", "key", "said"),
    [
        ('exercse = "a"', "exercse", "did you mean exercise?"),
        ("load = 8", "load", "load_kg"),
        ('side = "middle"', "side", '"right", "left"'),
        ("load_kg = -1", "load_kg", "from 0 to 500 kg"),
        ("load_kg = true", "load_kg", "got true"),
        ('load_kg = "8 kg"', "load_kg", 'got "8 kg"'),
        ("gate_deg = [20, 10]", "gate_deg", "two rising numbers"),
        ('hand_axis = "x"', "hand_axis", '"+x"'),
        ('axes = "+x,+x,+z"', "axes", "three different axes"),
        ('fusion = "best"', "fusion", '"smoother"'),
        ("reach_cm = 0.52", "reach_cm", "from 15 to 120 cm"),
        ("[lateral-raise]\nrest_s = 3", "lateral-raise", "unknown key"),
    ],
)
def test_fault_names_file_key_expected_and_found(tmp_path, line, key, said):
    path = write(tmp_path, line)
    with pytest.raises(FormatError) as caught:
        load_settings(tmp_path)
    assert caught.value.file == str(path)
    assert caught.value.column == key
    assert said in str(caught.value)
    assert caught.value.exit_code == 3


def test_folder_in_place_of_the_file_is_told(tmp_path):
    (tmp_path / "armarc.toml").mkdir()
    with pytest.raises(InputError, match="cannot be read"):
        load_settings(tmp_path)


def test_environment_moves_the_file(tmp_path, monkeypatch):
    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(tmp_path))
    assert settings_path() == tmp_path / "armarc.toml"
    monkeypatch.setenv("ARMARC_CONFIG_DIR", "")
    assert settings_path().name == "armarc.toml"
    assert settings_path() != tmp_path / "armarc.toml"


def test_words_are_those_the_other_rooms_know():
    # The settings load without heavy libraries, so they repeat these words; they must not drift apart.
    from armarc.motion.orientation import METHODS

    assert FUSIONS == METHODS


def test_effective_says_where_each_value_comes_from(tmp_path):
    raise_ = find_exercise("lateral-raise", load_catalogue(tmp_path))
    saved = Settings(options=MeasuringOptions.of({"rest_s": 6.0, "gate_deg": (12.0, 22.0)}))
    rows = {row.key: row for row in effective(saved, raise_)}
    assert (rows["rest_s"].value, rows["rest_s"].origin) == (6.0, "settings")
    assert (rows["gate_deg"].value, rows["gate_deg"].origin) == ([12.0, 22.0], "settings")
    assert (rows["band_deg_s"].value, rows["band_deg_s"].origin) == ([45.0, 70.0], "exercise")
    assert (rows["exercise"].value, rows["exercise"].origin) == ("lateral-raise", "armarc")
    assert (rows["side"].value, rows["side"].origin) == (None, "unset")
    assert set(rows) == set(module.CHECKS)


@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("8kg", 8.0),
        ("8 KG", 8.0),
        ("8", 8.0),
        ("0", 0.0),
        (".5", 0.5),
        ("2,5 kg", 2.5),
        (" 7.5kg ", 7.5),
        # 1 lb = 0.45359237 kg exactly (NIST SP 811, appendix B.8).
        ("1 lb", 0.45359237),
        ("17.5 lb", 17.5 * 0.45359237),
        ("20lbs", 9.0718474),
        ("20 pounds", 9.0718474),
        ("20 lb.", 9.0718474),
    ],
)
def test_loads(text, kg):
    assert parse_load(text) == pytest.approx(kg, rel=1e-15)


@pytest.mark.parametrize(
    "text", ["", "kg", "eight", "-3kg", "8 g", "1e3", "8 kg 2", "nan", "inf", "501", "1.2.3", "٣ kgx"]
)
def test_what_is_not_a_load(text):
    with pytest.raises(UsageError, match="load") as caught:
        parse_load(text)
    assert "8kg" in caught.value.hint


@pytest.mark.parametrize(
    "text",
    ["45-70", "45:70", "45 to 70", "45 – 70", "45..70", " 45 - 70 ", "45-70°/s", "45.0-70,0", "45-70 deg/s"],
)
def test_pairs(text):
    assert parse_pair(text) == (45.0, 70.0)


@pytest.mark.parametrize(
    "text", ["", "45", "70-45", "45-45", "45-", "-45-70", "a-b", "45-70-90", "45 70", "nan-70"]
)
def test_what_is_not_a_pair(text):
    with pytest.raises(UsageError) as caught:
        parse_pair(text)
    assert "45-70" in caught.value.hint
