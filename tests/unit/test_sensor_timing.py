"""Device clocks: the lower envelope against least squares, wraps, restarts, slewing."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from armarc.sensor.dialect import Batch, Timing
from armarc.sensor.events import Frames, Loss
from armarc.sensor.timing import LowerEnvelope, Timeline, Unwrapper

WRIST = Timing(rate_hz=200.0, index_modulus=65536, time_modulus_s=2**32 * 1e-6)


def arrivals(
    rng: np.random.Generator, seconds: float, drift: float, *, rate_hz: float = 21.0, interval_s: float = 0.03
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Device time, true host time and arrival of packets over an assumed link: connection events every
    `interval_s`, a tenth of the packets repeated, 1 % held up by the host for 0.15 s on average, in order."""
    device = np.arange(0, seconds, 1 / rate_hz)
    true = device * (1 + drift) + 12.345
    interval_s *= 1 + rng.normal(0, 20e-6)
    arrived = np.ceil((true + 1e-3) / interval_s) * interval_s
    arrived += interval_s * (rng.geometric(0.9, len(arrived)) - 1)
    arrived += np.where(rng.random(len(arrived)) < 0.01, rng.exponential(0.15, len(arrived)), 0)
    return device, true, np.maximum.accumulate(arrived) + 0.0005


def fit_clock(device_s, arrival_s):
    envelope = LowerEnvelope()
    for device, arrival in zip(device_s, arrival_s, strict=True):
        envelope.add(float(device), float(arrival))
    return envelope.fit()


def test_the_envelope_beats_least_squares_by_far() -> None:
    rng = np.random.default_rng(1)
    errors: dict[str, list[float]] = {"hull": [], "least squares": []}
    for _ in range(20):
        device, true, arrived = arrivals(rng, 60, 40e-6)
        fit = fit_clock(device, arrived)
        line = np.polynomial.Polynomial.fit(device, arrived - device, 1)  # numpy's least squares as the rival
        errors["hull"].append(float(np.abs(device * (1 + fit.drift) + fit.offset_s - true).max()))
        errors["least squares"].append(float(np.abs(device + line(device) - true).max()))
    assert np.mean(errors["hull"]) < 0.003
    assert np.mean(errors["least squares"]) > 5 * np.mean(errors["hull"])


def test_a_clock_without_jitter_is_exact() -> None:
    device = np.arange(0, 100, 0.1)
    fit = fit_clock(device, device * (1 + 123e-6) + 5)
    assert fit.drift == pytest.approx(123e-6, abs=1e-12)
    assert fit.host_s(50.0) == pytest.approx(50 * (1 + 123e-6) + 5, abs=1e-9)


def test_the_hull_is_a_hull() -> None:
    # scipy's convex hull is the witness.
    from scipy.spatial import ConvexHull

    rng = np.random.default_rng(4)
    x, y = np.sort(rng.random(300)) * 100, rng.random(300)
    envelope = LowerEnvelope()
    for a, b in zip(x, y, strict=True):
        envelope.add(a, a + b)
    hull = ConvexHull(np.c_[x, y])
    ring = hull.vertices
    start = int(np.argmin(x[ring]))
    ring = np.roll(ring, -start)  # counter-clockwise from the leftmost point: the lower side comes first
    lower = ring[: int(np.argmax(x[ring])) + 1]
    assert len(envelope) == len(lower)


def test_an_impossible_drift_is_not_believed() -> None:
    fit = fit_clock([0.0, 1.0, 2.0], [0.3, 1.1, 2.0])
    assert fit.drift == -500e-6
    assert all(fit.host_s(d) <= a + 1e-12 for d, a in ((0, 0.3), (1, 1.1), (2, 2.0)))
    with pytest.raises(ValueError, match="at least one"):
        LowerEnvelope().fit()


def _batch(n: int, index: int | None, time_s: float | None, **flags: bool) -> Batch:
    return Batch(
        specific_force_m_s2=np.zeros((n, 3)),
        angular_velocity_rad_s=np.zeros((n, 3)),
        index=index,
        device_time_s=time_s,
        **flags,
    )


