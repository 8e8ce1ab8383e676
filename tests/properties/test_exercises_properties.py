"""Whatever people type or write, the answer is a value or a plain error."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from armarc.errors import ArmarcError, FormatError, UsageError
from armarc.exercises import find_exercise, load_catalogue
from armarc.exercises.loader import ENTRY_CHECKS
from armarc.settings import CHECKS, KG_PER_LB, parse_load, parse_pair
from armarc.strict_toml import checked, parse_toml

CATALOGUE = load_catalogue()


def attempt(call: Callable[[], Any]) -> tuple[Any, ArmarcError | None]:
    try:
        return call(), None
    except ArmarcError as error:
        return None, error


toml_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=5,
)


@given(st.text(max_size=30))
@example("45--70")
@example("٤٥-٧٠")
def test_any_text_is_a_load_or_a_usage_error(text):
    for parse in (parse_load, parse_pair):
        try:
            value = parse(text)
        except UsageError:
            continue
        numbers = (value,) if isinstance(value, float) else value
        assert all(math.isfinite(number) and number >= 0 for number in numbers)


@given(st.floats(0, 500), st.sampled_from(["", "kg", " kg", " KG"]))
def test_written_loads_are_read_back(load_kg, unit):
    assert parse_load(f"{load_kg:.6f}{unit}") == pytest.approx(load_kg, abs=1e-6)


@given(st.floats(0, 1000))
def test_pounds_and_kilograms_agree(load_lb):
    assert parse_load(f"{load_lb:.6f} lb") == pytest.approx(load_lb * KG_PER_LB, abs=1e-6)


@given(st.floats(0, 900), st.floats(1, 100), st.sampled_from(["-", ":", " to ", "–"]))
def test_written_pairs_are_read_back(low, width, sign):
    assert parse_pair(f"{low:.3f}{sign}{low + width:.3f}") == pytest.approx((low, low + width), abs=1e-3)


@given(st.text(max_size=30))
def test_any_name_finds_an_exercise_or_a_usage_error(name):
    found, error = attempt(lambda: find_exercise(name, CATALOGUE))
    assert found.key in CATALOGUE if error is None else isinstance(error, UsageError) and error.hint


@given(st.sampled_from(sorted(CATALOGUE)), st.data())
def test_case_and_separators_do_not_matter(key, data):
    letters = [
        data.draw(st.sampled_from([c.upper(), c])) if c != "-" else data.draw(st.sampled_from("- _"))
        for c in key
    ]
    assert find_exercise("".join(letters), CATALOGUE).key == key


@given(st.sampled_from(["entry", "settings"]), st.data())
def test_any_value_is_taken_or_named_in_a_format_error(which, data):
    checks = ENTRY_CHECKS if which == "entry" else CHECKS
    key = data.draw(st.sampled_from(sorted(checks)))
    value = data.draw(toml_values)
    out, error = attempt(lambda: checked({key: value}, checks, file="x.toml"))
    if error is None:
        assert set(out) == {key}
    else:
        assert isinstance(error, FormatError)
        assert (error.file, error.column) == ("x.toml", key)


@given(st.binary(max_size=60))
@example(b"a = " + b"[" * 20000)
@example(b"a = " + b"9" * 10000)
def test_any_bytes_are_toml_or_a_plain_error(raw):
    document, error = attempt(lambda: parse_toml(raw, "x.toml"))
    assert isinstance(document, dict) if error is None else "x.toml" in str(error)
