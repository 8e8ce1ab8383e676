"""Properties of the log: what goes in comes out, any age of log is brought up, every change can be taken back."""

import csv
import io
import json
import string
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from armarc.errors import ArmarcError
from armarc.log import Labels, add_result, list_sets, open_log, result_of, schema
from armarc.log.backup import copy_tables
from armarc.log.changing import edit_sets, remove_sets, undo
from armarc.log.comparing import Group, compare
from armarc.log.exporting import export
from armarc.log.measures import MEASURES
from armarc.log.migrations import MIGRATIONS, NEWEST, migrate, version_of
from armarc.log.reading import choose_sets, get_set
from armarc.log.repeatability import intraclass, paired_error
from armarc.log.rows import rep_record, rep_row
from armarc.log.schema import REP_NUMBERS
from armarc.log.smoothing import lowess
from armarc.log.trend import Point, change_between_ends, trend_of
from armarc.log.volume import weekly_volume
from armarc.log.writing import match_by_overlap, settings_hash
from invented_log import fill, invented_result

FEW = settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
MANY = settings(max_examples=40, deadline=None)

plain_json = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**40), 2**40) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.text(string.ascii_letters, max_size=6), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip
numbers = st.none() | st.floats(-1e6, 1e6, allow_nan=False)
texts = st.text(max_size=60)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with open_log(str(tmp_path_factory.mktemp("log") / "log.sqlite")) as opened:
        fill(opened, days=3, sets=2)
        yield opened


@MANY
@given(
    st.dictionaries(st.sampled_from(REP_NUMBERS), numbers),
    st.dictionaries(st.text(max_size=5), plain_json, max_size=3),
)
def test_a_rep_record_survives_the_columns(known, other):
    record = {
        **dict.fromkeys(REP_NUMBERS),
        **other,
        **known,
        "rep": 3,
        "start_verdict": None,
        "quality": ["gap"],
    }
    assert rep_record(rep_row(record)) == record


@FEW
@given(
    settings_=st.dictionaries(st.text(string.ascii_letters, min_size=1, max_size=6), plain_json, max_size=4),
    extra=plain_json,
    seed=st.integers(0, 10**6),
)
def test_any_result_comes_back_as_it_went_in(store, settings_, extra, seed):
    result = invented_result(seed, sets=2, reps=3)
    result["settings"] = {**settings_, **result["settings"]}
    result["sets"][0]["new_key"] = extra
    result["source"]["sha256"] = f"{seed:064x}"
    added = add_result(store, result)
    if added.status == "added":
        assert result_of(store, added.set_ids) == json.loads(json.dumps(result))


@MANY
@given(st.dictionaries(st.text(max_size=6), plain_json, max_size=5), st.randoms(use_true_random=False))
def test_the_order_of_settings_does_not_matter(settings, rng):
    keys = list(settings)
    rng.shuffle(keys)
    shuffled = {key: settings[key] for key in keys}
    assert settings_hash({"settings": settings, "sets": []}) == settings_hash(
        {"sets": [], "settings": shuffled}
    )


@FEW
@given(
    lifter=st.none() | texts, variant=st.none() | texts, note=st.none() | texts, tags=st.lists(texts, max_size=3),
    load=st.none() | st.floats(), rir=st.none() | st.floats(-5, 50), side=st.none() | texts,
)  # fmt: skip
@example(
    lifter="'; DROP TABLE rep; --",
    variant="=cmd|' /C calc'!A0",
    note="\x00",
    tags=["%"],
    load=8.0,
    rir=1,
    side="L",
)
@example(lifter="\ud800", variant=None, note="\u202e", tags=["_"], load=float("nan"), rir=None, side=None)
def test_hostile_labels_are_stored_as_they_are_or_refused(
    store, lifter, variant, note, tags, load, rir, side
):
    before = get_set(store, 1)
    labels = Labels(
        lifter=lifter, variant=variant, note=note, tags=tuple(tags), load_kg=load, rir=rir, side=side
    )
    try:
        changed = edit_sets(store, [1], labels)
    except ArmarcError:
        assert get_set(store, 1) == before
        return
    checked, after = labels.checked(), get_set(store, 1)
    assert checked.note is None or after.note == checked.note
    assert checked.lifter is None or after.lifter == checked.lifter
    assert set(checked.tags) <= set(after.tags)
    if changed:
        undo(store)
    assert get_set(store, 1) == before


