"""Own entries, and what is said about faulty ones."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest

from armarc.errors import FormatError, InputError, UsageError
from armarc.exercises import TEMPLATE, exercises_folder, find_exercise, load_catalogue


def write(folder, text, name="mine.toml"):
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_own_entry_for_a_known_key_changes_only_what_it_names(tmp_path):
    write(tmp_path, "[lateral-raise]\nband_deg_s = [50, 60]\n")
    mine = load_catalogue(tmp_path)["lateral-raise"]
    built_in = load_catalogue(tmp_path / "missing")["lateral-raise"]
    assert mine.band.low_rad_s == pytest.approx(math.radians(50))
    assert mine.loaded_range_rad == built_in.loaded_range_rad
    assert mine.aliases == built_in.aliases
    assert (mine.source, built_in.source) == ("mine.toml", "armarc")


def test_based_on_starts_a_new_key_without_taking_the_other_names(tmp_path):
    write(tmp_path, '[my-raise]\nname = "Mine"\nbased_on = "cable-lateral-raise"\naliases = ["blue one"]\n')
    catalogue = load_catalogue(tmp_path)
    assert catalogue["my-raise"].resistance == "cable"
    assert catalogue["my-raise"].key == "my-raise"
    assert find_exercise("Blue One", catalogue).key == "my-raise"
    assert find_exercise("cable side raise", catalogue).key == "cable-lateral-raise"


def test_none_takes_a_band_away(tmp_path):
    write(tmp_path, '[lateral-raise]\nband_deg_s = "none"\nloaded_range_deg = "none"\n')
    mine = load_catalogue(tmp_path)["lateral-raise"]
    assert mine.band is None
    assert mine.loaded_range_rad is None


def test_own_word_beats_a_built_in_other_name(tmp_path):
    write(tmp_path, '[my-press]\nname = "My press"\naliases = ["press"]\n')
    assert find_exercise("press", load_catalogue(tmp_path)).key == "my-press"


def test_template_is_a_valid_entry_and_so_is_every_line_of_it_uncommented(tmp_path):
    write(tmp_path, TEMPLATE)
    assert load_catalogue(tmp_path)["my-cable-raise"].resistance == "cable"
    lines = TEMPLATE.splitlines()
    uncommented = "\n".join(line[2:] if " = " in line and line.startswith("# ") else line for line in lines)
    write(tmp_path, uncommented)
    entry = load_catalogue(tmp_path)["my-cable-raise"]
    assert entry.aliases == ("blue cable raise",)
    assert entry.caution == "..."


def test_folder_follows_the_environment(tmp_path, monkeypatch):
    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(tmp_path))
    assert exercises_folder() == tmp_path / "exercises"
    write(tmp_path / "exercises", '[my-raise]\nname = "Mine"\n')
    assert find_exercise("mine").key == "my-raise"


@pytest.mark.parametrize(
    ("text", "column", "said"),
    [
        ("[lateral-raise]\nband = [45, 70]\n", "lateral-raise.band", "band_deg_s"),
        ("[lateral-raise]\nband_deg_s = [70, 45]\n", "lateral-raise.band_deg_s", "got [70, 45]"),
        ("[lateral-raise]\nband_deg_s = [45]\n", "lateral-raise.band_deg_s", "two rising numbers"),
        ("[lateral-raise]\nband_deg_s = [45, inf]\n", "lateral-raise.band_deg_s", "inf"),
        ("[lateral-raise]\nband_deg_s = [true, 70]\n", "lateral-raise.band_deg_s", "expected"),
        ('[lateral-raise]\nrest_s = "10"\n', "lateral-raise.rest_s", 'got "10"'),
        ("[lateral-raise]\nrest_s = nan\n", "lateral-raise.rest_s", "from 1 to 600 seconds"),
        ('[lateral-raise]\nsensor_place = "ankle"\n', "lateral-raise.sensor_place", '"upper arm"'),
        ('[lateral-raise]\ncoordinate = "x"\n', "lateral-raise.coordinate", '"horizontal"'),
        ('[lateral-raise]\naliases = "side"\n', "lateral-raise.aliases", "a list of texts"),
        ("[lateral-raise]\nname = 3\n", "lateral-raise.name", "got 3"),
        ("[my-raise]\nrest_s = 5\n", "my-raise.name", "needs a name"),
        ('[my-raise]\nname = "a"\nbased_on = "laterl-raise"\n', "my-raise.based_on", "lateral-raise"),
        ('[my-raise]\nname = "a"\naliases = ["Upright row"]\n', "my-raise.aliases", "upright-row"),
        ('[My_Raise]\nname = "a"\n', "My_Raise", "small letters"),
        ("rest_s = 3\n", "rest_s", "outside an entry"),
    ],
)
def test_fault_names_file_key_expected_and_found(tmp_path, text, column, said):
    path = write(tmp_path, text)
    with pytest.raises(FormatError) as caught:
        load_catalogue(tmp_path)
    assert caught.value.file == str(path)
    assert caught.value.column == column
    assert said in str(caught.value)


def test_broken_toml_names_the_line(tmp_path):
    write(tmp_path, '[lateral-raise]\nname = "a\n')
    with pytest.raises(FormatError) as caught:
        load_catalogue(tmp_path)
    assert caught.value.line == 2


def test_other_encodings_are_told_and_a_byte_order_mark_is_fine(tmp_path):
    write(tmp_path, b'\xef\xbb\xbf[my-raise]\nname = "M\xc3\xa4rz"\n')
    assert load_catalogue(tmp_path)["my-raise"].name == "März"
    write(tmp_path, b'[my-raise]\nname = "M\xe4rz"\n')
    with pytest.raises(FormatError) as caught:
        load_catalogue(tmp_path)
    assert caught.value.line == 2
    assert "UTF-8" in str(caught.value)


def test_same_key_in_two_files_is_told(tmp_path):
    write(tmp_path, '[my-raise]\nname = "a"\n', "a.toml")
    write(tmp_path, '[my-raise]\nname = "b"\n', "b.toml")
    with pytest.raises(FormatError, match=r"already in .*a\.toml"):
        load_catalogue(tmp_path)


def test_file_instead_of_a_folder_is_told(tmp_path):
    path = write(tmp_path, "")
    with pytest.raises(InputError, match="not a folder"):
        load_catalogue(path)


def test_unreadable_entry_is_told(tmp_path):
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(InputError, match="cannot be read"):
        load_catalogue(tmp_path)


def test_unknown_name_suggests_close_ones(tmp_path):
    catalogue = load_catalogue(tmp_path)
    with pytest.raises(UsageError) as caught:
        find_exercise("laterl raise", catalogue)
    assert "lateral-raise" in caught.value.hint
    with pytest.raises(UsageError, match="armarc exercises"):
        find_exercise("zzzz", catalogue)
    with pytest.raises(UsageError):
        find_exercise("", catalogue)


def test_loading_the_catalogue_and_settings_needs_no_heavy_library():
    code = (
        "import sys, armarc.exercises as e, armarc.settings as s; e.load_catalogue(); s.load_settings();"
        "print([m for m in ('numpy', 'scipy', 'pandas', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
