"""Where the log lives, a file in the user's data folder, another file, a database server; and who writes into it."""

from __future__ import annotations

import getpass
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from armarc.computer import data_folder
from armarc.errors import UsageError

if TYPE_CHECKING:
    import sqlalchemy as sa

ENVIRONMENT_VARIABLE = "ARMARC_LOG"
FILE_NAME = "log.sqlite"


@dataclass(frozen=True, slots=True, kw_only=True)
class Location:
    """Place of a log.

    Parameters
    ----------
    url : str
        Database address in the form SQLAlchemy takes.
    file : Path or None
        The SQLite file; None for a server.
    recordings : Path or None
        Folder of the raw recordings beside the file; None where they are kept inside the database.
    """

    url: str
    file: Path | None
    recordings: Path | None

    @property
    def name(self) -> str:
        """How to call it in a message; a password in the address is left out."""
        if self.file is not None:
            return str(self.file)
        from sqlalchemy.engine import make_url

        return make_url(self.url).render_as_string(hide_password=True)


def find_location(option: str | None = None) -> Location:
    """Say where the log is: the option, else the environment, else the user's data folder.

    Parameters
    ----------
    option : str or None
        A file name or a database address such as ``postgresql+psycopg://user@host/name``.

    Raises
    ------
    UsageError
        If the option is neither.
    """
    wanted = (option if option is not None else os.environ.get(ENVIRONMENT_VARIABLE, "")).strip()
    if not wanted:
        wanted = str(_leave_doubled(data_folder()) / FILE_NAME)
    if "://" in wanted and not wanted.startswith("sqlite:"):
        return _server(wanted)
    if wanted.startswith("sqlite:"):
        # sqlite:///relative, sqlite:////absolute: the part after three slashes is the file name.
        wanted = wanted.partition(":///")[2]
    if not wanted or "\0" in wanted:
        raise UsageError(f"no file name in the log address {option!r}", "give --log-file FILE")
    file = Path(os.path.expanduser(wanted)).absolute()
    if os.path.isdir(file):
        file = file / FILE_NAME
    return Location(url=f"sqlite:///{file}", file=file, recordings=file.with_name(f"{file.stem}-recordings"))


def _leave_doubled(folder: Path) -> Path:
    """On Windows the folder used to bear the program's name twice; a log that lies there is moved to `folder`."""
    doubled = folder / folder.name
    if not (doubled / FILE_NAME).exists() or (folder / FILE_NAME).exists():
        return folder
    try:
        # The log itself first: while another program has it open, everything stays where it is.
        for old in sorted(doubled.iterdir(), key=lambda path: path.name != FILE_NAME):
            os.replace(old, folder / old.name)
    except OSError:
        return doubled if (doubled / FILE_NAME).exists() else folder
    return folder


def _server(address: str) -> Location:
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(address)
    except ArgumentError:
        raise UsageError(
            "the log address cannot be read", "for example postgresql+psycopg://user@host/name"
        ) from None
    if url.get_backend_name() != "postgresql":
        raise UsageError(
            f"no support for a log in {url.get_backend_name()!r}",
            "use a file (SQLite) or postgresql+psycopg://…",
        )
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    return Location(url=url.render_as_string(hide_password=False), file=None, recordings=None)


def author_of(connection: sa.Connection) -> str:
    """Name of whoever writes through this connection; empty where this machine does not know its user."""
    if connection.dialect.name == "postgresql":
        return str(connection.exec_driver_sql("SELECT session_user").scalar_one())
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return ""


def is_own(author: str, me: str, connection: sa.Connection) -> bool:
    """Whether what an author did counts as one's own.

    What was written before authors were kept is everybody's in a file, which one person has, and nobody's on a server.
    """
    return author == me or (author == "" and connection.dialect.name != "postgresql")
