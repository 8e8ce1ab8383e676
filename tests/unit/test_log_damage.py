"""A log file that was damaged, or changed by another program, is said to be damaged, by list and check alike."""

from __future__ import annotations

import contextlib
import random
import sqlite3

import pytest

from armarc.errors import ArmarcError, LogError
from armarc.log import add_result, list_sets, open_log
from armarc.log.checking import check_log
from armarc.log.exporting import reps_table, sets_table
from armarc.log.reading import reps_by_set, result_of
from invented_log import fill


def rep(number):
    return {"rep": number, "rom_deg": 80.0, "quality": ["bounce"], "start_verdict": "inside", "own": [1, 2]}


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "log.sqlite"
    sets = [
        {
            "set": k,
            "start_s": 10.0 * k,
            "end_s": 10.0 * k + 8,
            "summary": {"reps": 2},
            "reps": [rep(1), rep(2)],
        }
        for k in (1, 2)
    ]
    result = {
        "schema": "armarc.sets/1",
        "settings": {"exercise": "lateral-raise"},
        "sets": sets,
        "source": {},
    }
    with open_log(str(path)) as store:
        add_result(store, result)
        with store.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    return path


def read_all(store):
    entries = list_sets(store)
    reps = reps_by_set(store, [entry.id for entry in entries])
    for entry in entries:
        result_of(store, [entry.id])
    return sets_table(entries), reps_table(entries, reps)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("training_set.summary", "{"),
        ("training_set.summary", "[]"),
        ("training_set.done_at", "yesterday"),
        ("training_set.done_at", 1e18),
        ("training_set.load_kg", b"\xff"),
        ("session.day", "someday"),
        ("rep.quality", "5"),
        ("rep.quality", "[5]"),
        ("rep.other", "null"),
        ("rep.rom_deg", b"\xff\xfe"),
    ],
)
def test_content_that_was_never_written_is_damage(file, column, value):
    table, name = column.split(".")
    with contextlib.closing(sqlite3.connect(file)) as plain, plain:
        plain.execute(f"UPDATE {table} SET {name} = ?", (value,))
    with open_log(str(file)) as store:
        with pytest.raises(LogError, match="damaged") as raised:
            read_all(store)
        assert "restore" in (raised.value.hint or "")
        assert any("damaged" in problem for problem in check_log(store).problems)


def test_of_many_sets_those_that_are_damaged_are_named_and_no_others(tmp_path):
    path = tmp_path / "log.sqlite"
    with open_log(str(path)) as store:
        fill(store, days=110, sets=2)
    with contextlib.closing(sqlite3.connect(path)) as plain, plain:
        plain.execute("UPDATE training_set SET summary = '[]' WHERE id IN (3, 201)")
        plain.execute("UPDATE rep SET quality = '5' WHERE set_id = 40")
        plain.execute("UPDATE training_set SET removed_at = 1 WHERE id IN (7, 201)")
    with open_log(str(path)) as store:
        problems = check_log(store).problems
    assert [line.split(":")[0] for line in problems] == ["set 3", "set 40", "set 201"]


def test_an_intact_log_has_no_problems(file):
    with open_log(str(file)) as store:
        sets, reps = read_all(store)
        assert (len(sets), len(reps)) == (2, 4)
        assert check_log(store).problems == ()


def test_changed_bytes_never_come_out_as_a_fault(file):
    whole = file.read_bytes()
    rng = random.Random(5)
    for _ in range(60):
        changed = bytearray(whole)
        for _ in range(rng.choice((1, 3, 30))):
            at = (
                rng.randrange(len(changed))
                if rng.random() < 0.5
                else 4096 * rng.randrange(20) + rng.randrange(120)
            )
            changed[at % len(changed)] = rng.choice((0, 1, 255, rng.randrange(256)))
        for suffix in ("-wal", "-shm"):
            file.with_name(file.name + suffix).unlink(missing_ok=True)
        file.write_bytes(changed)
        with contextlib.suppress(ArmarcError), open_log(str(file)) as store:
            with contextlib.suppress(ArmarcError):
                check_log(store)
            read_all(store)
