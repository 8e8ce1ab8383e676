"""Device clock to host clock: the lower envelope against numpy's least squares, and the cost of a packet.

Run: python tests/benchmarks/bench_sensor_clock.py. The link is simulated (connection events every 30 ms, a tenth
of the packets repeated, 1 % held up by the host for 0.15 s on average): an assumption, not a radio capture.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from armarc.sensor.dialect import Timing
from armarc.sensor.link.wrist import decoder
from armarc.sensor.timing import LowerEnvelope, Timeline
from armarc.sensor.wire import DataPacket, SensorState

sys.path.insert(0, str(Path(__file__).parents[1]))
from sensor_side import encode_packet

DRIFT = 40e-6


def link(rng: np.random.Generator, seconds: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    device = np.arange(0, seconds, 1 / 21)
    true = device * (1 + DRIFT) + 12.345
    interval = 0.03 * (1 + rng.normal(0, 20e-6))
    arrived = np.ceil((true + 1e-3) / interval) * interval + interval * (rng.geometric(0.9, len(true)) - 1)
    arrived += np.where(rng.random(len(true)) < 0.01, rng.exponential(0.15, len(true)), 0)
    return device, true, np.maximum.accumulate(arrived) + 0.0005


def clocks() -> None:
    print("seconds  envelope: drift ppm, worst ms   least squares: drift ppm, worst ms   ratio of worst")
    rng = np.random.default_rng(1)
    for seconds in (10, 30, 60, 300):
        figures = []
        for _ in range(100):
            device, true, arrived = link(rng, seconds)
            envelope = LowerEnvelope()
            for one, at in zip(device, arrived, strict=True):
                envelope.add(float(one), float(at))
            fit = envelope.fit()
            slope, offset = np.polyfit(device, arrived - device, 1)
            figures.append(
                (
                    abs(fit.drift - DRIFT) * 1e6,
                    1e3 * np.abs(device * (1 + fit.drift) + fit.offset_s - true).max(),
                    abs(slope - DRIFT) * 1e6,
                    1e3 * np.abs(device * (1 + slope) + offset - true).max(),
                )
            )
        a, b, c, d = np.mean(figures, axis=0)
        print(f"{seconds:7d}  {a:19.1f} {b:10.2f}   {c:24.1f} {d:10.2f}   {d / b:14.1f}")


def packets() -> None:
    state = SensorState(
        streaming=True,
        rate_hz=200,
        accelerometer_range_g=8,
        gyroscope_range_deg_s=1000,
        frames_per_packet=5,
        filter_hz=50,
        queue_frames=400,
    )
    decode = decoder(state)
    timeline = Timeline(0, Timing(rate_hz=200, index_modulus=65536, time_modulus_s=2**32 * 1e-6))
    counts = np.zeros((5, 6), np.int16)
    data = [encode_packet(DataPacket(index=5 * k, time_us=25_000 * k, counts=counts)) for k in range(20_000)]
    begin = time.perf_counter()
    for k, one in enumerate(data):
        for batch in decode(one):
            timeline.add(batch, 0.025 * k + 0.03)
    each = (time.perf_counter() - begin) / len(data)
    print(f"decode and place one packet of 5 frames: {1e6 * each:.0f} µs ({1e6 * each / 5:.0f} µs a sample)")


if __name__ == "__main__":
    clocks()
    packets()
