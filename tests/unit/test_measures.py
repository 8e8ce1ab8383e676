"""How a table of measures is read from its declaration."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

import pytest

from armarc.measures import Measure, column, columns, field_of, key_of, record_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    begin_s: Annotated[float, Measure("Begin", "when it began")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    part: Part
    inner: int = 3
    tilt_rad: Annotated[float | None, Measure("Tilt", "how far", 1, "mean")]
    tilt_se_rad: float | None = None
    turn_rad_s: Annotated[float, Measure("Turn", "how fast")]
    way_m: Annotated[float, Measure("Way", "how long")]
    held_share: Annotated[float, Measure("Held", "how much")]
    moment_n_m: Annotated[float, Measure("Moment", "how strong")]
    times: Annotated[int, Measure("Times", "how often")]
    clean: Annotated[bool, Measure("Clean", "whether")]
    words: Annotated[tuple[str, ...], Measure("Words", "which")] = ()
    ratio: Annotated[float, Measure("Ratio", "to another")] = 1.0


ROW = Row(
    part=Part(begin_s=1.23456789),
    tilt_rad=math.pi / 6,
    tilt_se_rad=math.pi / 180,
    turn_rad_s=math.pi,
    way_m=0.123,
    held_share=0.4,
    moment_n_m=12.3456,
    times=4,
    clean=True,
    words=("a", "b"),
)


def test_a_row_is_published_in_its_units():
    assert record_of(ROW) == {
        "begin_s": 1.2346,
        "tilt_deg": 30.0,
        "tilt_deg_se": 1.0,
        "turn_deg_s": 180.0,
        "way_cm": 12.3,
        "held_pct": 40.0,
        "moment_n_m": 12.346,
        "times": 4,
        "clean": True,
        "words": ["a", "b"],
        "ratio": 1.0,
    }


def test_kinds_and_labels():
    kinds = {each.key: each.kind for each in columns(Row)}
    assert (kinds["tilt_deg"], kinds["times"], kinds["clean"], kinds["words"]) == (
        "number",
        "whole",
        "yes/no",
        "texts",
    )
    assert column(Row, "turn_deg_s").label == "Turn (°/s)"
    assert column(Row, "ratio").label == "Ratio"
    assert column(Row, "tilt_deg_se").meaning == "standard error"


@pytest.mark.parametrize("value", [None, math.nan, math.inf])
def test_what_is_no_number_is_none(value):
    assert column(Row, "tilt_deg").in_published_unit(value) is None


@pytest.mark.parametrize(
    "field", ["rom_rad", "turn_rad_s", "way_m", "held_share", "moment_n_m", "at_s", "ratio"]
)
def test_keys_and_fields_go_both_ways(field):
    assert field_of(key_of(field))[0] == field


def test_an_unknown_key_is_refused():
    with pytest.raises(KeyError):
        column(Row, "inner")
