"""Trends, bests, weeks, comparisons and repeats on invented sets with known answers."""

from dataclasses import replace
from datetime import date, timedelta
from functools import partial

import numpy as np
import pytest
from scipy import stats

from armarc.errors import UsageError
from armarc.log import Labels, add_result, fatigue_of, list_sets, open_log
from armarc.log.bests import personal_bests
from armarc.log.comparing import Group, chance_words, compare, group_by, message_of
from armarc.log.effects import independent_effect, paired_effect
from armarc.log.measures import MEASURES, find_measure
from armarc.log.reading import reps_by_set
from armarc.log.records import starts_words
from armarc.log.relevance import holm, lifters_spread, smallest_relevant
from armarc.log.repeats import repeatability_of
from armarc.log.rows import impulse_of
from armarc.log.shared_errors import RepsOfSet, reps_with_recordings
from armarc.log.table import SessionKey, SetTable, TaskKey
from armarc.log.trend import Point, error_from_neighbours, session_points, trend_of
from armarc.log.volume import weekly_volume
from armarc.measures import row_of
from armarc.reps import Rep
from armarc.reps.summary import summarise
from invented_log import fill, invented_result
from invented_sessions import correlated
from published import rep_of


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with open_log(str(tmp_path_factory.mktemp("log") / "log.sqlite")) as opened:
        fill(opened, days=8, sets=2, gain=1.5)
        fill(opened, days=8, sets=1, lifter="Ada", seed=500)
        fill(opened, days=8, sets=1, seed=700, side="left")
        yield opened


def points(values):
    first = date(2026, 1, 5)
    return [
        Point(day=first + timedelta(days=3 * i), value=v, sets=1, set_ids=(i + 1,))
        for i, v in enumerate(values)
    ]


def relevant_of(table):
    """Smallest relevant range of motion of invented lifters (rows) over sessions (columns)."""
    rom = find_measure("rom_deg")
    sessions, values, first = [], [], date(2026, 1, 5)
    for i, row in enumerate(table):
        for j, value in enumerate(row):
            day = (first + timedelta(days=j)).isoformat()
            sessions.append(SessionKey(day, i * len(row) + j, f"lifter {i}", ""))
            values.append(value)
    n = len(values)
    made = SetTable(
        set_id=np.arange(1, n + 1),
        done_s=np.arange(n, dtype=float),
        session=np.argsort(np.array([sessions.index(key) for key in sorted(sessions)])),
        sessions=tuple(sorted(sessions)),
        task=np.zeros(n, np.int64),
        tasks=(TaskKey("lateral-raise", "", "right", 8.0),),
        day=np.array([date.fromisoformat(key.day).toordinal() for key in sessions]),
        lifter=np.repeat(np.arange(len(table)), len(table[0])),
        numbers={rom.key: np.array(values)},
    )
    return smallest_relevant(rom, made)


def test_a_rise_is_real_and_noise_is_not(store):
    rom = find_measure("rom")
    mine = [e for e in list_sets(store) if e.lifter == "me" and e.side == "right"]
    rise = trend_of(session_points(mine, rom), rom)
    assert len(rise.points) == 8
    assert rise.change.is_real
    assert rise.change.low > 0
    assert rise.words().startswith("Real change: +")
    ada = [e for e in list_sets(store) if e.lifter == "Ada"]
    flat = trend_of(session_points(ada, rom), rom)
    assert not flat.change.is_real
    assert flat.words().startswith(("No real change", "Unclear"))


def test_the_worthwhile_change_decides_the_words():
    rom = find_measure("rom_deg")
    values = [80.0, 80.2, 79.8, 80.1, 83.0, 83.2, 82.8, 83.1]
    own = partial(smallest_relevant, rom)
    assert "above the smallest" in trend_of(points(values), rom, own(own=2)).words()
    assert trend_of(points(values), rom, own(own=5)).words().startswith("Real but small")
    assert "own number" in trend_of(points(values), rom, own(own=5)).worthwhile_from
    assert "working limit" in trend_of(points(values), rom).worthwhile_from
    # An interval that reaches over the smallest relevant change is no proof that nothing changed.
    wild = [80.0, 84.0, 77.0, 83.0, 79.0, 82.0]
    assert trend_of(points(wild), rom, own(own=1)).words().startswith("Unclear")
    assert trend_of(points(wild), rom, own(own=40)).words().startswith("No real change")