def test_a_gap_longer_than_both_wraps_is_counted_right() -> None:
    unwrapper = Unwrapper(WRIST)
    first = unwrapper.place(_batch(5, 65530, 4294.0), 100.0)
    frames = 1_000_000  # 5000 s: 15 wraps of the index, one of the time
    later = unwrapper.place(_batch(5, (65535 + frames) % 65536, (4294.025 + 5000) % 4294.967296), 5100.03)
    assert later.missing == frames
    assert later.index == first.index + 5 + frames
    assert not later.restarted


@pytest.mark.parametrize("uptime_s", [2.0, 60.0, 3000.0])
def test_a_restart_is_seen_without_being_told(uptime_s: float) -> None:
    unwrapper = Unwrapper(WRIST)
    unwrapper.place(_batch(1, 0, 0.0), 0.0)
    number = int(uptime_s * 200)
    unwrapper.place(_batch(1, number % 65536, uptime_s), uptime_s)
    again = unwrapper.place(_batch(1, 0, 0.01), uptime_s + 7.0)
    assert again.restarted
    assert again.missing == pytest.approx(7 * 200, abs=2)


def test_a_pause_is_no_loss() -> None:
    unwrapper = Unwrapper(WRIST)
    unwrapper.place(_batch(5, 100, 10.0), 10.0)
    placed = unwrapper.place(_batch(5, 105, 700.0, first=True), 700.0)
    assert (placed.missing, placed.index) == (0, 105)


@pytest.mark.parametrize(
    ("timing", "index", "time_s"),
    [
        (Timing(rate_hz=100.0, index_modulus=256 * 4), lambda k: k % 1024, lambda k: None),
        (
            Timing(rate_hz=100.0, time_modulus_s=65.536, time_step_s=1e-3),
            lambda k: None,
            lambda k: round(k / 100, 3) % 65.536,
        ),
        (Timing(rate_hz=100.0, time_modulus_s=math.inf), lambda k: None, lambda k: k / 100),
    ],
)
def test_counter_only_and_clock_only(timing: Timing, index: object, time_s: object) -> None:
    assert callable(index)
    assert callable(time_s)
    unwrapper = Unwrapper(timing)
    rng = np.random.default_rng(2)
    lost_ever = 0
    at = first = 8
    found = 0
    for _ in range(4000):
        lost = 4 * int(rng.integers(1, 20)) if rng.random() < 0.01 else 0
        at += lost
        arrival_s = (at + 4 - first) / 100 + rng.exponential(0.02)
        placed = unwrapper.place(_batch(4, index(at), time_s(at)), arrival_s)
        assert not placed.restarted
        found += placed.missing
        lost_ever += lost if at > first + lost else 0
        at += 4
    assert found == lost_ever > 0


def test_neither_counter_nor_clock_counts_on() -> None:
    unwrapper = Unwrapper(Timing(rate_hz=100.0))
    indices = [unwrapper.place(_batch(3, None, None), k * 0.03).index for k in range(5)]
    assert indices == [0, 3, 6, 9, 12]


@pytest.mark.parametrize("drift", [-200e-6, 40e-6])
def test_frames_come_out_on_the_host_clock(drift: float) -> None:
    rng = np.random.default_rng(5)
    device, true, arrived = arrivals(rng, 40, drift)
    timeline = Timeline(0, Timing(rate_hz=210.0, index_modulus=65536, time_modulus_s=2**32 * 1e-6))
    events = []
    for k, (d, a) in enumerate(zip(device, arrived, strict=True)):
        # Ten frames; the packet leaves when the last is there.
        events += timeline.add(_batch(10, 10 * k % 65536, d + 4000), float(a) + 9 / 210)
    events += timeline.finish()
    assert all(isinstance(one, Frames) for one in events)
    time_s = np.concatenate([one.time_s for one in events])
    assert len(time_s) == 10 * len(device)
    steps = np.diff(time_s)
    assert steps == pytest.approx(1 / 210, rel=0.03)
    settled = np.array([one.time_s[0] for one in events])[84:]  # after 4 s
    assert np.abs(settled - true[84:] - 0.0005).max() < 0.006
    assert timeline.drift_ppm == pytest.approx(-1e6 * drift, abs=60)


