"""Files that cannot be used say what they are, where it fails, and what to do."""

from __future__ import annotations

import pytest
from invented_movement import GRAVITY, HEADER, movement, text_table

from armarc.errors import FormatError, InputError, TimingError
from armarc.recording import read_csv

T, FORCE, TURNING = movement(300)
TEXT = text_table([T, *(FORCE.T / GRAVITY), *TURNING.T], HEADER)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"\n\n  \n", "empty"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "JPEG"),
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"%PDF-1.7\n", "PDF"),
        (b"PK\x03\x04rest", "zip"),
        (b"SQLite format 3\x00", "SQLite"),
        (b"\x93NUMPY\x01\x00", "NumPy"),
        (b'{"samples": [1, 2]}', "JSON"),
        (b"[[1, 2], [3, 4]]", "JSON"),
        (b"<!DOCTYPE html><html></html>", "web page"),
        (b"\x00\x01\x02\x03" * 100, "binary"),
        (b"only words here\nand more words, too\n", "no columns of numbers"),
        (b"# nothing\n# but comments\n", "only comments"),
        (TEXT.splitlines(keepends=True)[0].encode(), "not one row of numbers"),
        ("".join(TEXT.splitlines(keepends=True)[:2]).encode(), "only one row"),
    ],
)
def test_other_kinds_of_file(tmp_path, content, said):
    path = tmp_path / "file.csv"
    path.write_bytes(content)
    with pytest.raises(FormatError, match=said) as caught:
        read_csv(path)
    assert caught.value.hint or said == "only comments"
    assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("left_out", "said"),
    [
        (("gz",), "the gyroscope has no column for z, only gx, gy"),
        (("ax", "ay"), "the accelerometer has no column for x and y, only az"),
    ],
)
def test_an_axis_that_lacks_is_named(tmp_path, left_out, said):
    names = [name for name in ("time_s", "ax", "ay", "az", "gx", "gy", "gz") if name not in left_out]
    path = tmp_path / "file.csv"
    path.write_text(
        "\n".join(
            [
                ",".join(names),
                *(",".join([f"{0.01 * i:.2f}"] + ["1.5"] * (len(names) - 1)) for i in range(200)),
            ]
        )
    )
    with pytest.raises(FormatError, match=said):
        read_csv(path)


def test_missing_file_folder_and_impossible_name(tmp_path):
    with pytest.raises(FormatError, match="no such file"):
        read_csv(tmp_path / "nothing.csv")
    with pytest.raises(FormatError, match="folder"):
        read_csv(tmp_path)
    with pytest.raises(FormatError, match="file name"):
        read_csv("a\x00b")
    with pytest.raises(FormatError, match="cannot be read"):
        read_csv("x" * 5000)


def test_text_in_a_number_names_line_and_column(tmp_path):
    lines = TEXT.splitlines()
    cells = lines[150].split(",")
    cells[3] = "loose strap"
    lines[150] = ",".join(cells)
    path = tmp_path / "file.csv"
    path.write_text("# a remark\n" + "\n".join(lines) + "\n")
    with pytest.raises(FormatError, match="'loose strap' is not a number") as caught:
        read_csv(path)
    assert (caught.value.line, caught.value.column) == (152, "az")


def test_surplus_cells_name_the_line(tmp_path):
    lines = TEXT.splitlines()
    lines[150] += ",1,2"
    path = tmp_path / "file.csv"
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(FormatError, match="expected 7 cells in a row, found 9") as caught:
        read_csv(path)
    assert caught.value.line == 151


@pytest.mark.parametrize("cut", [25, 3])
def test_a_half_last_line_is_left_out_and_said(tmp_path, cut):
    path = tmp_path / "file.csv"
    path.write_text(TEXT[:-cut])
    recording = read_csv(path)
    assert len(recording.time_s) == len(T) - 1
    assert any("last line is cut off" in warning for warning in recording.warnings)


def test_a_whole_last_line_without_line_end_is_kept(tmp_path):
    path = tmp_path / "file.csv"
    path.write_text(TEXT[:-1])
    recording = read_csv(path)
    assert len(recording.time_s) == len(T)
    assert recording.warnings == ()


def test_less_than_a_second(tmp_path):
    path = tmp_path / "file.csv"
    path.write_text("".join(TEXT.splitlines(keepends=True)[:60]))
    with pytest.raises(TimingError, match=r"lasts only 0\.58 s"):
        read_csv(path)


@pytest.mark.parametrize(("dead", "said"), [(slice(1, 4), "accelerometer"), (slice(4, 7), "gyroscope")])
def test_a_dead_sensor(tmp_path, dead, said):
    columns = [T, *(FORCE.T / GRAVITY), *TURNING.T]
    columns[dead] = [0 * T + 1] * 3
    path = tmp_path / "file.csv"
    path.write_text(text_table(columns, HEADER))
    with pytest.raises(InputError, match=f"{said} never changes"):
        read_csv(path)


def test_unknown_columns_are_listed(tmp_path):
    path = tmp_path / "file.csv"
    path.write_text(text_table([T, *FORCE.T, *TURNING.T], ("time", *"uvwpqr")))
    with pytest.raises(FormatError, match="no accelerometer columns were recognised among: time, u, v, w"):
        read_csv(path)


def test_commas_between_columns_and_in_numbers_are_called_that(tmp_path):
    head, *rows = TEXT.splitlines()
    path = tmp_path / "file.csv"
    path.write_text("\n".join([head, *(row.replace(".", ",") for row in rows)]))
    with pytest.raises(FormatError, match=r"names 7 columns and the rows have 14: commas") as caught:
        read_csv(path)
    assert "export it with ;" in str(caught.value)