def test_one_odd_session_does_not_make_the_error():
    quiet = np.array([80.0, 80.5, 79.8, 80.2, 79.9, 80.3, 80.0, 80.4])
    odd = quiet.copy()
    odd[4] = 110.0
    assert error_from_neighbours(odd) < 3 * error_from_neighbours(quiet)
    assert np.sqrt(np.mean(np.diff(odd) ** 2) / 2) > 20 * error_from_neighbours(quiet)


def test_slope_is_per_week():
    rom = find_measure("rom_deg")
    trend = trend_of(points([70, 71, 72, 73, 74, 75]), rom)
    assert trend.slope_per_week == pytest.approx(7 / 3)


def test_few_or_equal_sessions_give_no_verdict():
    rom = find_measure("rom_deg")
    assert "3 more needed" in trend_of(points([70.0]), rom).words()
    assert "do not differ" in trend_of(points([70.0] * 6), rom).words()
    assert trend_of([], rom).change is None


def test_no_interval_of_no_width():
    rom = find_measure("rom_deg")
    for values in ([70.0, 71.0, 72.0, 73.0, 74.0], [8.0, 8.0, 10.0, 10.0]):
        found = trend_of(points(values), rom)
        assert (found.change, found.slope_low) == (None, None) or found.slope_low < found.slope_high
        assert found.words().startswith(f"Changed by +{values[-1] - values[0]:.1f}° ")
    for effect in (
        independent_effect([8, 8], [10, 10]),
        paired_effect([8.1, 8.1, 8.1], [10.3, 10.3, 10.3]),
        independent_effect([8], [10, 10, 10]),
    ):
        assert effect.no_scatter
        assert (effect.low, effect.p) == (None, None)


def test_amounts_stand_with_their_unit_as_everywhere():
    amounts = [find_measure(name).amount("7.5") for name in ("rom", "start-velocity", "velocity-loss")]
    assert amounts == ["7.5°", "7.5 °/s", "7.5 %"]


def test_a_single_value_is_taken_to_scatter_as_the_others_do():
    # Crawford and Howell 1998: t with n - 1 degrees of freedom; the interval of a next value of scipy's t.
    others = np.array([80.0, 82.0, 79.0, 83.0, 81.5])
    found = independent_effect([88.0], others)
    half = stats.t.ppf(0.975, 4) * others.std(ddof=1) * np.sqrt(1 + 1 / 5)
    assert (found.low, found.high) == pytest.approx((others.mean() - 88 - half, others.mean() - 88 + half))
    assert independent_effect(others, [88.0]).p == pytest.approx(found.p)


def days_of(rng, plan, *, between=2.0, lifters=1):
    """Sets of two equal variants: for each session, whose it is and how many sets of each variant it holds."""
    sets = [(number, variant) for number, (_, *counts) in enumerate(plan) for variant, n in enumerate(counts)
            for _ in range(n)]  # fmt: skip
    day = rng.normal(0, between, len(plan))
    liking = rng.normal(0, between, (lifters, 2)) * (lifters > 1)
    first = date(2026, 1, 5)
    sessions = tuple(
        SessionKey((first + timedelta(days=k)).isoformat(), k, f"lifter {who}", "")
        for k, (who, *_) in enumerate(plan)
    )
    who = np.array([plan[number][0] for number, _ in sets])
    values = [80 + day[k] + liking[plan[k][0], variant] + rng.normal(0, 1) for k, variant in sets]
    table = SetTable(
        set_id=np.arange(1, len(sets) + 1),
        done_s=np.arange(len(sets), dtype=float),
        session=np.array([k for k, _ in sets]),
        sessions=sessions,
        task=np.array([variant for _, variant in sets]),
        tasks=tuple(TaskKey("lateral-raise", name, "right", 8.0) for name in ("a", "b")),
        day=np.array([date.fromisoformat(sessions[k].day).toordinal() for k, _ in sets]),
        lifter=who,
        numbers={"rom_deg": np.array(values)},
    )
    return [Group(name=name, sets=table.take(table.task == k)) for k, name in enumerate("ab")]


