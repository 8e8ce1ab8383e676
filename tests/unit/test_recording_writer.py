"""Our own format: exact round trips, growing files, and files cut by a crash."""

from __future__ import annotations

import io
import json

import numpy as np
import pandas as pd
import pytest
from invented_movement import movement

from armarc.errors import FormatError
from armarc.recording import Metadata, Recording, RecordingWriter, read_csv, write_csv

T, FORCE, TURNING = movement(400)
METADATA = Metadata(
    exercise="lateral-raise",
    side="left",
    load_kg=7.5,
    sensor="strap 3",
    strap="back",
    hand_axis="+y",
    started_at="2024-05-17T18:03:05Z",
    note='cold; "warm-up" – größer, 20 %',
    accelerometer_range_m_s2=156.9064,
    gyroscope_range_rad_s=34.9066,
    other={"firmware": "1.2", "invented": True, "nested": {"a": [1, 2]}},
)


def recorded(**fields) -> Recording:
    values = {"time_s": T, "specific_force_m_s2": FORCE, "angular_velocity_rad_s": TURNING, "rate_hz": 100.0}
    return Recording(**(values | fields))


def test_round_trip_is_exact_to_the_digits(tmp_path):
    path = tmp_path / "recording.csv"
    write_csv(recorded(metadata=METADATA, temperature_c=30 + T), path)
    again = read_csv(path)
    np.testing.assert_array_equal(again.time_s, np.round(T, 6))
    np.testing.assert_allclose(again.specific_force_m_s2, np.round(FORCE, 5), rtol=1e-15, atol=1e-15)
    np.testing.assert_allclose(again.angular_velocity_rad_s, np.round(TURNING, 5), rtol=1e-15, atol=1e-15)
    assert again.temperature_c is not None
    np.testing.assert_allclose(again.temperature_c, np.round(30 + T, 2), rtol=1e-15)
    assert again.metadata == METADATA
    assert again.warnings == ()
    second = tmp_path / "again.csv"
    write_csv(again, second)
    assert second.read_bytes() == path.read_bytes()


def test_layout_of_the_file(tmp_path):
    path = tmp_path / "recording.csv"
    write_csv(recorded(metadata=METADATA), path)
    first, second, header, row, *_ = path.read_text(encoding="utf-8").splitlines()
    assert first == "# armarc recording 1"
    assert json.loads(second[2:])["load_kg"] == 7.5
    assert header == "time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s"
    assert row.startswith("0.000000,")
    frame = pd.read_csv(path, comment="#")
    np.testing.assert_allclose(frame.to_numpy()[:, 1:4], FORCE, atol=5.1e-6)


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "recording.csv"
    write_csv(recorded(), path)
    before = path.read_bytes()

    def full(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(FormatError, match="No space left"):
        write_csv(recorded(metadata=METADATA), path)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["recording.csv"]


def test_unwritable_folder(tmp_path):
    with pytest.raises(FormatError, match="cannot be written"):
        write_csv(recorded(), tmp_path / "nowhere" / "recording.csv")
    with pytest.raises(FormatError, match="cannot be written"):
        RecordingWriter(tmp_path / "nowhere" / "recording.csv")


def test_growing_file_equals_whole_file(tmp_path):
    whole, grown = tmp_path / "whole.csv", tmp_path / "grown.csv"
    write_csv(recorded(metadata=METADATA), whole)
    with RecordingWriter(grown, METADATA, 100.0) as writer:
        for start in range(0, len(T), 7):
            part = slice(start, start + 7)
            writer.append(T[part], FORCE[part], TURNING[part])
        writer.flush()
        assert writer.samples == len(T)
    assert grown.read_text(encoding="utf-8") == whole.read_text(encoding="utf-8")


def test_events_are_kept_through_reading_and_writing(tmp_path):
    path = tmp_path / "recording.csv"
    events = [{"event": "link lost", "time_s": 1.0}, {"event": "mark", "time_s": 2.5, "note": "second set"}]
    with RecordingWriter(path, {"side": "right"}, 100.0) as writer:
        writer.append(T[:100], FORCE[:100], TURNING[:100])
        writer.event(events[0])
        writer.append(T[150:], FORCE[150:], TURNING[150:])
        writer.event(events[1])
    recording = read_csv(path)
    assert recording.metadata.other["events"] == events
    assert len(recording.gaps) == 1
    again = tmp_path / "again.csv"
    write_csv(recording, again)
    assert read_csv(again).metadata == recording.metadata


def test_cut_anywhere_stays_readable(tmp_path):
    path = tmp_path / "recording.csv"
    with RecordingWriter(path, METADATA, 100.0) as writer:
        writer.append(T, FORCE, TURNING)
    data = path.read_bytes()
    lines = data.splitlines(keepends=True)
    head = sum(map(len, lines[:3]))
    for cut in range(len(data) - 200, len(data), 7):
        path.write_bytes(data[:cut])
        whole = data[head:cut].count(b"\n")
        assert len(read_csv(path).time_s) == whole


def test_cut_inside_an_event(tmp_path):
    path = tmp_path / "recording.csv"
    with RecordingWriter(path, METADATA, 100.0) as writer:
        writer.append(T, FORCE, TURNING)
        writer.event({"event": "link lost"})
    path.write_bytes(path.read_bytes()[:-8])
    recording = read_csv(path)
    assert len(recording.time_s) == len(T)
    assert "events" not in recording.metadata.other


def test_never_overwrites(tmp_path):
    path = tmp_path / "recording.csv"
    path.write_text("precious")
    with pytest.raises(FormatError, match="never overwritten"):
        RecordingWriter(path)
    assert path.read_text() == "precious"


def test_shapes_are_checked(tmp_path):
    with RecordingWriter(tmp_path / "recording.csv", rate_hz=100.0, temperature=True) as writer:
        with pytest.raises(ValueError, match="as many times"):
            writer.append(T[:2], FORCE[:3], TURNING[:3])
        with pytest.raises(ValueError, match="temperatures"):
            writer.append(T[:2], FORCE[:2], TURNING[:2])
        writer.append(0.0, FORCE[0], TURNING[0], 31.5)
    frame = pd.read_csv(io.StringIO((tmp_path / "recording.csv").read_text()), comment="#")
    assert frame["temperature_c"].tolist() == [31.5]


def test_a_later_format_is_refused(tmp_path):
    path = tmp_path / "recording.csv"
    write_csv(recorded(), path)
    path.write_text(path.read_text().replace("# armarc recording 1", "# armarc recording 2"))
    with pytest.raises(FormatError, match="format 2"):
        read_csv(path)
