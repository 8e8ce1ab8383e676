"""Tables of a set for the terminal and for pipes."""

from __future__ import annotations

import io
import math
import re
import subprocess
import sys
from dataclasses import replace

import pytest
from rich.console import Console

from armarc.exercises import band_words
from armarc.log.fatigue import fatigue_of
from armarc.measures import record_of, row_of
from armarc.report import tables
from armarc.report.answers import flag_letters, flag_words, letters_of
from armarc.report.page_parts import PageTable, reps_page_table
from armarc.report.tables import plain_set, print_logged, print_set
from armarc.reps.flags import FLAGS
from armarc.reps.summary import SetSummary
from armarc.reps.types import Rep
from armarc.results import SetResult
from invented_sets import invent

BAND = (45.0, 70.0)


def record(reps=8, **changes):
    _, measured = invent(reps, **changes)
    return SetResult.of(measured).record()


def reps_of(records):
    return [row_of(Rep, record) for record in records]


def set_table(records, **how):
    return tables.set_table(reps_of(records), **how)


def summary_block(records, summary, **how):
    return tables.summary_block(reps_of(records), SetSummary.from_record(summary), **how)


def printed(thing, width, encoding="utf-8"):
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding)
    Console(file=file, width=width, force_terminal=True, no_color=True, color_system=None).print(thing)
    file.flush()
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize("width", range(26, 150, 4))
def test_no_number_is_ever_cut(width):
    made = record(12, flags={3: ("partial",), 7: ("gap", "clipped", "stall")}, without_start=(5,))
    lines = printed(set_table(made["reps"], width=width), width).splitlines()
    assert all(len(line) <= width for line in lines)
    assert len(lines) == 3 + 12
    assert not any("…" in line for line in lines)
    for rep, line in zip(made["reps"], lines[3:], strict=True):
        assert line.split()[0] == str(rep["rep"])
        if rep["start_verdict"]:
            assert re.search(rf" {rep['start_velocity_deg_s']:.0f} [▽●▲] {rep['start_verdict']}\b", line)


def test_wide_terminal_shows_everything_a_gym_asks_for():
    made = record(3, flags={2: ("partial",)})
    for rep in made["reps"]:
        rep |= {"plane_deg": 31.4, "hand_rotation_deg": -12.0}
    lines = printed(set_table(made["reps"], width=140), 140).splitlines()
    heads = [
        "rep",
        "start",
        "±",
        "ROM",
        "TUT",
        "tempo",
        "top",
        "loaded",
        "swing",
        "mean",
        "peak",
        "plane",
        "hand",
    ]
    assert lines[0].split() == [*heads, "flags"]
    first = made["reps"][0]
    e, p, c, h = (first[k] for k in ("eccentric_s", "pause_s", "concentric_s", "hold_s"))
    assert f"{e:.1f}/{p:.1f}/{c:.1f}/{h:.1f}" in lines[3]
    assert f"{first['rom_deg']:.0f}" in lines[3].split()
    assert "-12" in lines[3]


def test_a_little_below_zero_is_zero():
    made = record(2)
    for rep in made["reps"]:
        rep["plane_deg"] = -0.3
    assert "-0" not in printed(set_table(made["reps"], width=140), 140)


def test_what_is_measured_and_what_is_logged_round_to_the_same_digit():
    """51.4998 °/s are published as 51.5: a table made at once and one made from the log say the same."""
    (logged,) = reps_of(record(1)["reps"])
    at_once = replace(logged, start_velocity_rad_s=math.radians(51.4998))
    later = row_of(Rep, record_of(at_once))
    shown = [printed(tables.set_table([rep], width=60), 60).splitlines()[-1] for rep in (at_once, later)]
    assert shown[0] == shown[1]
    assert " 52 " in shown[0]


def test_columns_of_words_on_a_page_stand_left_with_their_heads():
    table = PageTable(caption="", heads=("Task", "Part", "Day", "Sets"), rows=(
        ("a", "–", "2026-03-01", "3"), ("b", "posterior", "2026-03-02", "–"),
    ))  # fmt: skip
    assert table.wordy == (True, True, False, False)
    assert not any(
        PageTable(caption="", heads=("Rep", "1"), rows=(("Start was", "inside"),), across=True).wordy
    )