@pytest.mark.parametrize(
    ("plan", "lifters", "unit"),
    [
        ([(0, 3, 0)] * 4 + [(0, 0, 3)] * 4, 1, "session"),
        ([(0, 4, 0)] * 2 + [(0, 0, 4)] * 2, 1, "session"),
        ([(0, 3, 0)] + [(0, 0, 3)] * 5, 1, "session"),
        ([(0, 2, 2)] * 4, 1, "session"),
        ([(who, 1, 1) for who in range(5) for _ in range(4)], 5, "lifter"),
        ([(who, 2, 0) for who in range(4)] * 2 + [(who, 0, 2) for who in range(4, 8)] * 2, 8, "lifter"),
    ],
)
def test_equal_variants_are_rarely_told_apart(plan, lifters, unit):
    """Sets counted one by one called 18-40 % of equal variants done on different days different."""
    rng = np.random.default_rng(21)
    rom, false, missed = find_measure("rom_deg"), 0, 0
    for _ in range(300):
        (row,) = compare(days_of(rng, plan, lifters=lifters), [rom], {})
        assert row.unit_of_analysis == unit
        false += row.effect.p <= 0.05
        missed += not row.effect.low <= 0 <= row.effect.high
    assert false == missed
    assert false / 300 < 0.08


def test_single_days_speak_of_these_days_only():
    rng = np.random.default_rng(4)
    (row,) = compare(days_of(rng, [(0, 4, 0), (0, 0, 4)]), [find_measure("rom_deg")], {})
    assert row.unit_of_analysis == "set"
    assert "these days only" in row.caution
    (row,) = compare(
        days_of(rng, [(who, 1, 1) for who in (0, 1, 0, 1)], lifters=2), [find_measure("rom_deg")], {}
    )
    assert (row.unit_of_analysis, row.to_dict()["caution"]) == ("session", row.caution)
    assert "these lifters only" in row.caution


@pytest.mark.parametrize("rho", [0.0, 0.5])
def test_the_interval_of_a_slope_holds_where_sessions_resemble_each_other(rho):
    """Sen's own misses 18-23 % from 12 sessions on at a correlation of 0.5."""
    rng = np.random.default_rng(8)
    rom, missed = find_measure("rom_deg"), 0
    for values in correlated(rng, rho, 14, 400):
        found = trend_of(points(80 + values), rom)
        missed += not found.slope_low <= 0 <= found.slope_high
    assert missed / 400 < 0.09


@pytest.mark.parametrize("n", [4, 8])
def test_few_sessions_have_a_detectable_change_that_holds(n):
    """With the normal distribution 17 % (four sessions) and 11 % (eight) of unchanged pairs lay beyond it."""
    rng = np.random.default_rng(9)
    rom = find_measure("rom_deg")
    beyond = [
        abs(np.diff(rng.standard_normal(2))[0])
        > trend_of(points(80 + rng.standard_normal(n)), rom).detectable
        for _ in range(400)
    ]
    assert np.mean(beyond) < 0.07


def test_bests_keep_loads_apart(tmp_path):
    with open_log(str(tmp_path / "log.sqlite")) as store:
        for seed, (reps, load) in enumerate([(8, 8), (12, 8), (15, 6), (9, 8), (14, 6)]):
            add_result(
                store, invented_result(seed, reps=reps, load_kg=load), labels=Labels(session=str(seed))
            )
        found = {(b.entry.load_kg, b.measure.key): b for b in personal_bests(list_sets(store))}
        clean = {entry.id: entry.summary["clean_reps"] for entry in list_sets(store)}
    most = {load: max(clean[i] for i in ids) for load, ids in ((8, (1, 2, 4)), (6, (3, 5)))}
    assert found[8, "clean_reps"].value == most[8]
    # A lighter load counts only where it was lifted for more clean reps than every heavier one.
    assert ((6, "clean_reps") in found) == (most[6] > most[8])
    work = max(clean[i] * load for i, load in ((1, 8), (2, 8), (3, 6), (4, 8), (5, 6)))
    assert {b.value for (_, key), b in found.items() if key == "load_clean_reps_kg"} == {work}
    assert {key for _, key in found} == {"clean_reps", "load_clean_reps_kg"}
    assert found[8, "clean_reps"].inside_error is None


