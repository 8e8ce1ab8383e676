"""Who writes into the log: the role on a server, the user of this machine for a file."""

from __future__ import annotations

import getpass

import sqlalchemy as sa


def author_of(connection: sa.Connection) -> str:
    """Name of whoever writes through this connection; empty where this machine does not know its user."""
    if connection.dialect.name == "postgresql":
        return str(connection.execute(sa.text("SELECT session_user")).scalar_one())
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return ""


def is_own(author: str, me: str, connection: sa.Connection) -> bool:
    """Whether what an author did counts as one's own.

    What was written before authors were kept is everybody's in a file, which one person has, and nobody's on a server.
    """
    return author == me or (author == "" and connection.dialect.name != "postgresql")