def test_no_standard_error_on_a_page_is_nothing_at_all():
    reps = reps_of(record(3)["reps"])
    sure = [replace(rep, concentric_se_s=0.0024, rom_se_rad=math.radians(1.04)) for rep in reps]
    heads = [row[0] for row in reps_page_table(sure, fatigue_of(sure), "Reps").rows]
    assert "Concentric (s) ± <0.01" in heads
    assert "Range of motion (°) ± 1.0" in heads


def test_narrow_terminal_keeps_what_matters_most():
    lines = printed(set_table(record(3)["reps"], width=40), 40).splitlines()
    assert lines[0].split()[:3] == ["rep", "start", "ROM"]
    assert "peak" not in lines[0]


def test_columns_without_a_value_are_left_out():
    made = record(3)
    assert "plane" not in printed(set_table(made["reps"], width=200), 200)
    made["reps"][1]["plane_deg"] = 30.0
    text = printed(set_table(made["reps"], width=200), 200)
    assert "plane" in text
    assert "–" in text


def test_plain_letters_where_the_terminal_knows_no_others():
    made = record(12, seed=3, flags={2: ("partial",)}, without_start=(4,))
    out = printed(set_table(made["reps"], width=120, ascii_only=True), 120, encoding="ascii")
    assert "partial" in out
    block = summary_block(made["reps"], made["summary"], ascii_only=True)
    assert "of 11" in printed(block, 120, encoding="ascii")


def test_summary_says_what_the_record_says():
    made = record(10, seed=5, without_start=(4,))
    summary = made["summary"]
    out = printed(summary_block(made["reps"], summary, band=band_words(BAND, None)), 120)
    assert f"{summary['in_band']['count']} of 9 ({100 * summary['in_band']['share']:.0f} %)" in out
    assert f"{summary['velocity_loss_pct']:.0f} % of the best mean raising velocity" in out
    assert f"{summary['rom_loss_pct']:.0f} % lost" in out
    assert summary["tempo"] in out
    assert f"{summary['time_under_tension_s']:.0f} s" in out
    assert f"working band {BAND[0]:g}-{BAND[1]:g} °/s, no source" in out
    below = sum(rep["start_verdict"] == "below" for rep in made["reps"])
    above = sum(rep["start_verdict"] == "above" for rep in made["reps"])
    assert below == 0 or f"{below} below" in out
    assert above == 0 or f"{above} above" in out


def test_summary_says_how_sure_one_rep_is():
    made = record(3)
    for rep, se in zip(made["reps"], (0.2, 0.4, 0.9), strict=True):
        rep.update(rom_deg_se=se, top_deg_se=None, plane_deg_se=10.1, body_swing_cm_se=0.62)
        rep.pop("hand_rotation_deg_se", None)
    told = printed(summary_block(made["reps"], made["summary"]), 100)
    assert "ROM ±0.4°, plane ±10°, swing ±0.6 cm" in told
    for rep in made["reps"]:
        rep.update(concentric_s_se=0.04, hold_s_se=0.44, eccentric_s_se=0.43)
    crept = printed(summary_block(made["reps"], made["summary"]), 100)
    assert "hold ±0.4 s, eccentric ±0.4 s" in crept, (
        "no less is known of them than a tenth, as the tempo is written"
    )
    assert "concentric ±" not in crept
    for rep in made["reps"]:
        rep.update(concentric_s_se=0.01, hold_s_se=0.01, eccentric_s_se=0.01)
    letters = printed(summary_block(made["reps"], made["summary"], ascii_only=True), 100, encoding="ascii")
    assert "ROM +/-0.4 deg" in letters
    for rep in made["reps"]:
        for key in ("rom_deg_se", "plane_deg_se", "body_swing_cm_se"):
            rep[key] = None
    assert "Standard errors" not in printed(summary_block(made["reps"], made["summary"]), 100)


