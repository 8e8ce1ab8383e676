"""Two streams with their own stamps, laid on one."""

from __future__ import annotations

import numpy as np

from armarc.errors import TimingError
from armarc.recording.timing import SHORTEST_GAP_S, SampleTimes
from armarc.recording.types import FloatArray


def merge_streams(
    accelerometer: SampleTimes,
    acceleration: FloatArray,
    gyroscope: SampleTimes,
    angular_velocity: FloatArray,
    *,
    file: str,
) -> tuple[SampleTimes, FloatArray, FloatArray]:
    """Interpolate the slower stream linearly at the times of the faster one, over their common span.

    Samples that would need interpolation over more than 50 ms (or 1.5 periods of a slower stream) are left
    out, so that they show as a gap.

    Parameters
    ----------
    accelerometer, gyroscope : SampleTimes
        On one clock.
    acceleration, angular_velocity : ndarray, shape (n_a, 3) and (n_g, 3)
        Rows already in the order of their timelines.
    file : str

    Raises
    ------
    TimingError
        The two do not overlap in time.
    """
    start = max(accelerometer.time_s[0], gyroscope.time_s[0])
    end = min(accelerometer.time_s[-1], gyroscope.time_s[-1])
    if not end > start:
        raise TimingError(
            "accelerometer and gyroscope were not recorded at the same time: their times do not overlap",
            "give two files of one recording",
            file=file,
        )
    gyroscope_leads = gyroscope.period_s <= accelerometer.period_s * 1.001
    lead, other = (gyroscope, accelerometer) if gyroscope_leads else (accelerometer, gyroscope)
    lead_values, other_values = (
        (angular_velocity, acceleration) if gyroscope_leads else (acceleration, angular_velocity)
    )
    # A hair beyond the ends costs nothing and keeps samples whose stamps differ by rounding.
    slack = 0.25 * other.period_s
    inside = (lead.time_s >= start - slack) & (lead.time_s <= end + slack)
    t = lead.time_s[inside]
    right = np.clip(np.searchsorted(other.time_s, t), 1, len(other.time_s) - 1)
    interval = other.time_s[right] - other.time_s[right - 1]
    nearest = np.minimum(np.abs(other.time_s[right] - t), np.abs(t - other.time_s[right - 1]))
    reach = max(SHORTEST_GAP_S, 1.5 * other.period_s)
    usable = (interval <= reach * (1 + 1e-9)) | (nearest < 1e-6)
    t = t[usable]
    if len(t) < 3:
        raise TimingError("accelerometer and gyroscope share fewer than three samples", file=file)
    filled = np.column_stack([np.interp(t, other.time_s, other_values[:, axis]) for axis in range(3)])
    kept = lead_values[inside][usable]
    rates = (1.0 / accelerometer.period_s, 1.0 / gyroscope.period_s)
    merged = SampleTimes(
        time_s=t,
        rows=np.arange(len(t)),
        period_s=lead.period_s,
        jitter_s=max(lead.jitter_s, other.jitter_s),
        steady=lead.steady,
        duplicates=accelerometer.duplicates + gyroscope.duplicates,
        inferences=[
            *dict.fromkeys(accelerometer.inferences + gyroscope.inferences),
            f"accelerometer ({rates[0]:.4g} Hz) and gyroscope ({rates[1]:.4g} Hz) were merged at the times "
            f"of the {'gyroscope' if gyroscope_leads else 'accelerometer'}, linearly interpolated",
        ],
        warnings=list(dict.fromkeys(accelerometer.warnings + gyroscope.warnings)),
    )
    dropped = int((~usable).sum())
    if dropped:
        merged.warnings.append(
            f"{dropped} sample(s) had no partner within {1000 * reach:.0f} ms and were left out"
        )
    return (merged, filled, kept) if gyroscope_leads else (merged, kept, filled)
