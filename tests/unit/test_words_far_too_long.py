"""Text far longer than anybody types costs one walk, not its square: a damaged file must not hang the reader."""

from __future__ import annotations

import contextlib
import time

import pytest

from armarc.errors import ArmarcError, UsageError
from armarc.load.grammar import parse_resistances
from armarc.quantities import parse_load, parse_pair
from armarc.recording import read_csv
from armarc.recording.units import scale_of

LONG = 50_000
MOST_S = 1.0
HEADER = "time,ax,ay,az,gx,gy,gz"
ROWS = "".join(f"{k / 50:.2f},0.1,9.7,{k % 3},0.{k % 7},0.2,0.3\n" for k in range(60))


def seconds_of(function, *arguments) -> float:
    began = time.process_time()
    with contextlib.suppress(ArmarcError):
        function(*arguments)
    return time.process_time() - began


@pytest.mark.parametrize(
    "text",
    [
        f"{HEADER}\n{'1' * LONG}x,1,2,3,4,5,6\n{ROWS}",
        f"{HEADER},{'(' * LONG}\n{ROWS}",
        f"# rate{' ' * LONG}!\n{HEADER}\n{ROWS}",
        f"# rate: {',' * LONG}y\n{HEADER}\n{ROWS}",
        f"# rate: 5{' ' * LONG}y\n{HEADER[5:]}\n{ROWS}",
    ],
    ids=["digits", "brackets", "key", "value", "rate"],
)
def test_a_long_cell_does_not_hang_the_reader(tmp_path, text):
    path = tmp_path / "long.csv"
    path.write_text(text)
    assert seconds_of(read_csv, path) < MOST_S


@pytest.mark.parametrize(
    ("function", "word"),
    [
        (parse_load, "8" + " " * LONG + "!"),
        (parse_pair, "8" + " " * LONG + "!"),
        (parse_resistances, "0" * LONG + " x y"),
    ],
)
def test_a_long_word_does_not_hang_the_command_line(function, word):
    assert seconds_of(function, word) < MOST_S


@pytest.mark.parametrize("unit", ["g/1.2.3", "g/0", "g/" + "9" * 400, "/3"])
def test_a_unit_divided_by_no_number_is_refused(unit):
    with pytest.raises(UsageError):
        scale_of(unit, "acceleration")


def test_a_unit_may_be_divided_by_counts():
    # The standard acceleration of gravity, 9.80665 m/s² (3rd CGPM, 1901), over 4096 counts.
    assert scale_of("g / 4096", "acceleration") == pytest.approx(9.80665 / 4096, rel=1e-12)
