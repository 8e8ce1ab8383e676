"""Time stamps: order, duplicates, resets, bursts, rounding, gaps."""

from __future__ import annotations

import numpy as np
import pytest
from invented_movement import GRAVITY, HEADER, movement, text_table

from armarc.errors import TimingError
from armarc.recording import Recording, read_csv, uniform_pieces
from armarc.recording.stamps import usual_step

T, FORCE, TURNING = movement(1500)
N = len(T)


def read_stamped(tmp_path, stamps, rows=None, *, digits: int = 7, **options) -> Recording:
    rows = np.arange(N) if rows is None else rows
    columns = [np.asarray(stamps), *(FORCE[rows].T / GRAVITY), *np.degrees(TURNING[rows]).T]
    path = tmp_path / "recording.csv"
    path.write_text(text_table(columns, HEADER, digits=digits))
    return read_csv(path, **{"units": "gyroscope=deg/s"} | options)


@pytest.mark.parametrize(
    ("begun", "turns_s"), [("2026-03-29T01:59:55", 3600.0), ("2026-10-25T02:59:55", -3600.0)]
)
@pytest.mark.parametrize("form", ["{day} {clock}", "{clock}"])
def test_a_clock_turned_for_summer_time_makes_no_pause(tmp_path, begun, turns_s, form):
    """In step 5 s after the beginning civil time goes on an hour later or earlier; lost samples stay lost."""
    rows = without(np.s_[600:650])
    civil = np.datetime64(begun, "ms") + np.round(1000 * (T + turns_s * (T >= 4.9999))).astype(
        "timedelta64[ms]"
    )
    cells = [form.format(day=day, clock=clock) for day, clock in (str(one).split("T") for one in civil[rows])]
    numbers = text_table([*(FORCE[rows].T / GRAVITY), *np.degrees(TURNING[rows]).T], HEADER[1:]).splitlines()
    path = tmp_path / "recording.csv"
    path.write_text("\n".join(f"{a},{b}" for a, b in zip(["time", *cells], numbers, strict=True)) + "\n")
    recording = read_csv(path, units="gyroscope=deg/s")
    assert rms(recording.time_s - T[rows]) < 1e-3
    assert [(gap.missing_samples, round(gap.start_s, 2)) for gap in recording.gaps] == [(50, 5.99)]
    assert any("turned by an hour" in warning for warning in recording.warnings)


def test_a_pause_of_an_hour_stays_one_unless_it_ends_at_a_full_hour(tmp_path):
    stamps = [f"2026-03-29 01:30:{5 + t:09.6f}" for t in T[:700]] + [
        f"2026-03-29 02:30:{5 + t:09.6f}" for t in T[700:]
    ]
    numbers = text_table([*(FORCE.T / GRAVITY), *np.degrees(TURNING).T], HEADER[1:]).splitlines()
    path = tmp_path / "recording.csv"
    path.write_text("\n".join(f"{a},{b}" for a, b in zip(["time", *stamps], numbers, strict=True)) + "\n")
    recording = read_csv(path, units="gyroscope=deg/s")
    assert recording.duration_s > 3600
    assert not any("turned by an hour" in warning for warning in recording.warnings)


def rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def without(*stretches: slice) -> np.ndarray:
    return np.delete(np.arange(N), np.r_[tuple(stretches)])


def test_gaps_are_found_where_they_are(tmp_path):
    rows = without(np.s_[600:650], np.s_[900:901], np.s_[1000:1003], np.s_[1100:1400])
    recording = read_stamped(tmp_path, T[rows], rows)
    found = [(gap.start_s, gap.end_s, gap.missing_samples) for gap in recording.gaps]
    # A single lost sample (20 ms) and three (40 ms) are not gaps: they are bridged.
    assert found == [
        (pytest.approx(5.99), pytest.approx(6.5), 50),
        (pytest.approx(10.99), pytest.approx(14.0), 300),
    ]
    assert recording.rate_hz == pytest.approx(100.0, rel=1e-6)


@pytest.mark.parametrize("rate_hz", [104.17, 200.0, 400.0, 416.67])
def test_stamps_rounded_to_milliseconds_become_the_steady_clock(tmp_path, rate_hz):
    true = np.arange(N) / rate_hz
    recording = read_stamped(tmp_path, np.floor(1000 * true), digits=0)
    assert recording.rate_hz == pytest.approx(rate_hz, rel=1e-4)
    assert rms(recording.time_s - true) < 1e-4
    pieces = uniform_pieces(recording)
    assert len(pieces) == 1
    # Nothing was interpolated: every sample is still there, bit by bit.
    np.testing.assert_array_equal(pieces[0].specific_force_m_s2, recording.specific_force_m_s2)


def test_rounding_with_gaps(tmp_path):
    rows = without(np.s_[600:650], np.s_[900:902])
    true = np.arange(N)[rows] / 104.17
    recording = read_stamped(tmp_path, np.round(1000 * true), rows, digits=0)
    assert [gap.missing_samples for gap in recording.gaps] == [50]
    piece = uniform_pieces(recording)[0]
    assert len(piece.missing) == N
    np.testing.assert_array_equal(np.flatnonzero(piece.missing), np.arange(600, 650))


