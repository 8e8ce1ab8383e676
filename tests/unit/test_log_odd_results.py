"""Results that come from elsewhere: what the log cannot hold is refused, and never makes a later listing fail."""

from __future__ import annotations

import copy

import pytest

from armarc.errors import InputError
from armarc.log import add_result, list_sets, open_log
from armarc.log.exporting import reps_table, sets_table
from armarc.log.reading import reps_by_set
from armarc.quantities import read_date_time

RESULT = {
    "schema": "armarc.sets/1",
    "armarc_version": "0.1",
    "source": {"file": "a.csv", "sha256": "0" * 64, "started_at": "2026-01-02T03:04:05Z"},
    "settings": {"exercise": "lateral-raise", "side": "right"},
    "sets": [
        {"set": 1, "start_s": 1.0, "end_s": 4.0, "summary": {}, "reps": [{"rep": 1, "quality": ["cut"]}]},
    ],
}


def changed(value, *path):
    result = copy.deepcopy(RESULT)
    inner = result
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return result


def add_and_list(tmp_path, result):
    with open_log(str(tmp_path / "log.sqlite")) as store:
        try:
            return add_result(store, result)
        finally:
            entries = list_sets(store)
            sets_table(entries)
            reps_table(entries, reps_by_set(store, [entry.id for entry in entries]))


@pytest.mark.parametrize(
    "said",
    ["0001-01-01T00:00:00", "9999-12-31T23:59:59", "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59"],
)
def test_a_beginning_at_the_ends_of_the_calendar_counts_as_not_said(tmp_path, said):
    added = add_and_list(tmp_path, changed(said, "source", "started_at"))
    assert "does not say when it began" in " ".join(added.notes)
    assert read_date_time(said) is None


def test_a_moment_without_a_zone_is_local():
    moment = read_date_time(" 2026-03-01 18:30 ")
    assert moment is not None
    assert moment.tzinfo is not None
    assert moment.replace(tzinfo=None).isoformat() == "2026-03-01T18:30:00"


@pytest.mark.parametrize("key", ["start_s", "end_s"])
@pytest.mark.parametrize("value", [1e300, -1e300, 1e15, 4e11])
def test_a_set_years_from_its_recording_is_refused(tmp_path, key, value):
    with pytest.raises(InputError, match=key):
        add_and_list(tmp_path, changed(value, "sets", 0, key))


@pytest.mark.parametrize("value", [[[]], [1], [None], [{}]])
def test_quality_that_is_no_word_is_refused(tmp_path, value):
    with pytest.raises(InputError, match="quality"):
        add_and_list(tmp_path, changed(value, "sets", 0, "reps", 0, "quality"))


@pytest.mark.parametrize(
    "path", [("armarc_version",), ("source", "file"), ("settings", "exercise"), ("settings", "lifter")]
)
def test_half_a_character_is_stored_as_a_question_mark(tmp_path, path):
    assert add_and_list(tmp_path, changed("a\ud800", *path)).status == "added"