@FEW
@given(st.lists(st.tuples(st.sampled_from(["edit", "remove", "load"]), st.integers(1, 6)), max_size=8))
def test_undo_goes_back_step_by_step(store, steps):
    seen = [list_sets(store)]
    for step, number in steps:
        if step == "remove":
            changed = remove_sets(store, [number])
        else:
            labels = Labels(note=f"n{len(seen)}") if step == "edit" else Labels(load_kg=float(len(seen)))
            changed = edit_sets(store, [number], labels)
        if changed:
            seen.append(list_sets(store))
    for state in reversed(seen[:-1]):
        assert undo(store) is not None
        assert list_sets(store) == state


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(start=st.integers(0, NEWEST), days=st.integers(0, 2))
def test_a_log_of_any_age_is_brought_up_with_its_sets(tmp_path_factory, start, days):
    path = tmp_path_factory.mktemp("old") / "log.sqlite"
    with open_log(str(path)) as new:
        fill(new, days=days, sets=1)
        want = list_sets(new)
        with open_log(str(path.with_name("other.sqlite"))) as blank:
            newest = _shape(blank)
    # An old log: only the steps up to `start`, with the rows that fit its tables.
    old = path.with_name("old.sqlite")
    _old_log(path, old, start)
    with open_log(str(old)) as opened:
        with opened.reading() as connection:
            assert version_of(connection) == NEWEST
            steps = connection.execute(sa.select(schema.migration.c.version)).scalars().all()
        assert sorted(steps) == [step.version for step in MIGRATIONS]
        assert _shape(opened) == newest
        assert list_sets(opened) == (want if start >= 1 else [])


def test_the_newest_form_is_the_one_the_code_speaks_of(store):
    found = sa.inspect(store.engine)
    assert set(found.get_table_names()) - {"sqlite_sequence"} == set(schema.metadata.tables)
    for table in schema.metadata.sorted_tables:
        columns = {c["name"]: c["nullable"] for c in found.get_columns(table.name)}
        assert set(columns) == set(table.c.keys())
        for column in table.c:
            if not column.primary_key:
                assert columns[column.name] == column.nullable, (table.name, column.name)


@FEW
@given(st.lists(texts, min_size=1, max_size=4))
@example(["=1+1", "+1", "-1", "@x", "\t=1", "＝1", 'a,b"c\nd'])
def test_no_csv_cell_of_text_starts_a_formula(store, notes):
    for number, note in enumerate(notes[:6], start=1):
        try:
            edit_sets(store, [number], Labels(note=note, variant=note))
        except ArmarcError:
            continue
    stream = io.BytesIO()
    export(store, stream, "csv", per="set")
    rows = list(csv.DictReader(io.StringIO(stream.getvalue().decode(), newline="")))
    by_id = {int(row["id"]): row for row in rows}
    for entry in list_sets(store):
        for key, want in (("note", entry.note), ("variant", entry.variant)):
            cell = by_id[entry.id][key]
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"))
            assert cell in (want, f"'{want}")


@MANY
@given(st.text(max_size=20))
def test_words_for_sets_never_crash(store, word):
    try:
        found = choose_sets(store, [word])
    except ArmarcError:
        return
    assert found


def test_a_copy_is_equal(store, tmp_path):
    with open_log(str(tmp_path / "copy.sqlite")) as copy:
        copy_tables(store, copy)
        assert list_sets(copy) == list_sets(store)


stretches = st.lists(
    st.tuples(st.floats(0, 100), st.floats(0, 20)).map(lambda p: (p[0], p[0] + p[1])), max_size=5
)


@MANY
@given(stretches, stretches)
def test_matching_uses_each_stretch_once(old, new):
    pairs = match_by_overlap(old, new)
    assert len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs)
    for i, j in pairs:
        assert min(old[i][1], new[j][1]) > max(old[i][0], new[j][0])


values = st.lists(st.floats(-1e3, 1e3), min_size=4, max_size=30)


@MANY
@given(values, st.floats(-100, 100), st.floats(0.1, 10))
def test_smoothing_follows_shift_and_scale_and_keeps_straight_lines(ys, shift, scale):
    x, y = np.arange(len(ys), dtype=float), np.array(ys)
    straight = lowess(x, 3 * x - 7)
    assert np.allclose(straight, 3 * x - 7, atol=1e-8)
    # Without reweighting the smoother is linear in y.
    plain = lowess(x, y, robust_rounds=0)
    assert np.allclose(lowess(x, scale * y + shift, robust_rounds=0), scale * plain + shift, atol=1e-6)


def test_one_outlier_hardly_moves_the_course():
    x = np.arange(20.0)
    y = 2 * x + np.sin(x)
    spoiled = y.copy()
    spoiled[10] += 500
    assert np.abs(lowess(x, spoiled) - lowess(x, y)).max() < 1.0


