"""The one task that a trend keeps to: names are compared as the log's filter compares them, which SQLite does."""

import sqlite3
from itertools import product

import pytest

from armarc.log.one_task import _is_name

NAMES = (
    "Lateral-Raise",
    "lateral-raise",
    "ÄRMEL hoch",
    "ärmel hoch",
    "Ärmel Hoch",
    "ПОДЪЁМ",
    "подъём",
    "İ",
    "",
)


@pytest.fixture(scope="module")
def lower():
    connection = sqlite3.connect(":memory:")
    yield lambda name: connection.execute("select lower(?)", (name,)).fetchone()[0]
    connection.close()


@pytest.mark.parametrize(("name", "wanted"), list(product(NAMES, NAMES)))
def test_names_are_the_same_where_the_filter_finds_them(name, wanted, lower):
    assert _is_name(name, wanted) == (name == wanted or lower(name) == wanted.lower())
