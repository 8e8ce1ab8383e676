"""Time of the Allan deviation and of a whole check of one hour at 400 Hz, beside the library allantools.

Run with ``python tests/benchmarks/bench_allan.py``.
"""

from __future__ import annotations

import math
import time

import allantools
import numpy as np

from armarc.recording import Recording
from armarc.sensor.bench.allan import averaging_factors, deviation
from armarc.sensor.bench.check import check_sensor

RATE_HZ, HOURS = 400.0, 1.0


def main() -> None:
    """Print the figures."""
    rng = np.random.default_rng(0)
    n = round(3600 * HOURS * RATE_HZ)
    omega = rng.normal(0, math.radians(0.1), (n, 3))
    force = rng.normal(0, 0.02, (n, 3)) + np.array([0.0, 0.0, 9.80665])
    factors = averaging_factors(n)
    start = time.perf_counter()
    ours = deviation(omega[:, 0], RATE_HZ, factors)
    ours_s = time.perf_counter() - start
    start = time.perf_counter()
    theirs = allantools.oadev(omega[:, 0], rate=RATE_HZ, data_type="freq", taus=ours.tau_s)
    theirs_s = time.perf_counter() - start
    print(f"one axis, {n} samples, {len(factors)} averaging times, overlapping")
    print(f"  armarc     {ours_s:.3f} s")
    print(f"  allantools {theirs_s:.3f} s ({theirs_s / ours_s:.1f} times)")
    print(f"  largest relative difference {np.abs(ours.value[:, 0] / theirs[1] - 1).max():.1e}")
    recording = Recording(
        time_s=np.arange(n) / RATE_HZ,
        specific_force_m_s2=force,
        angular_velocity_rad_s=omega,
        rate_hz=RATE_HZ,
    )
    start = time.perf_counter()
    check_sensor(recording)
    print(f"whole check, six axes: {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
