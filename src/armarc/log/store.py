"""An open log: short reading and writing transactions over SQLite or PostgreSQL, and the vault beside it."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType

import sqlalchemy as sa
from sqlalchemy.pool import QueuePool

from armarc.computer import how_to_add
from armarc.errors import LogError, UsageError
from armarc.log.location import Location, find_location
from armarc.log.migrations import NEWEST, WRITE_LOCK, migrate, refuse_newer, version_of
from armarc.log.vault import FolderVault, TableVault, Vault
from armarc.outputs import done

BUSY_TIMEOUT_S = 30.0
"""How long a writer waits for another one."""

DAMAGED_HINT = "keep a copy of it, then bring back a backup with armarc log restore"


class Store:
    """A log that is open; use it in a ``with`` statement or call `close`.

    Parameters
    ----------
    location : Location
    engine : sqlalchemy.Engine
    vault : Vault
    read_only : bool
        The file or its folder cannot be written.
    """

    def __init__(self, location: Location, engine: sa.Engine, vault: Vault, *, read_only: bool) -> None:
        self.location = location
        self.engine = engine
        self.vault = vault
        self.read_only = read_only

    @contextlib.contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """One consistent view of the log."""
        with _plain_errors(self.location.name), self.engine.connect() as connection:
            if connection.dialect.name == "postgresql":
                # The usual isolation shows each statement another state while somebody writes.
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """One transaction: everything in it is kept together, or nothing is.

        There is one writer at a time. On a server that is stricter than locking rows, and it is what a file does as
        well: what was read is still true when it is written, and two writers cannot wait for each other.
        """
        if self.read_only:
            raise LogError(
                f"the log {self.location.name} can only be read here",
                "choose a writable place with --log-file",
            )
        with _plain_errors(self.location.name), self.engine.connect() as plain:
            connection = plain.execution_options(armarc_writing=True)
            with connection.begin():
                if connection.dialect.name == "postgresql":
                    _take_turn(connection)
                yield connection
        done.append(f"the log {self.location.name} was changed")

    def close(self) -> None:
        """Let go of the database."""
        with contextlib.suppress(sa.exc.SQLAlchemyError, sqlite3.Error):
            self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_log(where: str | Location | None = None, *, create: bool = True) -> Store:
    """Open a log and bring it to the newest form.

    Parameters
    ----------
    where : str, Location or None
        See `armarc.log.location.find_location`.
    create : bool
        Make a new log when there is none; otherwise that is an error.

    Raises
    ------
    LogError
        If there is no log, it cannot be opened, is damaged, or was written by a newer armarc.
    """
    location = where if isinstance(where, Location) else find_location(where)
    store = _open_file(location, create) if location.file else _open_server(location)
    try:
        with store.reading() as connection:
            version = version_of(connection)
        refuse_newer(version, location.name)
        if version < NEWEST:
            if version == 0 and not create:
                raise _no_log(location.name)
            said = len(done)
            migrate(store.writing, version)
            done[said:] = [f"the log {location.name} was {'brought to the new form' if version else 'made'}"]
    except BaseException:
        store.close()
        raise
    return store


def _no_log(name: str) -> LogError:
    return LogError(f"there is no log at {name} yet", "log a set first: armarc process FILE --log")


def _open_file(location: Location, create: bool) -> Store:
    file = location.file
    assert file is not None
    assert location.recordings is not None
    try:
        exists = file.exists()
    except OSError as error:
        raise LogError(
            f"the log cannot be at {str(file)[:120]}…: {error.strerror}", "choose another name or place"
        ) from None
    if not exists:
        if not create:
            raise _no_log(location.name)
        try:
            file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with contextlib.suppress(FileExistsError):
                # As private as the recordings beside it; the database gives its other files the same rights.
                os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        except OSError as error:
            raise LogError(
                f"the log cannot be made in {file.parent}: {error.strerror}",
                "choose another place with --log-file",
            ) from None
    read_only = exists and not (os.access(file, os.W_OK) and os.access(file.parent, os.W_OK))
    engine = _file_engine(file, read_only=read_only)
    return Store(location, engine, FolderVault(location.recordings), read_only=read_only)


def _file_engine(file: Path, *, read_only: bool) -> sa.Engine:
    def connect() -> sqlite3.Connection:
        if read_only:
            # Without a writable folder SQLite cannot make its index of the write-ahead log, so read the file
            # as it stands unless such a log is still beside it.
            still = "" if Path(f"{file}-wal").exists() else "&immutable=1"
            name = f"{file.as_uri()}?mode=ro{still}"
        else:
            name = file.as_uri()
        connection = sqlite3.connect(
            name, uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
        )
        try:
            if not read_only:
                _set_write_ahead(connection)
            connection.execute("PRAGMA foreign_keys = ON")
            # A log may come from somebody else: what its schema calls may not do more than read and write it.
            connection.execute("PRAGMA trusted_schema = OFF")
        except sqlite3.Error:  # a damaged file, or none of ours
            connection.close()
            raise
        return connection

    engine = sa.create_engine("sqlite+pysqlite://", creator=connect, poolclass=QueuePool)

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        # A writer takes the lock at once: taking it half-way fails when somebody wrote in between.
        writing = connection.get_execution_options().get("armarc_writing")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


def _set_write_ahead(connection: sqlite3.Connection) -> None:
    # Changing the journal mode does not wait for others, so wait here.
    give_up = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                connection.execute("PRAGMA journal_mode = WAL")
            break
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > give_up:
                raise
            time.sleep(0.02)
    connection.execute("PRAGMA synchronous = FULL")


def _open_server(location: Location) -> Store:
    try:
        # The server may have been restarted since a connection was last used.
        engine = sa.create_engine(location.url, pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise UsageError(
            f"a log on a PostgreSQL server needs the package {error.name}",
            how_to_add("postgres"),
        ) from None
    return Store(location, engine, _PlainVault(TableVault(engine), location.name), read_only=False)


def _take_turn(connection: sa.Connection) -> None:
    wait_ms = round(1000 * BUSY_TIMEOUT_S)
    connection.exec_driver_sql(f"SET LOCAL lock_timeout = {wait_ms}")
    # A writer whose network died must not keep the others out for ever.
    connection.exec_driver_sql(f"SET LOCAL idle_in_transaction_session_timeout = {2 * wait_ms}")
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK})")


class _PlainVault:
    """A vault in a database, whose errors are said as those of the log."""

    def __init__(self, inner: TableVault, name: str) -> None:
        self.inner = inner
        self.name = name

    def put(self, sha256: str, suffix: str, content: bytes) -> None:
        with _plain_errors(self.name):
            self.inner.put(sha256, suffix, content)

    def get(self, sha256: str, suffix: str) -> bytes | None:
        with _plain_errors(self.name):
            return self.inner.get(sha256, suffix)

    def names(self) -> set[str]:
        with _plain_errors(self.name):
            return self.inner.names()

    def drop(self, sha256: str, suffix: str) -> None:
        with _plain_errors(self.name):
            self.inner.drop(sha256, suffix)


@contextlib.contextmanager
def _plain_errors(name: str) -> Iterator[None]:
    """Turn database errors into LogError with advice."""
    try:
        yield
    except (sa.exc.DBAPIError, sqlite3.Error) as error:
        cause = str(getattr(error, "orig", None) or error).strip().splitlines()
        what = cause[0] if cause else type(error).__name__
        raise LogError(f"the log {name}: {what}", _advice(what.lower())) from None
    except (json.JSONDecodeError, UnicodeDecodeError, sa.exc.NoResultFound):
        # The database answers, but with content that armarc never wrote.
        raise LogError(f"the log {name} is damaged: some of it cannot be read", DAMAGED_HINT) from None


def _advice(what: str) -> str:
    if "not a database" in what:
        return "this file is something else; choose another place with --log-file"
    if "malformed" in what or "corrupt" in what:
        return f"the file is damaged: {DAMAGED_HINT}"
    if "locked" in what or "busy" in what or "lock timeout" in what:
        return f"another program kept it busy for {BUSY_TIMEOUT_S:.0f} s; close it and try again"
    if "full" in what or "disk i/o" in what or "no space" in what:
        return "the disk is full or failing: free some space and try again; what it was writing is not in the log"
    if any(word in what for word in ("permission denied for", "must be owner", "read-only transaction")):
        return "your role has no right to do that on this server: ask whoever keeps the log"
    if "terminat" in what or "closed the connection" in what or "shutting down" in what:
        return "the server went away: what was said to be done is in the log; try again when it is back"
    if "readonly" in what or "read-only" in what or "unable to open" in what or "permission" in what:
        return "check the permissions of the file and its folder, or choose another place with --log-file"
    if "connect" in what or "password" in what or "authentication" in what:
        return "check that the server runs and the address is right"
    return "what it was doing did not happen; armarc log check looks for damage"