def test_a_swung_set_is_no_best(tmp_path):
    with open_log(str(tmp_path / "log.sqlite")) as store:
        for seed, flags in enumerate([[], [], [], ["swung"], []]):
            result = invented_result(seed, reps=8 + 4 * bool(flags))
            for rep in result["sets"][0]["reps"]:
                rep["quality"] = flags
            (one,) = result["sets"]
            reps = [rep_of(rep) for rep in one["reps"]]
            one["summary"] = summarise(reps, one["start_s"], one["end_s"], True).record()
            add_result(store, result, labels=Labels(session=str(seed)))
        best = next(b for b in personal_bests(list_sets(store)) if b.measure.key == "clean_reps")
    assert best.value == 8
    assert best.second == 8
    # Zero clean reps in the swung set are an odd session; the others agree to the rep.
    assert best.inside_error in (True, None)


def test_weeks_without_training_are_there(tmp_path):
    with open_log(str(tmp_path / "log.sqlite")) as store:
        fill(store, days=1, sets=2)
        result = invented_result(9)
        result["source"]["started_at"] = "2026-01-21T10:00:00+00:00"
        add_result(store, result)
        weeks = weekly_volume(list_sets(store))
    assert [week.sets for week in weeks] == [2, 0, 1]
    assert weeks[0].monday == date(2026, 1, 5)
    assert weeks[0].to_dict()["week"] == "2026-W02"
    assert weeks[0].load_reps_kg == 2 * 6 * 8
    assert weeks[1].load_reps_kg is None


def test_impulse_in_the_loaded_range_is_summed():
    reps = [{"moment_impulse_n_m_s": 50.0, "loaded_impulse_pct": 40.0}, {"moment_impulse_n_m_s": 60.0}]
    assert impulse_of({"reps": reps}) == {"loaded_range_impulse_n_m_s": 20.0}
    assert impulse_of({"reps": [{"rep": 1}]}) == {}


def test_single_sets_are_paired_by_rep(store):
    entries = list_sets(store)[:2]
    groups = [Group(name=str(e.id), sets=(e,)) for e in entries]
    (row,) = compare(groups, [find_measure("rom")], reps_with_recordings(store, [e.id for e in entries]))
    assert row.unit_of_analysis == "rep"
    assert row.effect.paired
    assert row.effect.n_first == 6
    want = entries[1].summary["mean_rom_deg"] - entries[0].summary["mean_rom_deg"]
    assert row.effect.difference == pytest.approx(want, abs=2e-4)


def test_reps_are_paired_where_both_are_full(store):
    groups = [Group(name=str(e.id), sets=(e,)) for e in list_sets(store)[:2]]

    def against(roms, half):
        whole = [{"rep": n, "rom_deg": 79.0 + n, "quality": []} for n in range(1, 5)]
        other = [
            {"rep": n, "rom_deg": r, "quality": ["partial"] * half[n - 1]} for n, r in enumerate(roms, 1)
        ]
        reps = dict(zip((groups[0].sets[0].id, groups[1].sets[0].id), (whole, other), strict=True))
        read = {number: RepsOfSet(recording=number, reps=found) for number, found in reps.items()}
        effect = compare(groups, [find_measure("rom")], read)[0].effect
        return effect.n_first, effect.difference

    assert against([81.0, 82.0, 83.0, 20.0], [0, 0, 0, 1]) == (3, 1.0)
    # A set without a full rep is known by what it has, as in its own means.
    assert against([30.0, 31.0, 32.0, 33.0], [1, 1, 1, 1]) == (4, -50.0)


def test_sides_are_paired_by_session_and_get_an_index(store):
    mine = [e for e in list_sets(store) if e.lifter == "me"]
    groups = group_by(mine, "side")
    assert [g.name for g in groups] == ["left", "right"]
    (row,) = compare(groups, [find_measure("rom")], {})
    assert row.unit_of_analysis == "session"
    assert row.effect.n_first == 8
    assert row.asymmetry.sessions == 8
    assert row.asymmetry.index_pct > 0
    assert "right" in row.asymmetry.words()


