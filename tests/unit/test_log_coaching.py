"""The coach's table: the rule of the next step, lighter weeks, planned and done, shares of the deltoid's parts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from armarc.errors import FormatError
from armarc.exercises import load_catalogue
from armarc.log.coaching import (
    FILE_NAME,
    PARTS,
    Planned,
    coaching_template,
    default_coaching,
    load_coaching,
    planned_weeks,
)
from armarc.log.next_step import next_step
from armarc.log.reading import LoggedSet
from armarc.log.volume import lighter_weeks, lighter_words, parts_volume, weekly_volume
from invented_log import MONDAY

RULE = default_coaching().next


def done(
    day: int,
    *,
    load=8.0,
    reps=8,
    clean=8,
    rom=80.0,
    in_band=8,
    exercise="lateral-raise",
    side="right",
    **other,
):
    moment = MONDAY + timedelta(days=day)
    summary = {
        "clean_reps": clean, "mean_rom_deg": rom, "in_band": {"count": in_band, "share": in_band / reps},
        "time_under_tension_s": 4.0 * reps, "loaded_range_s": 1.0 * reps,
        "loaded_range_impulse_n_m_s": 100.0,
    }  # fmt: skip
    entry = LoggedSet(
        id=100 * day + len(exercise), done_at=moment, day=moment.date(), session_id=day, session="", lifter="Ada",
        exercise=exercise, variant="", side=side, load_kg=load, rir=None, rpe=None, note="", reps=reps, pain=None,
        pain_place="", pain_at_deg=None,
        start_s=0.0, end_s=1.0, summary=summary, measurement_id=day,
    )  # fmt: skip
    return replace(entry, **other)


def month(**last):
    return [done(day) for day in (0, 2, 4, 7, 9)] + [done(11, **last)]


@pytest.mark.parametrize(
    ("last", "next_kg", "words"),
    [
        (
            {},
            9.0,
            "a small step is open, 9 kg, 24 of 24 reps clean at 8 kg (a step of 12 %: more reps first)",
        ),
        ({"clean": 5}, 8.0, "stays, 21 of 24 reps clean at 8 kg"),
        ({"rir": 0.0}, 8.0, "stays, 0 RIR said"),
        ({"rir": 2.0}, 9.0, "a small step is open"),
        ({"in_band": 0}, 8.0, "stays, 67 % of the starts in the band"),
        ({"rom": 55.0}, 8.0, "stays, range 90 % of what it was"),
        ({"tags": ("pain",)}, 8.0, "stays, pain was noted"),
        ({"pain": 2.0}, 8.0, "stays, pain was noted"),
        ({"pain": 0.0}, 9.0, "a small step is open"),
        ({"load": 10.0}, 10.0, "stays, 1 session at 10 kg so far"),
        ({"load": None}, None, "no load stated"),
    ],
)
def test_every_part_of_the_rule_counts(last, next_kg, words):
    step = next_step(month(**last), RULE)
    assert step.words.startswith(words)
    assert step.next_kg == next_kg
    assert step.is_open == (next_kg == 9.0)


def test_few_clean_reps_name_a_step_back_and_the_rule_can_be_changed():
    tired = [done(day, clean=4) for day in (0, 2, 4)]
    assert next_step(tired, RULE).words == "a step back to 7 kg, 12 of 24 reps clean at 8 kg"
    assert next_step(tired, replace(RULE, clean_pct=40, step_kg=0.5)).words == (
        "a small step is open, 8.5 kg, 12 of 24 reps clean at 8 kg"
    )
    # A set measured before there were clean reps says nothing of them.
    old = [replace(entry, summary={}) for entry in month()]
    assert next_step(old, RULE).words == "stays, 0 sessions at 8 kg so far"


def weeks_of(sets_per_week, **other):
    return [done(7 * week + day, **other) for week, count in enumerate(sets_per_week) for day in range(count)]


def test_a_lighter_week_is_seen_marked_and_left_out_of_the_next_step():
    rule = default_coaching().weeks
    usual = weeks_of([4, 4, 4, 4])
    light = [done(28 + day, load=5.0) for day in range(3)]
    weeks = weekly_volume(usual + light)
    late = date(2026, 3, 1)
    (found,) = lighter_weeks(weeks, rule, late)
    assert found == ("Ada", date(2026, 2, 2))
    assert "2026-02-02" in lighter_words({found}, rule)
    # A week that is not over is no lighter one yet, and neither is one week like the others.
    assert lighter_weeks(weeks, rule, date(2026, 2, 5)) == set()
    assert lighter_weeks(weekly_volume(usual), rule, late) == set()
    assert next_step(usual + light, RULE).load_kg == 5.0
    assert next_step(usual + light, RULE, {date(2026, 2, 2).toordinal()}).load_kg == 8.0


def test_without_loads_reps_tell_a_lighter_week_and_rest_is_none():
    rule = default_coaching().weeks
    found = lighter_weeks(weekly_volume(weeks_of([4, 4, 0, 1], load=None)), rule, date(2026, 3, 1))
    assert found == {("Ada", date(2026, 1, 26))}


def test_planned_beside_done():
    plan = {"Ada": {"lateral-raise": Planned(sets=3, reps=24), "front-raise": Planned(sets=2)}}
    found = planned_weeks([*weeks_of([3, 0, 1]), done(1, exercise="reverse-fly")], plan)
    said = [(week.monday.isoformat(), week.exercise, week.sets, week.words) for week in found]
    assert said == [
        ("2026-01-05", "lateral-raise", 3, "as planned"),
        ("2026-01-05", "front-raise", 0, "-2 sets"),
        ("2026-01-05", "reverse-fly", 1, "not planned"),
        ("2026-01-12", "lateral-raise", 0, "-3 sets"),
        ("2026-01-12", "front-raise", 0, "-2 sets"),
        ("2026-01-19", "lateral-raise", 1, "-2 sets"),
        ("2026-01-19", "front-raise", 0, "-2 sets"),
    ]
    assert found[0].clean_reps == 24
    assert planned_weeks(weeks_of([3]), {"Ben": plan["Ada"]}) == []


def test_volume_by_part_is_the_share_of_each_exercise():
    sets = [*weeks_of([2]), done(1, exercise="front-raise"), done(1, exercise="odd-one", side="left")]
    weeks, unknown = parts_volume(sets, default_coaching().parts)
    assert unknown == ["odd-one"]
    found = {week.part: week for week in weeks}
    assert {week.side for week in weeks} == {"right"}
    # Two lateral raises at 0.25 to 1 and a front raise at 1; each set of 8 reps, 32 s and 100 N·m·s.
    assert found["anterior"].sets == (1.5, 3.0)
    assert found["anterior"].reps == (12.0, 24.0)
    assert found["anterior"].time_under_tension_s == (48.0, 96.0)
    assert found["anterior"].impulse_n_m_s == (150.0, 300.0)
    assert found["middle"].sets == (2.25, 2.5)
    assert found["posterior"].sets == (0.0, 1.0)


def test_shares_have_a_source_each_and_cover_the_catalogue():
    parts = default_coaching().parts
    # An exercise nobody named has no part of its own.
    assert set(load_catalogue()) - {"unknown"} == set(parts)
    for name, one in parts.items():
        assert set(one.shares) == set(PARTS), name
        assert any(word in one.source for word in ("no source", "from memory")), name


def test_the_coachs_table_changes_what_it_names_and_nothing_else(tmp_path):
    (tmp_path / FILE_NAME).write_text(
        '[next]\nstep_kg = 0.5\n[parts.lateral-raise]\nmiddle = 1\n[parts.my-raise]\nas = "front-raise"\n'
        '[plan."Ada B"]\nlateral-raise = { sets = 6 }\n'
    )
    found, own = load_coaching(tmp_path), default_coaching()
    assert found.next == replace(own.next, step_kg=0.5)
    assert found.weeks == own.weeks
    assert found.parts["lateral-raise"].shares == {"anterior": (0, 0), "middle": (1, 1), "posterior": (0, 0)}
    assert found.parts["my-raise"] == own.parts["front-raise"]
    assert found.parts["reverse-fly"] == own.parts["reverse-fly"]
    assert found.plan["Ada B"]["lateral-raise"].sets == 6
    (tmp_path / FILE_NAME).write_text(coaching_template())
    assert replace(load_coaching(tmp_path), file=None) == own


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("next = 3", "next is a table"),
        ("[next]\nstep = 1", "step_kg"),
        ("[next]\nclean_pct = 120", "0 to 100"),
        ("[parts.x]\nmiddle = [1, 0.5]", "a share from 0 to 1"),
        ("[parts.x]\nmiddle = 2", "a share from 0 to 1"),
        ('[parts.x]\nas = "y"', "no shares above"),
        ("[plan.Ada]\nx = { reps = 5 }", "sets is missing"),
        ("[plan.Ada]\nx = 5", "expected a table"),
        ("[goals]\nx = 5", "unknown key"),
    ],
)
def test_a_fault_is_named(tmp_path, text, said):
    (tmp_path / FILE_NAME).write_text(text)
    with pytest.raises(FormatError) as fault:
        load_coaching(tmp_path)
    assert said in str(fault.value) + str(fault.value.hint)
