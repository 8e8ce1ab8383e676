"""Pain after a set: kept, found again, taken back; the caution in front of it."""

import pytest
from typer.testing import CliRunner

from armarc.cli.log import app as log_app
from armarc.errors import UsageError
from armarc.log import Filter, Labels, list_sets, open_log
from armarc.log.changing import edit_sets, undo
from armarc.log.exporting import sets_table
from armarc.log.labels import CAUTION
from armarc.log.migrations import migrate
from armarc.log.records import caution_for, has_pain, pain_words, sentence_of, with_pain
from armarc.report.page_build import build_sections
from invented_log import fill


@pytest.fixture
def where(tmp_path):
    return str(tmp_path / "log.sqlite")


@pytest.fixture
def store(where):
    with open_log(where) as opened:
        fill(opened, days=2, sets=2)
        yield opened


SORE = Labels(pain=4, pain_place="front of the shoulder", pain_at_deg=80)


def test_pain_is_kept_found_and_taken_back(store):
    assert list_sets(store, Filter(pain=True)) == []
    assert edit_sets(store, [2], SORE) == 1
    (found,) = list_sets(store, Filter(pain=True))
    assert (found.id, found.pain, found.pain_place, found.pain_at_deg) == (2, 4, "front of the shoulder", 80)
    assert pain_words(found) == "pain 4 of 10, front of the shoulder, at 80°"
    assert sets_table([found])[0]["pain_place"] == "front of the shoulder"
    undo(store)
    assert list_sets(store, Filter(pain=True)) == []


def test_no_pain_said_is_no_pain_and_nothing_said_is_neither(store):
    edit_sets(store, [1], Labels(pain=0))
    by_id = {one.id: one.pain for one in list_sets(store)}
    assert (by_id[1], by_id[2]) == (0, None)
    assert list_sets(store, Filter(pain=True)) == []


def test_pain_is_said_by_a_number_or_a_tag_whoever_is_asked(store):
    edit_sets(store, [1], Labels(pain=0))
    edit_sets(store, [2], SORE)
    edit_sets(store, [3], Labels(tags=("pain",)))
    everyone = list_sets(store)
    assert {one.id for one in everyone if has_pain(one)} == {2, 3}
    assert with_pain(store, [one.id for one in everyone]) == {2, 3}
    assert with_pain(store, [1, 3]) == {3}


def test_clearing_the_pain_clears_where_and_at_what_angle(store):
    edit_sets(store, [1], SORE)
    edit_sets(store, [1], Labels(), clear=["pain"])
    (entry,) = [one for one in list_sets(store) if one.id == 1]
    assert (entry.pain, entry.pain_place, entry.pain_at_deg) == (None, "", None)


@pytest.mark.parametrize("odd", [Labels(pain=11), Labels(pain=-1), Labels(pain_at_deg=200)])
def test_what_is_no_pain_is_refused(store, odd):
    with pytest.raises(UsageError, match=r"must be from"):
        edit_sets(store, [1], odd)


def test_an_older_log_gets_room_for_it_and_keeps_its_sets(store):
    before = list_sets(store)
    with store.writing() as connection:
        for column in ("pain", "pain_place", "pain_at_deg"):
            connection.exec_driver_sql(f"ALTER TABLE training_set DROP COLUMN {column}")
        connection.exec_driver_sql("DELETE FROM migration WHERE version >= 6")
    migrate(store.writing, 5, 6)
    assert list_sets(store) == before
    edit_sets(store, [1], SORE)
    assert [one.id for one in list_sets(store, Filter(pain=True))] == [1]


def test_the_caution_stands_in_front(store, where):
    edit_sets(store, [3], SORE)
    shown = CliRunner().invoke(log_app, ["show", "3", "--log-file", where])
    lines = shown.stderr.splitlines()
    assert lines[0].startswith(CAUTION)
    assert "pain 4 of 10" in lines[1]
    assert build_sections(store, list_sets(store), curves=False)[0].heading == "Pain"
    assert caution_for("lateral-raise").startswith(CAUTION)
    assert caution_for("lateral-raise") != CAUTION  # the exercise's own follows
    assert caution_for("gone from the catalogue") == CAUTION


def test_a_log_without_pain_says_nothing_of_it(store, where):
    shown = CliRunner().invoke(log_app, ["show", "1", "--log-file", where])
    assert "ain" not in shown.stderr.split("Set 1")[0]
    assert sentence_of([]) == ""
    assert all(section.heading != "Pain" for section in build_sections(store, list_sets(store), curves=False))


def test_many_sets_with_pain_are_named_up_to_five(store):
    edit_sets(store, [1, 2, 3, 4], SORE)
    said = sentence_of(list_sets(store, Filter(pain=True)) * 2)
    assert said.startswith("8 sets with pain")
    assert (said.count("set "), "and 3 more" in said) == (5, True)