def test_groups_without_common_sessions_are_independent(store):
    entries = sorted(list_sets(store), key=lambda e: e.done_at)
    groups = [Group(name="a", sets=entries[:4]), Group(name="b", sets=entries[-5:])]
    (row,) = compare(groups, [find_measure("rom")], {})
    sessions = [len({e.session_id for e in group.sets}) for group in groups]
    assert (row.unit_of_analysis, row.effect.paired) == ("session", False)
    assert [row.effect.n_first, row.effect.n_second] == sessions


def test_a_comparison_needs_two_groups(store):
    with pytest.raises(UsageError, match="two groups"):
        compare(group_by([e for e in list_sets(store) if e.lifter == "Ada"], "side"), MEASURES, {})
    with pytest.raises(UsageError, match="by 'mood'"):
        group_by([], "mood")


def test_the_title_of_a_comparison_names_the_groups_that_differ(store):
    mine = sorted(
        (e for e in list_sets(store) if e.lifter == "me" and e.side == "right"), key=lambda e: e.done_at
    )
    early, later, late = (
        Group(name=name, sets=sets)
        for name, sets in (("early", mine[:4]), ("later", mine[2:6]), ("late", mine[-6:]))
    )
    rows = compare([early, later, late], [find_measure("rom")], {})
    assert [row.verdict == "clear" for row in rows] == [False, True]
    assert message_of(rows).startswith("Clear between early and late: range of motion +")
    assert message_of(rows[:1]) == "No clear difference between early and later."
    assert (
        message_of([rows[0], replace(rows[0], second="b")])
        == "No clear difference between early and each of later, b."
    )


def test_repeats_of_several_tasks(store):
    entries = list_sets(store)
    found = repeatability_of(entries, find_measure("start_velocity"), across="days")
    assert (found.targets, found.repeats) == (3, 24)
    assert found.error.pairs == 21
    assert set(found.icc) == {"1,1", "2,1", "3,1"}
    within = repeatability_of(entries, find_measure("start_velocity"), across="sets")
    assert (within.targets, within.error.pairs) == (8, 8)
    with pytest.raises(UsageError):
        repeatability_of(entries, find_measure("rom"), across="years")


def test_too_few_repeats_say_so(store):
    found = repeatability_of(list_sets(store)[:1], find_measure("rom"))
    assert found.error is None
    assert "three tasks" in found.why_no_icc
    assert found.to_dict()["typical_error"] is None


def test_spread_between_lifters_needs_three(store):
    assert lifters_spread(list_sets(store), find_measure("rom")) is None


def test_lifters_who_differ_by_their_sessions_only_have_no_worthwhile_change():
    rng = np.random.default_rng(3)
    same = relevant_of(rng.normal(80, 6, (4, 2)))
    assert same.value != 0
    if "working limit" in same.origin:
        assert same.value == 2.5


def test_holm_against_the_steps_by_hand():
    # 0.01·3, then 0.02·2, then 0.04·1, never falling; what has no p value counts for nothing.
    assert holm(np.array([0.04, 0.01, np.nan, 0.02])) == pytest.approx(
        [0.04, 0.03, np.nan, 0.04], nan_ok=True
    )


def test_ten_milliseconds_are_no_clear_difference(store):
    entries = list_sets(store)[:2]
    groups = [Group(name=str(e.id), sets=(e,)) for e in entries]
    found = reps_by_set(store, [e.id for e in entries])
    reps = {number: RepsOfSet(recording=1, reps=those) for number, those in found.items()}
    for first, second in zip(*found.values(), strict=True):
        second["hold_s"] = first["hold_s"] + 0.010 + 0.0001 * (first["rep"] % 2)
    hold, rom = find_measure("hold_s"), find_measure("rom")
    row, _ = compare(groups, [hold, rom], reps)
    assert row.effect.p < 1e-6
    assert (row.verdict, row.is_clear) == ("small", False)
    assert compare(groups, [hold], reps, relevant=0.005)[0].verdict == "clear"
    assert "2 differences were judged" in chance_words(compare(groups, [hold, rom], reps))