def test_summary_says_why_there_is_no_swing():
    made = record(4)
    made["reps"][1].update(body_swing_cm=None, body_swing_reason="too uncertain: 1.0 ± 2.0 cm")
    told = printed(summary_block(made["reps"], made["summary"]), 100)
    assert "1 of 4 reps without: too uncertain" in told
    assert "2.0 cm" not in told
    for rep in made["reps"]:
        rep.update(body_swing_cm=None, body_swing_reason="no raise about the shoulder")
    made["summary"]["mean_body_swing_cm"] = None
    assert "–  no raise about the shoulder" in printed(summary_block(made["reps"], made["summary"]), 100)


def test_summary_without_a_band_has_no_band():
    made = record(3, band=None)
    out = printed(summary_block(made["reps"], made["summary"]), 80)
    assert "band" not in out.lower()


def test_flags_are_explained_once():
    made = record(4, flags={1: ("partial",), 2: ("partial", "new_one")})
    out = printed(summary_block(made["reps"], made["summary"]), 100)
    assert out.count(FLAGS["partial"]) == 1
    assert "new one" in out
    letters = flag_letters([("a", "b"), ("b", "c")])
    assert letters == {"a": "ᵃ", "b": "ᵇ", "c": "ᶜ"}
    assert letters_of(("c", "b", "a"), letters) == "ᵃᵇᶜ"
    assert flag_words("gap") == "samples are missing"


def test_every_flag_the_reps_can_carry_has_words():
    from pathlib import Path

    import armarc.reps

    source = "".join(p.read_text(encoding="utf-8") for p in Path(armarc.reps.__file__).parent.glob("*.py"))
    raised = set(re.findall(r"""(?:quality|flags)\.append\("(\w+)"\)""", source))
    assert raised
    assert raised <= set(FLAGS)


def test_pipe_gets_every_key_tab_separated():
    made = record(3, flags={2: ("gap", "clipped")}, without_start=(3,))
    lines = plain_set(made["reps"]).splitlines()
    header = lines[0].split("\t")
    assert header == list(made["reps"][0])
    rows = [dict(zip(header, line.split("\t"), strict=True)) for line in lines[1:]]
    assert [row["rep"] for row in rows] == ["1", "2", "3"]
    assert float(rows[0]["rom_deg"]) == made["reps"][0]["rom_deg"]
    assert rows[2]["start_velocity_deg_s"] == ""
    assert rows[1]["quality"] == "gap clipped"
    assert plain_set([]) == ""


def test_print_set_has_title_and_summary():
    made = SetResult.of(invent(2)[1])
    screen = io.StringIO()
    console = Console(file=screen, force_terminal=True, width=90, no_color=True, color_system=None)
    print_set(console, made, title="[bold]Set 1[/x]", band=band_words(BAND, None))
    assert "[bold]Set 1[/x]" in screen.getvalue()
    assert "In the band" in screen.getvalue()


def test_a_logged_set_is_printed_as_the_console_takes_it():
    made = record(2)
    lost = {"velocity_loss_pct": (0.0, 12.4), "rom_loss_pct": (None, 3.0)}
    pipe = io.StringIO()
    print_logged(Console(file=pipe), made["reps"], lost)
    assert [line.split("\t")[-2:] for line in pipe.getvalue().splitlines()] == [
        ["velocity_loss_pct", "rom_loss_pct"], ["0.0", ""], ["12.4", "3.0"]
    ]  # fmt: skip
    screen = io.StringIO()
    console = Console(file=screen, force_terminal=True, width=120, no_color=True, color_system=None)
    print_logged(console, [{**made["reps"][0], "rom_deg": "odd"}, made["reps"][1]], lost)
    assert "loss" in screen.getvalue().splitlines()[0]
    assert "12" in screen.getvalue().splitlines()[4].split()
    # What the raised letters of the flags mean stands below, as below a set that was just measured.
    flagged = [{**one, "quality": ["near_edge"]} for one in made["reps"]]
    print_logged(console, flagged, lost)
    assert "ᵃ the start lies within its standard error" in screen.getvalue()


def test_tables_do_not_load_the_plotting_library():
    code = "import sys, armarc.report.tables; print('matplotlib' in sys.modules, 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]
