"""Sets read as columns say what the sets say one by one."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from armarc.cli.terminal import indented_json
from armarc.errors import LogError
from armarc.log import Filter, add_result, list_sets, open_log
from armarc.log.changing import undo
from armarc.log.measures import MEASURES, find_measure
from armarc.log.migrations import MIGRATIONS, migrate
from armarc.log.remeasuring import remeasure
from armarc.log.smoothing import median_slope
from armarc.log.table import as_table, read_table
from invented_log import fill, invented_file, invented_result

ROM = find_measure("rom_deg")
ASKED = (*MEASURES, find_measure("summary:cv_rom_deg_pct"), find_measure("summary:in_band"))


@pytest.fixture
def store(tmp_path):
    with open_log(str(tmp_path / "log.sqlite")) as opened:
        fill(opened, days=4, sets=2)
        fill(opened, days=3, sets=2, lifter="Ada", seed=7, load_kg=None, side=None)
        yield opened


def assert_same(store, where=None):
    """Columns read in SQL against the sets themselves."""
    where = where or Filter()
    sets = list_sets(store, where)
    columns, rows = read_table(store, where, *ASKED), as_table(sets, *ASKED)
    for row, entry in enumerate(sets):
        labels = columns.labels(row)
        assert (labels.id, labels.day, labels.lifter) == (entry.id, entry.day, entry.lifter)
        assert (labels.exercise, labels.variant, labels.side, labels.load_kg) == entry.condition
    assert len(columns) == len(rows) == len(sets)
    for measure in ASKED:
        np.testing.assert_array_equal(columns.of(measure), rows.of(measure))


def test_columns_are_what_the_sets_say(store):
    assert_same(store)
    assert_same(store, Filter(lifter="ada"))
    assert_same(store, Filter(lifter="nobody"))
    values = read_table(store, Filter(), *ASKED)
    assert not np.isnan(values.of(find_measure("rom_deg"))).any()
    assert np.isnan(values.of(find_measure("load_kg"))).sum() == 6
    assert np.isnan(values.of(ASKED[-1])).all()


def test_columns_follow_a_new_measurement_and_its_undoing(store, tmp_path):
    add_result(store, invented_result(1, sets=2), invented_file(tmp_path))
    remeasure(store, [8], lambda *_: invented_result(3, sets=2, rom=60))
    assert_same(store)
    assert read_table(store, Filter(), ROM).of(ROM).min() < 65
    undo(store)
    assert_same(store)


def test_an_older_log_gets_its_columns(store):
    before = read_table(store, Filter(), *ASKED)
    step = next(step.version for step in MIGRATIONS if step.name == "columns for statistics")
    with store.writing() as connection:
        connection.exec_driver_sql("DROP TABLE set_number")
        connection.exec_driver_sql("DROP INDEX set_labels")
        connection.exec_driver_sql(f"DELETE FROM migration WHERE version >= {step}")
        connection.exec_driver_sql("UPDATE training_set SET summary = '[1, ' WHERE id = 3")
    migrate(store.writing, step - 1, step)
    assert_same(store, Filter(ids=(1, 2, 4, 5, 6)))
    rest = read_table(store, Filter(ids=(1, 2, 4)), ROM)
    np.testing.assert_array_equal(rest.of(ROM), before.of(ROM)[np.isin(before.set_id, rest.set_id)])
    with pytest.raises(LogError, match="damaged"):
        read_table(store, Filter(), ROM)


@pytest.mark.parametrize(
    ("column", "value"),
    [("side", b"\0"), ("done_at", "noon"), ("load_kg", "heavy"), ("reps", "many"), ("exercise", b"\0")],
)
def test_a_damaged_set_is_named(store, column, value):
    with store.writing() as connection:
        connection.exec_driver_sql(f"UPDATE training_set SET {column} = ? WHERE id = 2", (value,))
    with pytest.raises(LogError, match=r"set 2 .*damaged"):
        read_table(store, Filter(), *MEASURES)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
def test_indented_json_is_that_of_the_library(value):
    assert indented_json(value) == json.dumps(value, ensure_ascii=False, indent=2)


def test_json_knows_no_infinity():
    with pytest.raises(ValueError, match="not JSON compliant"):
        indented_json({"a": [1, math.inf]})


@pytest.mark.parametrize("seed", range(8))
def test_median_slope_is_that_of_scipy(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(4, 60))
    x, y = np.sort(rng.integers(0, 40, n)) / 7, np.round(rng.normal(80, 3, n), int(rng.integers(0, 4)))
    x[-1] += 1
    want = stats.theilslopes(y, x)
    assert median_slope(x, y) == pytest.approx((want.slope, want.low_slope, want.high_slope), abs=1e-12)