def test_a_lost_packet_is_an_event() -> None:
    timeline = Timeline(3, WRIST)
    events = []
    for k in range(100):
        if not 50 <= k < 53:
            overflow = k == 53
            events += timeline.add(_batch(4, 4 * k, k * 0.02, overflow=overflow), k * 0.02 + 0.03)
    events += timeline.finish()
    (loss,) = [one for one in events if isinstance(one, Loss)]
    assert (loss.sensor, loss.missing_frames, loss.cause) == (3, 12, "sensor overflow")
    assert loss.end_s - loss.start_s == pytest.approx(13 / 200)
    assert timeline.missing_frames == 12
    assert timeline.frames == 97 * 4


def stream_of(rng: np.random.Generator, frames: int, *, per: int = 9, first_index: int = 0) -> list[Batch]:
    """Packets of a sensor that has just been switched on."""
    return [
        Batch(
            specific_force_m_s2=rng.normal(size=(per, 3)),
            angular_velocity_rad_s=rng.normal(size=(per, 3)),
            index=(first_index + k) % 65536,
            device_time_s=0.01 + k / WRIST.rate_hz,
            first=k == 0,
        )
        for k in range(0, frames, per)
    ]


@pytest.mark.parametrize("ran_s", [0.2, 1.5, 3.0, 4.9, 20.0])
@pytest.mark.parametrize("flagged", [True, False])
def test_a_sensor_that_restarts_without_losing_the_link_loses_nothing_and_is_told(
    ran_s: float, flagged: bool
) -> None:
    rng = np.random.default_rng(3)
    line, events, sent, now_s = Timeline(0, WRIST), [], [], 5.0
    for frames in (round(ran_s * WRIST.rate_hz / 9) * 9, 900):
        packets = stream_of(rng, frames)
        for packet in packets:
            packet = replace(packet, first=packet.first and flagged)
            now_s += 9 / WRIST.rate_hz
            events += line.add(packet, now_s)
            events += line.add(packet, now_s + 0.001)  # the link repeats every one
            sent.append(packet.specific_force_m_s2)
        now_s += 0.4  # to start again takes a moment
    events += line.finish()
    got = np.concatenate([e.specific_force_m_s2 for e in events if isinstance(e, Frames)])
    assert np.array_equal(got, np.concatenate(sent))
    times = np.concatenate([e.time_s for e in events if isinstance(e, Frames)])
    assert np.all(np.diff(times) > 0)
    losses = [e for e in events if isinstance(e, Loss)]
    assert [one.cause for one in losses] == ["sensor restart"]
    assert losses[0].missing_frames == pytest.approx(0.4 * WRIST.rate_hz, abs=10)
    assert line.duplicate_frames == len(got)


@pytest.mark.parametrize("wrong", [-30000, -500, -3, 40, 700, 30000])
def test_a_burst_of_damaged_frame_numbers_costs_nothing(wrong: int) -> None:
    rng = np.random.default_rng(4)
    packets = stream_of(rng, 1800, first_index=65000)
    line, events = Timeline(0, WRIST), []
    for number, packet in enumerate(packets):
        if 50 <= number < 60:
            assert packet.index is not None
            packet = replace(packet, index=(packet.index + wrong) % 65536)
        events += line.add(packet, 5.0 + number * 9 / WRIST.rate_hz)
    events += line.finish()
    got = np.concatenate([e.specific_force_m_s2 for e in events if isinstance(e, Frames)])
    assert np.array_equal(got, np.concatenate([p.specific_force_m_s2 for p in packets]))
    assert line.missing_frames == 0
    times = np.concatenate([e.time_s for e in events if isinstance(e, Frames)])
    assert np.abs(np.diff(times) * WRIST.rate_hz - 1).max() < 0.05