def test_stamps_coarser_than_the_sampling(tmp_path):
    true = np.arange(N) / 1600.0
    recording = read_stamped(tmp_path, np.floor(1000 * true), digits=0)
    assert recording.rate_hz == pytest.approx(1600.0, rel=1e-4)
    assert rms(recording.time_s - true) < 1e-4
    assert any("coarser (1 ms)" in sentence for sentence in recording.source.inferences)


@pytest.mark.parametrize("spacing_s", [0.0, 1e-4])
@pytest.mark.parametrize("delay_s", [0.0, 0.008])
def test_bursts_are_spread_evenly(tmp_path, spacing_s, delay_s):
    rng = np.random.default_rng(2)
    arrival = T[4::5] + np.abs(rng.normal(0, delay_s, N // 5))
    stamps = np.repeat(arrival, 5) + np.tile(spacing_s * np.arange(5), N // 5)
    recording = read_stamped(tmp_path, stamps)
    assert len(recording.time_s) == N
    assert recording.rate_hz == pytest.approx(100.0, rel=3e-4)
    np.testing.assert_allclose(np.diff(recording.time_s), 0.01, rtol=3e-4)
    assert recording.gaps == ()
    assert any("bursts of about 5 every" in sentence for sentence in recording.source.inferences)


@pytest.mark.parametrize("size", [20, 21, 50, 100, 250])
@pytest.mark.parametrize("kind", ["one stamp", "microseconds apart", "sizes vary"])
def test_long_bursts_are_spread_evenly(tmp_path, size, kind):
    """Twenty samples and more with one stamp: each packet is stamped as it arrives, after its last sample."""
    rng = np.random.default_rng(size)
    sizes = rng.integers(size // 2, 2 * size, N) if kind == "sizes vary" else np.full(N, size)
    ends = np.append(np.cumsum(sizes)[np.cumsum(sizes) < N], N) - 1
    stamps = T[ends[np.searchsorted(ends, np.arange(N))]]
    if kind == "microseconds apart":
        stamps = stamps + 2e-5 * (np.arange(N) - np.append(0, ends + 1)[np.searchsorted(ends, np.arange(N))])
    recording = read_stamped(tmp_path, stamps)
    assert recording.rate_hz == pytest.approx(100.0, rel=2e-3)
    assert recording.gaps == ()
    assert np.abs(recording.time_s - T).max() < 0.01
    assert any("bursts of about" in sentence for sentence in recording.source.inferences)


def test_pauses_between_ordinary_stretches_are_no_bursts(tmp_path):
    """Three rests of five minutes between stretches of 3 s: gaps, not packets."""
    stamps = T + 300.0 * (np.arange(N) // 300)
    recording = read_stamped(tmp_path, stamps)
    assert recording.rate_hz == pytest.approx(100.0)
    assert len(recording.gaps) == 4


def test_a_lost_packet_in_bursts_is_a_gap(tmp_path):
    rng = np.random.default_rng(2)
    stamps = np.repeat(T[4::5] + np.abs(rng.normal(0, 0.004, N // 5)), 5)
    rows = without(np.s_[600:650], np.s_[900:910])
    recording = read_stamped(tmp_path, stamps[rows], rows)
    assert len(recording.gaps) == 2
    assert recording.gaps[0].missing_samples == pytest.approx(50, abs=1)
    assert recording.gaps[1].missing_samples == pytest.approx(10, abs=1)


def test_uneven_stamps_are_believed(tmp_path):
    rng = np.random.default_rng(4)
    stamps = T + 0.002 * np.sin(np.cumsum(rng.uniform(0.2, 0.6, N)))
    recording = read_stamped(tmp_path, stamps - stamps[0])
    np.testing.assert_allclose(recording.time_s, stamps - stamps[0], atol=1e-6)
    assert any("uneven in time" in sentence for sentence in recording.source.inferences)
    assert recording.source.jitter_s > 2e-4


def test_rows_out_of_order_are_sorted_and_reported(tmp_path):
    order = np.arange(N)
    order[[700, 701]] = order[[701, 700]]
    order[900:924] = np.r_[912:924, 900:912]
    recording = read_stamped(tmp_path, T[order], order)
    np.testing.assert_allclose(recording.time_s, T, atol=1e-9)
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE, atol=1e-5)
    assert recording.warnings == ("13 row(s) were out of order and were sorted by time",)


def test_duplicates_are_dropped_and_counted(tmp_path):
    rows = np.sort(np.r_[np.arange(N), [5, 700, 700, 1499]])
    recording = read_stamped(tmp_path, T[rows], rows)
    np.testing.assert_allclose(recording.time_s, T, atol=1e-9)
    assert recording.source.duplicate_samples == 4


def test_every_row_twice(tmp_path):
    rows = np.repeat(np.arange(N), 2)
    recording = read_stamped(tmp_path, T[rows], rows)
    np.testing.assert_allclose(recording.time_s, T, atol=1e-9)
    assert recording.source.duplicate_samples == N


def test_two_samples_with_one_stamp_share_the_hole_beside_them(tmp_path):
    stamps = T.copy()
    stamps[500] = stamps[499]
    recording = read_stamped(tmp_path, stamps)
    np.testing.assert_allclose(recording.time_s, T, atol=1e-6)
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE, atol=1e-5)


def test_one_wild_stamp_costs_one_row(tmp_path):
    stamps = T.copy()
    stamps[700] = 999999.0
    recording = read_stamped(tmp_path, stamps)
    assert len(recording.time_s) == N - 1
    assert recording.duration_s == pytest.approx(T[-1])
    assert any("far from their neighbours'" in warning for warning in recording.warnings)


def test_a_restarted_clock_splits_the_recording(tmp_path):
    stamps = T.copy()
    stamps[700:] -= stamps[700]
    recording = read_stamped(tmp_path, stamps)
    assert len(recording.time_s) == N
    assert [len(piece.missing) for piece in uniform_pieces(recording)] == [700, 800]
    assert any("the clock started again 1 time(s)" in warning for warning in recording.warnings)


@pytest.mark.parametrize(("unit", "factor", "bits"), [("us", 1e6, 32), ("ms", 1e3, 16), ("us", 1e6, 24)])
def test_a_counter_that_runs_over_is_joined_exactly(tmp_path, unit, factor, bits):
    ticks = np.round((T - 5.0) * factor) % 2**bits
    recording = read_stamped(tmp_path, ticks, digits=0)
    np.testing.assert_allclose(recording.time_s, T, atol=1e-9)
    assert recording.warnings == ()
    assert any("joined exactly" in sentence for sentence in recording.source.inferences)


def test_a_column_that_is_no_clock(tmp_path):
    rng = np.random.default_rng(0)
    with pytest.raises(TimingError):
        read_stamped(tmp_path, rng.normal(0, 100, N))


def test_the_cell_that_is_no_time_is_named(tmp_path):
    """A thousand marked with an apostrophe makes text of a column of numbers; the first cell is none to blame."""
    stamps = [f"{round(4000 * t):,}".replace(",", "'") for t in T]
    path = tmp_path / "recording.csv"
    path.write_text(text_table([stamps, *(FORCE.T / GRAVITY), *np.degrees(TURNING).T], HEADER))
    with pytest.raises(TimingError, match='"1\'000" is not a time'):
        read_csv(path)


def test_a_slowly_wandering_clock_is_still_steady(tmp_path):
    n = 60_000
    true = np.arange(n) / 100.0
    wander = 0.03 * np.sin(2 * np.pi * true / 600.0)
    t, force, turning = movement(n)
    del t
    columns = [np.round(1000 * (true + wander)), *(force.T / GRAVITY), *np.degrees(turning).T]
    path = tmp_path / "recording.csv"
    path.write_text(text_table(columns, HEADER, digits=4))
    recording = read_csv(path, units="gyroscope=deg/s")
    np.testing.assert_allclose(np.diff(recording.time_s), 0.01, rtol=0.002)
    assert np.abs(recording.time_s - (true + wander - wander[0])).max() < 2e-3
    piece = uniform_pieces(recording)[0]
    np.testing.assert_array_equal(piece.angular_velocity_rad_s, recording.angular_velocity_rad_s)


@pytest.mark.parametrize(("rate_hz", "match"), [(5.0, "5 Hz"), (8000.0, "8000 Hz")])
def test_rates_out_of_reach(tmp_path, rate_hz, match):
    with pytest.raises(TimingError, match=match):
        read_stamped(tmp_path, np.arange(N) / rate_hz, units="time=s,gyroscope=deg/s")


def test_stated_rate_against_stamps_is_doubted(tmp_path):
    path = tmp_path / "recording.csv"
    path.write_text("# rate_hz: 50\n" + text_table([T, *(FORCE.T / GRAVITY), *np.degrees(TURNING).T]))
    recording = read_csv(path)
    assert recording.rate_hz == pytest.approx(100.0)
    assert any("says 50 Hz" in warning for warning in recording.warnings)


def test_a_part_of_the_time_is_not_sorted_like_late_rows(tmp_path):
    """Nanoseconds beside a column of seconds begin again each second; sorted, no reading would stand by the next."""
    with pytest.raises(TimingError, match=r"of 1500 rows are out of order.*join the two"):
        read_stamped(tmp_path, T % 1.0)
    # A block that came late is no such column.
    late = np.r_[0:600, 700:900, 600:700, 900:N]
    recording = read_stamped(tmp_path, T[late], late)
    assert recording.warnings == ("100 row(s) were out of order and were sorted by time",)
    assert rms(recording.specific_force_m_s2 - FORCE) < 1e-5


def test_usual_step_of_a_long_recording_sees_every_part_of_a_pattern():
    steps = np.tile([0.004, 0.008, 0.018], 20_000)
    assert usual_step(steps) == 0.008
    # A rate that changes is what most of the recording has, not what it begins with.
    assert usual_step(np.repeat([0.02, 0.01], [30_000, 60_000])) == 0.01
