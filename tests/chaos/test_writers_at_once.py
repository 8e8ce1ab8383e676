"""Several people write into one log at the same time: nothing that was said to be done is lost, nothing fails."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from programs import Running, run

from armarc.log import Labels, Store, add_result, list_sets, open_log, schema
from armarc.log.changing import edit_sets, purge_removed, remove_sets, undo
from armarc.log.checking import check_log
from armarc.log.reading import get_set
from invented_log import invented_file, invented_result
from postgres_server import Server

RECORDINGS = Path(__file__).parents[2] / "recordings"


def together(*works: Callable[[], Any]) -> list[BaseException]:
    """Do several things at the same instant; what went wrong."""
    problems: list[BaseException] = []
    gate = threading.Barrier(len(works))

    def do(work: Callable[[], Any]) -> None:
        gate.wait()
        try:
            work()
        except BaseException as error:
            problems.append(error)

    threads = [threading.Thread(target=do, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return problems


def pairs_of_edits(one: Store, two: Store, ids: tuple[int, ...], pairs: int) -> None:
    a, b = ids
    for number in range(pairs):
        first, second = f"a{number}", f"b{number}"
        problems = together(
            lambda name=first, n=number: edit_sets(one, (a, b), Labels(tags=(name,), rir=n % 10)),
            lambda name=second, n=number: edit_sets(two, (b, a), Labels(tags=(name,), rpe=n % 10)),
        )
        assert problems == []
    for set_id in ids:
        entry = get_set(one, set_id)
        assert len(entry.tags) == 2 * pairs
        assert (entry.rir, entry.rpe) == ((pairs - 1) % 10, (pairs - 1) % 10)


def test_pairs_of_edits_at_once(where: str) -> None:
    with open_log(where) as one, open_log(where) as two:
        pairs_of_edits(one, two, add_result(one, invented_result(1, sets=2)).set_ids, 25)
        assert check_log(one).problems == ()


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_five_hundred_pairs_of_edits_on_a_server(server: Server) -> None:
    with open_log(server.url) as one, open_log(server.url) as two:
        pairs_of_edits(one, two, add_result(one, invented_result(9, sets=2)).set_ids, 500)


def test_undo_against_undo_takes_back_two_changes(where: str) -> None:
    with open_log(where) as one, open_log(where) as two:
        (set_id,) = add_result(one, invented_result(1)).set_ids
        for number in range(20):
            edit_sets(one, [set_id], Labels(note=f"first {number}"))
            edit_sets(one, [set_id], Labels(variant=f"second {number}"))
            before = get_set(one, set_id)
            assert together(lambda: undo(one), lambda: undo(two)) == []
            after = get_set(one, set_id)
            assert before.variant != after.variant
            assert before.note != after.note


def test_eight_writers_add_edit_and_remove(where: str) -> None:
    stores = [open_log(where) for _ in range(8)]
    try:

        def work(store: Store, first: int) -> None:
            for seed in range(first, first + 6):
                ids = add_result(store, invented_result(seed % 12), labels=Labels(lifter="Ada")).set_ids
                edit_sets(store, ids, Labels(tags=(f"by{first}",)))

        assert together(*(lambda s=s, n=n: work(s, n) for n, s in enumerate(stores))) == []
        entries = list_sets(stores[0])
        assert len(entries) == 12
        by = [{f"by{n}" for n in range(8) if (seed - n) % 12 < 6} for seed in range(12)]
        assert sorted(sorted(entry.tags) for entry in entries) == sorted(map(sorted, by))
        assert check_log(stores[0]).problems == ()
    finally:
        for store in stores:
            store.close()


def test_purge_against_add_keeps_set_and_recording_together(where: str, tmp_path: Path) -> None:
    path = invented_file(tmp_path)
    result = invented_result(1)
    with open_log(where) as one, open_log(where) as two:
        for _ in range(25):
            remove_sets(one, add_result(one, result, path).set_ids)
            assert together(lambda: purge_removed(one), lambda: add_result(two, result, path)) == []
            assert check_log(one).problems == ()
            for entry in list_sets(one):
                remove_sets(one, [entry.id])
            purge_removed(one)
            assert one.vault.names() == set()


def test_a_server_that_dies_during_an_import_loses_nothing_it_told(server: Server, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    text = (RECORDINGS / "strict-raise.csv").read_text()
    for number in range(6):
        (folder / f"{number}.csv").write_text(text.replace('"seed": 11', f'"seed": {number}'))
    files = len(list(folder.iterdir()))
    running = Running(tmp_path, "log", "import", folder, "--log-file", server.url)
    try:
        with open_log(server.url) as store:
            table = schema.recording
            for _ in range(600):
                with store.reading() as connection:
                    done = connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
                if done >= 2:
                    break
                threading.Event().wait(0.02)
        server.crash()
        code = running.end(60)
        assert code == 5, running.said()
        assert f"of {files} recordings" in running.said()
        assert "Traceback" not in running.said()
    finally:
        server.start()
    again = run(tmp_path, "log", "import", folder, "--log-file", server.url, timeout=120)
    assert again.returncode == 0, again.stderr
    with open_log(server.url) as store:
        assert check_log(store).problems == ()
        assert check_log(store).recordings >= files
