"""One movement written in many dialects always reads as the same recording."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from invented_movement import GRAVITY, HEADER, movement, text_table

from armarc.errors import FormatError, TimingError
from armarc.recording import Recording, read_csv

T, FORCE, TURNING = movement()
A_SI, W_SI = list(FORCE.T), list(TURNING.T)
A_G, W_DEG = list(FORCE.T / GRAVITY), list(np.degrees(TURNING).T)
PLAIN = text_table([T, *A_G, *W_DEG])


def read_text(tmp_path, text: str | bytes, encoding: str = "utf-8", **options) -> Recording:
    path = tmp_path / "recording.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return read_csv(path, **options)


def assert_same(recording: Recording, within_s: float = 1e-4) -> None:
    assert len(recording.time_s) == len(T)
    np.testing.assert_allclose(recording.time_s, T, atol=within_s)
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE, atol=2e-5)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, TURNING, atol=2e-5)
    assert recording.rate_hz == pytest.approx(100.0, rel=1e-4)
    assert recording.gaps == ()


@pytest.mark.parametrize(
    ("delimiter", "decimal"),
    [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("  ", "."), (" ", ","), ("|", ".")],
)
def test_delimiter_and_decimal_mark(tmp_path, delimiter, decimal):
    assert_same(read_text(tmp_path, text_table([T, *A_G, *W_DEG], delimiter=delimiter, decimal=decimal)))


def test_quoted_cells_with_decimal_commas_between_commas(tmp_path):
    rows = text_table([T, *A_G, *W_DEG], (), delimiter=";", decimal=",").splitlines()
    quoted = ["{}".format(",".join(f'"{cell}"' for cell in row.split(";"))) for row in rows]
    assert_same(read_text(tmp_path, "\n".join([",".join(HEADER), *quoted]) + "\n"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_encodings(tmp_path, encoding):
    assert_same(read_text(tmp_path, PLAIN, encoding))


def test_one_byte_encoding_keeps_the_degree_sign(tmp_path):
    names = ["Zeit (s)", *(f"Acc {a} (m/s²)" for a in "xyz"), *(f"Gyro {a} (°/s)" for a in "xyz")]
    text = text_table([T, *A_SI, *W_DEG], names, delimiter=";", decimal=",")
    recording = read_text(tmp_path, text, "latin-1")
    assert_same(recording)
    assert recording.source.units == {"time": "s", "acceleration": "m/s2", "angular_velocity": "deg/s"}


@pytest.mark.parametrize(
    ("encoding", "time", "acceleration", "rate"),
    [
        ("shift_jis", "時間", "加速度", "角速度"),
        ("gbk", "时间", "加速度", "角速度"),
        ("big5", "時間", "加速度", "角速度"),
        ("euc-kr", "시간", "가속도", "각속도"),
        ("cp1251", "Время", "Ускорение ", "Угловая скорость "),
    ],
)
def test_what_spreadsheets_save_where_they_do_not_write_a_to_z(tmp_path, encoding, time, acceleration, rate):
    names = [
        f"{time}(s)",
        *(f"{acceleration}{a}(m/s2)" for a in "XYZ"),
        *(f"{rate}{a}(deg/s)" for a in "XYZ"),
    ]
    recording = read_text(tmp_path, text_table([T, *A_SI, *W_DEG], names), encoding)
    assert_same(recording)
    assert recording.source.columns["gz"] == names[-1]


def test_one_damaged_byte_does_not_garble_the_names_of_a_text_in_utf8(tmp_path):
    names = ["時間(s)", *(f"加速度{a}(m/s2)" for a in "XYZ"), *(f"角速度{a}(deg/s)" for a in "XYZ")]
    text = text_table([T, *A_SI, *W_DEG], names).encode()
    recording = read_text(tmp_path, text + b"# \xff\n")
    assert_same(recording)
    assert any("not valid UTF-8" in warning for warning in recording.warnings)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(tmp_path, end):
    assert_same(read_text(tmp_path, text_table([T, *A_G, *W_DEG], end=end)))


@pytest.mark.parametrize(
    "preamble",
    [
        "Recording export\nDevice: strap\nRate,100 Hz\n\n",
        "# a remark\n% another\n// and a third\n",
        "\n\n",
        '"Title","of the export"\n',
    ],
)
def test_preamble_and_comments(tmp_path, preamble):
    assert_same(read_text(tmp_path, preamble + PLAIN))


def test_head_keys_are_kept(tmp_path):
    recording = read_text(tmp_path, "# side: left\n# load_kg = 7.5\n# Firmware: 1.2\nMode,calm\n" + PLAIN)
    assert recording.metadata.side == "left"
    assert recording.metadata.load_kg == 7.5
    assert recording.metadata.other == {"firmware": "1.2", "mode": "calm"}


@pytest.mark.parametrize("mark", ["#", "%", "//"])
def test_comments_among_the_rows_are_passed_over(tmp_path, mark):
    lines = PLAIN.splitlines(keepends=True)
    lines.insert(500, f"{mark} changed hands, 1, 2\n")
    assert_same(read_text(tmp_path, "".join(lines)))


def test_header_in_the_last_comment(tmp_path):
    assert_same(read_text(tmp_path, "# " + text_table([T, *A_G, *W_DEG], delimiter=" ")))


def test_repeated_header_is_reported(tmp_path):
    lines = PLAIN.splitlines(keepends=True)
    lines.insert(500, lines[0])
    recording = read_text(tmp_path, "".join(lines))
    assert_same(recording)
    assert any("header is repeated 1" in warning for warning in recording.warnings)


def test_row_numbers_with_and_without_a_name(tmp_path):
    numbers = [str(i) for i in range(len(T))]
    assert_same(read_text(tmp_path, text_table([numbers, T, *A_G, *W_DEG], ("", *HEADER))))
    unnamed = " ".join(HEADER) + "\n" + text_table([numbers, T, *A_G, *W_DEG], (), delimiter=" ")
    assert_same(read_text(tmp_path, unnamed))


def test_trailing_delimiters(tmp_path):
    rows = PLAIN.splitlines()
    assert_same(read_text(tmp_path, "\n".join([rows[0], *(f"{row}," for row in rows[1:])]) + "\n"))
    assert_same(read_text(tmp_path, "".join(f"{row},\n" for row in rows)))


def test_gzip(tmp_path):
    assert_same(read_text(tmp_path, gzip.compress(PLAIN.encode())))


def test_cut_gzip_keeps_what_is_there(tmp_path):
    packed = gzip.compress(PLAIN.encode())
    recording = read_text(tmp_path, packed[: len(packed) // 2])
    n = len(recording.time_s)
    assert 300 < n < len(T)
    np.testing.assert_allclose(recording.time_s, T[:n], atol=1e-6)
    assert any("ends early" in warning for warning in recording.warnings)


@pytest.mark.parametrize(("unit", "factor"), [("ms", 1e3), ("us", 1e6), ("ns", 1e9)])
@pytest.mark.parametrize("start_s", [0.0, 1.7e9])
def test_unit_of_time_from_the_rate_it_gives(tmp_path, unit, factor, start_s):
    stamps = [f"{round((start_s + t) * factor):d}" for t in T]
    recording = read_text(tmp_path, text_table([stamps, *A_G, *W_DEG], ("timestamp", *HEADER[1:])))
    assert_same(recording, within_s=6e-4)
    assert recording.source.units["time"] == unit
    # 1 700 000 000 s after 1970 is 2023-11-14T22:13:20Z (POSIX time, leap seconds not counted).
    assert recording.metadata.started_at == ("2023-11-14T22:13:20.000Z" if start_s else None)


def test_a_time_unit_that_cannot_be_is_corrected_and_said(tmp_path):
    recording = read_text(tmp_path, text_table([1000 * T, *A_G, *W_DEG], ("time_s", *HEADER[1:])))
    assert_same(recording)
    assert any("'time_s'" in warning and "read as ms" in warning for warning in recording.warnings)


def test_iso_8601_and_times_of_day(tmp_path):
    start = datetime(2024, 5, 17, 23, 59, 57, tzinfo=UTC)
    instants = [start + timedelta(seconds=float(t)) for t in T]
    forms = {
        "zulu": [instant.isoformat().replace("+00:00", "Z") for instant in instants],
        "offset": [instant.isoformat() for instant in instants],
        "blank": [instant.strftime("%Y-%m-%d %H:%M:%S.%f") for instant in instants],
        "slashes": [instant.strftime("%Y/%m/%d %H:%M:%S.%f") for instant in instants],
        "clock": [instant.strftime("%H:%M:%S.%f") for instant in instants],
        "half days": [instant.strftime("%I:%M:%S.%f %p") for instant in instants],
        "day first": [instant.strftime("%d/%m/%Y %H:%M:%S.%f") for instant in instants],
    }
    for name, cells in forms.items():
        recording = read_text(tmp_path, text_table([cells, *A_G, *W_DEG]))
        assert_same(recording)
        begun = recording.metadata.started_at
        assert begun == {
            "zulu": "2024-05-17T23:59:57Z",
            "offset": "2024-05-17T23:59:57Z",
            "blank": "2024-05-17T23:59:57",
            "slashes": "2024-05-17T23:59:57",
        }.get(name)


def test_rate_instead_of_time(tmp_path):
    text = text_table([*A_G, *W_DEG], HEADER[1:])
    assert_same(read_text(tmp_path, text, rate_hz=100.0))
    assert_same(read_text(tmp_path, "# sampling rate: 100 Hz\n" + text))
    with pytest.raises(TimingError, match="no time column and no sampling rate"):
        read_text(tmp_path, text)


def test_sample_counter_shows_what_is_missing(tmp_path):
    kept = np.delete(np.arange(len(T)), np.s_[400:420])
    columns = [[str(i) for i in kept], *(a[kept] for a in A_G), *(w[kept] for w in W_DEG)]
    recording = read_text(tmp_path, text_table(columns, ("sample", *HEADER[1:])), rate_hz=100.0)
    assert [gap.missing_samples for gap in recording.gaps] == [20]
    np.testing.assert_allclose(recording.time_s, T[kept], atol=1e-9)


def test_no_header_is_told_by_the_values_and_said(tmp_path):
    recording = read_text(tmp_path, text_table([T, *A_G, *W_DEG], ()))
    assert_same(recording)
    assert any("no header: column 1 as time" in sentence for sentence in recording.source.inferences)
    assert_same(read_text(tmp_path, text_table([T, *W_SI, *A_SI], ())))
    assert_same(read_text(tmp_path, text_table([*A_G, *W_DEG], ()), rate_hz=100.0))


def test_no_header_with_other_column_counts_is_refused(tmp_path):
    with pytest.raises(FormatError, match="8 columns instead of 6 or 7"):
        read_text(tmp_path, text_table([T, *A_G, *W_DEG, T], ()))
    recording = read_text(
        tmp_path,
        text_table([T, *A_G, *W_DEG, T], ()),
        columns="time=1,ax=2,ay=3,az=4,gx=5,gy=6,gz=7",
    )
    assert_same(recording)


def test_source_says_what_was_read(tmp_path):
    import hashlib

    recording = read_text(tmp_path, PLAIN)
    assert recording.source.file.endswith("recording.csv")
    assert recording.source.columns == dict(
        zip(("time", "ax", "ay", "az", "gx", "gy", "gz"), HEADER, strict=True)
    )
    assert recording.source.sha256 == hashlib.sha256(PLAIN.encode()).hexdigest()
