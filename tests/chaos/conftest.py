"""What the hostile tests share: a database server of their own, and a log in a file and on that server."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from armarc.log import open_log, schema
from postgres_server import Server, running_server


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    with running_server() as one:
        yield one


@pytest.fixture(params=["file", "server"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    if request.param == "file":
        yield str(tmp_path / "log.sqlite")
        return
    url = request.getfixturevalue("server").url
    yield url
    with open_log(url) as store, store.engine.begin() as connection:
        names = ", ".join(table.name for table in schema.metadata.sorted_tables)
        connection.execute(sa.text(f"DROP TABLE {names} CASCADE"))