def test_correlations_over_tasks_of_one_lifter_say_so(store):
    mine = [e for e in list_sets(store) if e.lifter == "me"]
    found = repeatability_of(mine, find_measure("rom"), across="sets")
    assert "of one lifter" in found.icc_caution


@pytest.mark.parametrize("name", ["", "nothing", "deg", "summary:"])
def test_unknown_measures(name):
    with pytest.raises(UsageError):
        find_measure(name)


def test_measures_by_short_and_other_names(store):
    assert find_measure("ROM").key == "rom_deg"
    assert find_measure("body-swing").key == "body_swing_cm"
    other = find_measure("summary:cv_rom_deg_pct")
    assert other.of(list_sets(store)[0]) is not None
    assert find_measure("in_band").of(list_sets(store)[0]) is not None


def test_loss_along_a_set():
    reps = [
        row_of(Rep, {"rep": i + 1, "mean_concentric_deg_s": v, "rom_deg": r})
        for i, (v, r) in enumerate([(50, 80), (40, 80), (60, 72), (47, 76), (45, None), (None, 60)])
    ]
    found = fatigue_of(reps, stop_at_pct=20)
    assert found.velocity_loss_pct == pytest.approx((0, 20, 0, 21.6667, 25, None), abs=1e-3)
    assert found.rom_loss_pct == pytest.approx((0, 0, 10, 5, None, 25))
    # Rep 2 was slow alone and rep 3 fast again: a slip, not fatigue.
    assert found.stop_after_rep == 4
    assert found.velocity_loss_set_pct == pytest.approx(25)
    assert "Jukic" in found.words()


def test_loss_is_said_of_the_rep_the_summary_takes_it_at():
    def found(*flags):
        times = dict.fromkeys(("concentric_s", "hold_s", "eccentric_s", "pause_s"), 1.0)
        reps = [
            row_of(Rep, {"rep": i, "mean_concentric_deg_s": v, "rom_deg": 80.0, "quality": quality, **times})
            for i, (v, quality) in enumerate(zip((60.0, 54.0, 30.0), flags, strict=True), 1)
        ]
        whole = summarise(reps, 0.0, 9.0, True).record()["velocity_loss_pct"]
        loss = fatigue_of(reps)
        assert loss.velocity_loss_set_pct == pytest.approx(whole, abs=0.01)
        return loss.words().split(" %")[0]

    assert found([], [], []) == "The last rep was 50"
    assert found([], [], ["partial"]) == "The last full rep was 10"
    # Without a full rep those count that are not cut.
    assert found(["swung"], ["swung"], ["swung", "open_end"]) == "The last full rep was 10"


def test_starts_are_counted_of_those_that_were_judged(store):
    """As everywhere else: a rep whose start was not seen is neither inside the band nor outside."""
    entry = list_sets(store)[0]

    def said(band):
        return starts_words(replace(entry, reps=10, summary={"in_band": band}), " of ")

    assert said({"count": 8, "share": 8 / 9}) == "8 of 9"
    assert said({"count": 0, "share": 0.0}) == "0 of 10"
    assert said(None) == ""


def test_loss_of_next_to_nothing():
    assert fatigue_of([]).velocity_loss_set_pct is None
    assert "fewer than two" in fatigue_of([]).words()
    assert (
        fatigue_of([row_of(Rep, {"rep": 1, "mean_concentric_deg_s": 50, "rom_deg": 80})]).stop_after_rep
        is None
    )


def test_no_error_is_printed_as_nothing():
    steady = paired_effect([0.2501, 0.2502, 0.2499, 0.2501], [0.2502, 0.2501, 0.2502, 0.2502])
    assert 0 < steady.high - steady.low < 0.001
    assert steady.words(2) == "+0.0001 (-0.0002 to +0.0004)"
    assert paired_effect([80.0, 81.0, 80.6], [79.0, 82.5, 80.0]).words(1).startswith("+0.0 (-")
    still = trend_of(points([0.251, 0.252, 0.250, 0.251, 0.2515, 0.2505]), find_measure("hold_s"))
    assert "+0.00 s" not in still.words()
    assert "-0.00 " not in still.words()
