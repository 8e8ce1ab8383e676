"""A log several people share knows who did what; nobody takes back or deletes another's by chance."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from programs import run

from armarc.errors import LogError
from armarc.log import Labels, Store, add_result, list_sets, open_log, schema
from armarc.log.changing import edit_sets, purge_removed, remove_sets, undo
from armarc.log.reading import get_set
from invented_log import invented_file, invented_result
from postgres_server import Server

ROLES = {"ada": "ALL", "ben": "ALL", "reader": "SELECT"}


def as_role(server: Server, role: str) -> str:
    return server.url.replace("armarc@", f"{role}@")


@pytest.fixture
def shared(server: Server) -> Iterator[dict[str, Store]]:
    with open_log(server.url) as owner:
        with owner.engine.begin() as connection:
            for role, right in ROLES.items():
                connection.execute(sa.text(f"CREATE ROLE {role} LOGIN"))
                connection.execute(sa.text(f"GRANT {right} ON ALL TABLES IN SCHEMA public TO {role}"))
        stores = {role: open_log(as_role(server, role)) for role in ROLES}
        yield stores
        for store in stores.values():
            store.close()
        with owner.engine.begin() as connection:
            names = ", ".join(table.name for table in schema.metadata.sorted_tables)
            connection.execute(sa.text(f"DROP TABLE {names} CASCADE"))
            for role in ROLES:
                connection.execute(sa.text(f"DROP OWNED BY {role}"))
                connection.execute(sa.text(f"DROP ROLE {role}"))


def test_undo_takes_back_ones_own(shared: dict[str, Store]) -> None:
    ada, ben = shared["ada"], shared["ben"]
    (set_id,) = add_result(ada, invented_result(1)).set_ids
    edit_sets(ada, [set_id], Labels(rir=2.0, tags=("hers",)))
    edit_sets(ben, [set_id], Labels(note="his", tags=("his",)))
    with ada.reading() as connection:
        assert set(connection.execute(sa.select(schema.change.c.author)).scalars()) == {"ada", "ben"}
        assert set(connection.execute(sa.select(schema.recording.c.added_by)).scalars()) == {"ada"}
    undone = undo(ada)
    assert undone is not None
    assert undone.author == "ada"
    entry = get_set(ben, set_id)
    # What he did in between stands, tags included.
    assert (entry.rir, entry.note, entry.tags) == (None, "his", ("his",))
    assert undo(ada) is None
    other = undo(ada, anyone=True)
    assert other is not None
    assert other.author == "ben"
    assert get_set(ada, set_id).tags == ()


def test_what_another_has_changed_since_is_not_taken_back(shared: dict[str, Store]) -> None:
    ada, ben = shared["ada"], shared["ben"]
    (set_id,) = add_result(ada, invented_result(1)).set_ids
    edit_sets(ada, [set_id], Labels(rir=2.0))
    edit_sets(ben, [set_id], Labels(rir=3.0))
    with pytest.raises(LogError, match="rir was changed since by ben"):
        undo(ada)
    assert get_set(ada, set_id).rir == 3.0


def test_purge_of_anothers_needs_saying_so(shared: dict[str, Store], tmp_path: Path) -> None:
    ada, ben = shared["ada"], shared["ben"]
    (hers,) = add_result(ada, invented_result(1), invented_file(tmp_path, 1)).set_ids
    (his,) = add_result(ben, invented_result(2), invented_file(tmp_path, 2)).set_ids
    remove_sets(ben, [hers, his])
    assert purge_removed(ada) == (0, 0, 2)
    assert purge_removed(ben) == (1, 1, 1)
    assert undo(ben) is not None
    assert [entry.id for entry in list_sets(ada)] == [hers]
    remove_sets(ben, [hers])
    assert purge_removed(ben, anyone=True) == (1, 1, 0)


def test_a_role_that_may_only_read_is_told_about_rights(
    shared: dict[str, Store], server: Server, tmp_path: Path
) -> None:
    (set_id,) = add_result(shared["ada"], invented_result(1)).set_ids
    reader = as_role(server, "reader")
    assert run(tmp_path, "log", "list", "--log-file", reader).returncode == 0
    for words in (
        ("edit", set_id, "--rir", "1"),
        ("remove", set_id, "--yes"),
        ("import", tmp_path / "a.csv"),
    ):
        (tmp_path / "a.csv").write_bytes(
            (Path(__file__).parents[2] / "recordings" / "strict-raise.csv").read_bytes()
        )
        done = run(tmp_path, "log", *words, "--log-file", reader)
        assert done.returncode == 5, done.stderr
        assert "no right" in done.stderr
        assert "folder" not in done.stderr


def test_a_file_from_before_authors_is_its_owners(tmp_path: Path) -> None:
    where = str(tmp_path / "log.sqlite")
    with open_log(where) as store:
        (set_id,) = add_result(store, invented_result(1)).set_ids
        edit_sets(store, [set_id], Labels(rir=1.0))
        with store.writing() as connection:
            connection.execute(sa.update(schema.change).values(author=""))
            connection.execute(sa.update(schema.recording).values(added_by=""))
        assert undo(store) is not None
        remove_sets(store, [set_id])
        assert purge_removed(store) == (1, 1, 0)
