"""The parser for small clean tables gives what pandas gives, bit by bit, and leaves everything else to it."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from armarc.recording.layout import sniff
from armarc.recording.plain import plain_numbers
from armarc.recording.table import load_table
from armarc.recording.text import open_text

NAMES = "time,ax,ay,az,gx,gy,gz"


def written(path, lines):
    path.write_text("\n".join([NAMES, *lines]) + "\n")
    source = open_text(path)
    layout = sniff(source)
    return source, layout, [(layout.data_start, len(source.data))]


@pytest.mark.parametrize("form", ["%.3f", "%.6f", "%.9f", "%.4e"])
def test_same_numbers_as_pandas(tmp_path, form):
    rng = np.random.default_rng(3)
    rows = np.column_stack([np.arange(400) / 100, rng.normal(scale=8.0, size=(400, 6))])
    lines = [",".join(form % x for x in row) for row in rows]
    source, layout, spans = written(tmp_path / "a.csv", lines)
    positions = (1, 2, 3, 6, 4, 5, 0)
    mine = plain_numbers(source.data, spans, layout, positions)
    assert mine is not None
    np.testing.assert_array_equal(mine, load_table(source, layout, positions).values)


@pytest.mark.parametrize("cell", ["", " ", "nan", "NA", "inf", "1_0", "0x1f", "word", '"1.5"', "1e999"])
def test_anything_else_is_left_to_the_full_parser(tmp_path, cell):
    lines = [f"{k / 100},1,2,3,4,5,6" for k in range(50)]
    lines[20] = f"0.2,1,{cell},3,4,5,6"
    source, layout, spans = written(tmp_path / "a.csv", lines)
    found = plain_numbers(source.data, spans, layout, (0, 1, 2, 3, 4, 5, 6))
    assert found is None or cell == '"1.5"'


def test_short_row_is_left_to_the_full_parser(tmp_path):
    lines = [f"{k / 100},1,2,3,4,5,6" for k in range(50)]
    lines[20] = "0.2,1,2"
    source, layout, spans = written(tmp_path / "a.csv", lines)
    assert plain_numbers(source.data, spans, layout, (0, 1, 2, 3, 4, 5, 6)) is None


def test_small_recording_is_read_without_pandas(tmp_path):
    from armarc.recording import write_csv
    from armarc.simulate import SimulationOptions, plan_session, simulate_session

    recording, _ = simulate_session(plan_session(SimulationOptions(reps=3), 1), 1)
    path = tmp_path / "small.csv"
    write_csv(recording, path)
    code = (
        "import sys; from armarc.recording import read_csv; r = read_csv(sys.argv[1]); "
        "print(len(r.time_s), 'pandas' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(len(recording.time_s)), "False"]
