"""Files that no hand wrote are refused at once; both cases were found by fuzzing."""

from __future__ import annotations

import time

import pytest

from armarc.errors import FormatError
from armarc.strict_toml import parse_toml


@pytest.mark.parametrize(
    "raw",
    [
        b"a." * 20_000 + b"b = 1\n",
        b'"a" . ' * 20_000 + b"b = 1\n",
        b"[" + b"x-y." * 20_000 + b"b]\n",
        b"x = { " + b"a." * 20_000 + b"b = 1 }\n",
        b"a = 1\n" * 200_000,
    ],
)
def test_what_would_fill_the_memory_is_refused_at_once(raw):
    """Twenty thousand parts once took six seconds and 1.7 GB."""
    began = time.process_time()
    with pytest.raises(FormatError):
        parse_toml(raw, "own.toml")
    assert time.process_time() - began < 1.0


@pytest.mark.parametrize(
    "raw", [b"a" * 500_000 + b" = 1", b'x = "' + b"a" * 500_000 + b'"', b"x = [" + b"1.5, " * 100_000 + b"2]"]
)
def test_length_alone_is_no_fault(raw):
    began = time.process_time()
    assert len(parse_toml(raw, "own.toml")) == 1
    assert time.process_time() - began < 2.0


def test_texts_with_many_dots_are_fine():
    note = " ".join(["0.5 and e.g. 1.2.3 ... 10.20.30"] * 100) + "." * 200
    assert parse_toml(f'note = "{note}"'.encode(), "own.toml") == {"note": note}


def test_a_name_without_end_does_not_bury_what_is_said():
    error = FormatError("unknown key " + "x" * 100_000, "y" * 100_000, file="own.toml", column="z" * 100_000)
    assert len(str(error)) < 5000
    assert str(error).startswith("own.toml, column 'zzz")
