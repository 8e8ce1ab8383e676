"""A log or a backup made by somebody with bad intentions: none of the reader's files is read, packed or deleted."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zipfile
from pathlib import Path

import pytest

from armarc.errors import LogError
from armarc.log import add_result, open_log
from armarc.log.backup import back_up, restore
from armarc.log.changing import purge_removed, remove_sets
from armarc.log.checking import check_log
from armarc.log.measuring import measure_content
from armarc.log.reading import recording_of
from armarc.log.remeasuring import remeasure
from armarc.log.vault import FolderVault, is_kept_name
from invented_log import invented_file, invented_result

SECRET = b"time_s,secret\n0,1\n"


def names_for(target: Path, log: Path) -> list[tuple[str, str]]:
    """Hash and ending that would lead to a file, in several ways."""
    up = os.path.relpath(target, log.with_name("log-recordings") / "xx")
    return [
        (str(target), ""),
        (str(target.with_suffix("")), target.suffix),
        (up, ""),
        ("ab/../" + up, ""),
        ("a" * 64, f"/../../../{target}"),
        ("a" * 64, "/"),
        ("A" * 64, ".csv"),
        ("a" * 64 + "\n", ".csv"),
    ]


def poison(log: Path, sha256: str, suffix: str) -> None:
    with sqlite3.connect(log) as connection:
        connection.execute("UPDATE recording SET sha256 = ?, suffix = ?, kept = 1", (sha256, suffix))
    connection.close()


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    path = tmp_path / "home" / "secret.csv"
    path.parent.mkdir()
    path.write_bytes(SECRET)
    return path


@pytest.mark.parametrize("which", range(8))
def test_a_poisoned_row_reaches_no_file(tmp_path: Path, secret: Path, which: int) -> None:
    log = tmp_path / "log.sqlite"
    with open_log(str(log)) as store:
        (set_id,) = add_result(store, invented_result(1), invented_file(tmp_path)).set_ids
    poison(log, *names_for(secret, log)[which])
    with open_log(str(log)) as store:
        assert recording_of(store, set_id)[1] is None
        (done,) = remeasure(store, [1], measure_content)
        assert "not in the log" in done.problem
        assert any("never wrote" in one for one in check_log(store).problems)
        back_up(store, tmp_path / "b.zip")
        remove_sets(store, [set_id])
        assert purge_removed(store) == (1, 1, 0)
    assert secret.read_bytes() == SECRET
    with zipfile.ZipFile(tmp_path / "b.zip") as archive:
        assert all(SECRET not in archive.read(name) for name in archive.namelist())


@pytest.mark.parametrize("which", range(8))
def test_a_hostile_backup_is_refused_with_the_row_named(tmp_path: Path, secret: Path, which: int) -> None:
    log = tmp_path / "theirs" / "log.sqlite"
    with open_log(str(log)) as store:
        add_result(store, invented_result(1), invented_file(tmp_path))
        back_up(store, tmp_path / "good.zip")
    with zipfile.ZipFile(tmp_path / "good.zip") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    (tmp_path / "db").write_bytes(parts["log.sqlite"])
    poison(tmp_path / "db", *names_for(secret, tmp_path / "log.sqlite")[which])
    parts["log.sqlite"] = (tmp_path / "db").read_bytes()
    manifest = json.loads(parts["manifest.json"])
    manifest["sha256"]["log.sqlite"] = hashlib.sha256(parts["log.sqlite"]).hexdigest()
    parts["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    with pytest.raises(LogError, match="row 1"):
        restore(tmp_path / "bad.zip", str(tmp_path / "mine.sqlite"))
    assert secret.read_bytes() == SECRET
    with open_log(str(tmp_path / "mine.sqlite")) as store:
        assert check_log(store).recordings == 0
        assert store.vault.names() == set()


def test_links_out_of_the_vault_are_not_followed(tmp_path: Path, secret: Path) -> None:
    vault = FolderVault(tmp_path / "vault")
    (tmp_path / "vault" / "aa").mkdir(parents=True)
    os.symlink(secret, tmp_path / "vault" / "aa" / ("a" * 64))
    os.symlink(secret.parent, tmp_path / "vault" / "bb")
    for sha256 in ("a" * 64, "b" * 64):
        for act in (vault.get, vault.drop, lambda s, e: vault.put(s, e, b"x")):
            with pytest.raises(LogError, match="link"):
                act(sha256, "")
    assert secret.read_bytes() == SECRET
    assert os.listdir(secret.parent) == ["secret.csv"]


def test_a_result_that_calls_itself_a_path_is_given_another_name(tmp_path: Path) -> None:
    result = invented_result(1)
    result["source"]["sha256"] = "/" + "x" * 63
    with open_log(str(tmp_path / "log.sqlite")) as store:
        assert add_result(store, result).recording_sha256.startswith("result-")


def test_what_a_kept_name_is() -> None:
    assert is_kept_name("0" * 64, ".csv.gz")
    assert is_kept_name("0" * 64, "")
    for sha256, suffix in (
        ("", ""),
        ("0" * 63, ""),
        ("0" * 64, "csv"),
        ("0" * 64, ".."),
        ("0" * 64, ".a.b.c"),
    ):
        assert not is_kept_name(sha256, suffix)