@MANY
@given(st.integers(2, 8), st.integers(2, 5), st.integers(0, 10**6))
def test_correlations_lie_in_their_intervals_and_ignore_units(n, k, seed):
    rng = np.random.default_rng(seed)
    scores = rng.normal(0, 1, (n, 1)) + rng.normal(0, 1, (n, k))
    for form, icc in intraclass(scores).items():
        assert icc.low <= icc.value + 1e-9
        assert icc.value <= icc.high + 1e-9
        assert icc.value <= 1 + 1e-12
        assert intraclass(7 * scores + 100)[form].value == pytest.approx(icc.value, abs=1e-9)


@MANY
@given(st.lists(st.tuples(st.floats(1, 100), st.floats(1, 100)), min_size=3, max_size=20))
def test_typical_error_does_not_care_which_trial_came_first(pairs):
    a, b = zip(*pairs, strict=True)
    one, other = paired_error(a, b), paired_error(b, a)
    assert one.typical_error == pytest.approx(other.typical_error)
    assert one.bias == pytest.approx(-other.bias, abs=1e-9)


def test_the_interval_of_the_error_holds_for_chains_of_repeats():
    """95 % intervals of the typical error from series of neighbours hold the true error about 95 % of the time."""
    from armarc.log.repeats import _chained_error

    rng = np.random.default_rng(21)
    rounds, held = 600, 0
    for _ in range(rounds):
        error = _chained_error([rng.normal(80, 2.0, n) for n in (2, 5, 9)])
        held += error.typical_error_low < 2.0 < error.typical_error_high
    assert 0.92 < held / rounds < 0.98


def test_noise_alone_is_rarely_called_a_change():
    """Independent sessions: the interval allows for sessions that resemble each other, and so misses less than 5 %."""
    rng = np.random.default_rng(8)
    rounds = 800
    for n in (6, 15):
        wrong = 0
        for _ in range(rounds):
            noise = rng.normal(80, 2, n)
            wrong += change_between_ends(noise).is_real
        assert wrong / rounds < 0.06, (n, wrong / rounds)


@MANY
@given(st.lists(st.floats(-1e4, 1e4), max_size=12))
def test_a_trend_never_crashes_and_never_claims_from_few(ys):
    points = [
        Point(day=date(2026, 1, 1) + timedelta(days=i), value=y, sets=1, set_ids=(i,))
        for i, y in enumerate(ys)
    ]
    trend = trend_of(points, MEASURES[0])
    assert trend.words()
    assert len(trend.smooth) == len(points)
    if len(points) < 4:
        assert trend.change is None


def test_weeks_add_up(store):
    entries = list_sets(store)
    weeks = weekly_volume(entries)
    assert sum(week.sets for week in weeks) == len(entries)
    assert sum(week.reps for week in weeks) == sum(entry.reps for entry in entries)
    for name in {entry.lifter for entry in entries}:
        own = [week for week in weeks if week.lifter == name]
        assert sum(week.sets for week in own) == sum(entry.lifter == name for entry in entries)
        for one, other in pairwise(own):
            assert (other.monday - one.monday).days == 7
            assert one.monday.weekday() == 0


def test_a_group_against_itself_shows_nothing(store):
    entries = tuple(list_sets(store)[:4])
    groups = [Group(name="a", sets=entries), Group(name="b", sets=entries)]
    for row in compare(groups, MEASURES, {}):
        if row.effect is not None:
            assert row.effect.difference == 0
            assert not row.is_clear


def _shape(store):
    found = sa.inspect(store.engine)
    return {
        name: sorted((c["name"], str(c["type"]), c["nullable"]) for c in found.get_columns(name))
        for name in found.get_table_names()
    }


def _old_log(source, target, version):
    import sqlite3

    from armarc.log.location import find_location
    from armarc.log.store import _open_file

    store = _open_file(find_location(str(target)), True)
    migrate(store.writing, 0, version)
    store.close()
    with sqlite3.connect(target) as connection:
        connection.execute("ATTACH ? AS new", (str(source),))
        tables = [
            row[0] for row in connection.execute("SELECT name FROM main.sqlite_master WHERE type = 'table'")
        ]
        for table in (
            "recording",
            "lifter",
            "session",
            "measurement",
            "training_set",
            "rep",
            "tag",
            "change",
        ):
            if table in tables:
                columns = ", ".join(row[1] for row in connection.execute(f"PRAGMA main.table_info({table})"))
                connection.execute(f"INSERT INTO main.{table} ({columns}) SELECT {columns} FROM new.{table}")
        connection.commit()
        connection.execute("DETACH new")
    connection.close()
