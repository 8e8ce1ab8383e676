"""A measure is declared once: everything that shows or keeps measures has each, and nobody has a second list."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from armarc.archive.schema import TABLES
from armarc.load.table import LoadMeasures
from armarc.log.fatigue import fatigue_of
from armarc.log.measures import MEASURES
from armarc.measures import columns, row_of
from armarc.report.page_parts import reps_page_table
from armarc.report.tables import plain_set, set_table
from armarc.reps.summary import SetSummary, mean_key
from armarc.reps.types import Rep
from armarc.results import SetResult
from invented_sets import invent

SOURCE = Path(__file__).parents[2] / "src" / "armarc"
COLUMNS = columns(Rep)
KEYS = [column.key for column in COLUMNS]

LISTS_OF_THEIR_OWN = {
    # columns of a database that exists already; whatever has none is kept as JSON
    "log/schema.py",
    # the truth has definitions of its own and owes nothing to what it checks
    "simulate/truth_file.py",
    "reps/types.py",
    "load/table.py",
    "load/measures.py",
    "reps/measure.py",
}
MOST_NAMED = 9
"""A module that says something about some measures names them; one that names ten keeps a second list."""

AT_THE_RIM = {
    # published records into and out of columns of a database
    "log/rows.py",
    # a load to JSON and back, and its summary, which is worked out from the published values
    "load/records.py",
    "cli/shown_sets.py",
    # an example for pandas
    "cli/archive.py",
}
"""Who picks a measure out of a record by its key; everybody else reads reps and loads by name."""


@pytest.fixture(scope="module")
def measured():
    return invent(3)[1]


def named_keys(source: str) -> set[str]:
    said = set(re.findall(r"[\"'](?:mean_|summary:)?(\w+)[\"']", source))
    of_sets = {column.key for column in columns(SetSummary)}
    of_loads = {column.key for column in columns(LoadMeasures)}
    return said & (set(KEYS) | of_loads) - of_sets - {"rep", "quality", "start_s", "end_s"}


def picked(source: str) -> set[str]:
    """Keys of reps and loads that are taken out of a record by hand; a set's means go by the key of the measure."""
    found = re.findall(r"(?<!means)(?<=[\w\])])(?:\[|\.get\()[\"'](\w+)[\"'][\],)]", source)
    return set(found) & (set(KEYS) | {c.key for c in columns(LoadMeasures)}) - {
        "rep",
        "quality",
        "start_s",
        "end_s",
    }


def test_nobody_picks_measures_out_of_records():
    found = {
        name: sorted(keys)
        for path in sorted(SOURCE.rglob("*.py"))
        if (name := path.relative_to(SOURCE).as_posix()) not in AT_THE_RIM | LISTS_OF_THEIR_OWN
        and (keys := picked(path.read_text()) - {column.key for column in columns(SetSummary)})
    }
    assert found == {}


def test_a_measure_picked_out_of_a_record_would_be_found():
    assert picked('rep["rom_deg"] + one.get("top_deg") + reps[0]["hold_s"]') == {
        "rom_deg",
        "top_deg",
        "hold_s",
    }
    assert picked('summary.means["rom_deg"] + ["clean"]') == set()


def test_every_measure_is_in_every_record_of_a_rep(measured):
    record = SetResult.of(measured).record()
    assert list(record["reps"][0]) == KEYS
    assert plain_set(record["reps"]).splitlines()[0].split("\t") == KEYS


def test_the_archive_has_every_measure():
    reps, sets = ({column.name for column in TABLES[name]} for name in ("reps", "sets"))
    assert set(KEYS) <= reps
    assert {column.key for column in columns(SetSummary)} <= sets
    assert {mean_key(c.key) for c in COLUMNS if c.measure.average and not c.is_error} <= sets


def test_what_a_set_averages_is_offered_to_trends(measured):
    offered = {measure.key for measure in MEASURES}
    assert {c.key for c in COLUMNS if c.measure.average and not c.is_error} <= offered
    assert {c.key for c in columns(SetSummary) if c.kind != "text"} <= offered
    summary = SetResult.of(measured).record()["summary"]
    assert {m.summary_key for m in MEASURES if m.summary_key} <= set(summary)


def test_tables_and_pages_show_every_measure_that_has_a_heading(measured):
    reps = SetResult.of(measured).record()["reps"]
    for column in COLUMNS:
        if column.kind == "number":
            reps[0][column.key] = 1.0
    headed = [c for c in COLUMNS if c.measure.head and not c.is_error]
    reps = [row_of(Rep, rep) for rep in reps]
    page = reps_page_table(reps, fatigue_of(reps), "invented")
    assert {c.label for c in headed} <= {page.heads[0], *(row[0].partition(" ±")[0] for row in page.rows)}
    drawn = {str(column.header).split("\n")[0] for column in set_table(reps, width=300).columns}
    assert {c.measure.head for c in headed if c.measure.rank} <= drawn


def test_nobody_keeps_a_second_list():
    found = {}
    for path in sorted(SOURCE.rglob("*.py")):
        name = path.relative_to(SOURCE).as_posix()
        if name not in LISTS_OF_THEIR_OWN and len(named_keys(path.read_text())) > MOST_NAMED:
            found[name] = sorted(named_keys(path.read_text()))
    assert found == {}


def test_a_second_list_would_be_found():
    assert len(named_keys("\n".join(f'"{key}",' for key in KEYS))) > MOST_NAMED
