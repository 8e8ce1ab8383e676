"""Zero-phase Butterworth filters: the same filter forward and backward, so that nothing is moved in time."""

from __future__ import annotations

from math import ceil
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import butter, sosfiltfilt

from armarc.errors import UsageError
from armarc.recording import FloatArray


def low_pass(x: ArrayLike, rate_hz: float, cutoff_hz: float, *, order: int = 2) -> FloatArray:
    """Low-pass forward and backward, along the first axis.

    `cutoff_hz` is that of the single pass: after both, the gain there is 1/2 (−6 dB). Ends are extended by
    point reflection over one period of the cutoff, shortened for short inputs; a single sample comes back as
    it is. When the cutoff is not below the Nyquist frequency there is nothing to remove and a copy is
    returned.

    Parameters
    ----------
    x : array_like, shape (n,) or (n, k)
    rate_hz, cutoff_hz : float, Hz
    order : int
        Order of the single pass.

    Returns
    -------
    ndarray, same shape

    Raises
    ------
    UsageError
        When a frequency is not positive and finite.
    """
    return _both_ways(x, rate_hz, (cutoff_hz,), "lowpass", order)


def high_pass(x: ArrayLike, rate_hz: float, cutoff_hz: float, *, order: int = 2) -> FloatArray:
    """High-pass forward and backward, along the first axis; otherwise like :func:`low_pass`.

    A cutoff at or above the Nyquist frequency is an error: nothing would be left.
    """
    return _both_ways(x, rate_hz, (cutoff_hz,), "highpass", order)


def band_pass(x: ArrayLike, rate_hz: float, low_hz: float, high_hz: float, *, order: int = 2) -> FloatArray:
    """Band-pass forward and backward, along the first axis: a high-pass followed by a low-pass.

    Two filters in a row behave better than one when the band spans decades. Otherwise like :func:`low_pass`.
    """
    if not low_hz < high_hz:
        raise UsageError(f"the band {low_hz} to {high_hz} Hz is empty", hint="give the lower frequency first")
    return low_pass(high_pass(x, rate_hz, low_hz, order=order), rate_hz, high_hz, order=order)


def _both_ways(
    x: ArrayLike,
    rate_hz: float,
    cutoffs_hz: tuple[float, ...],
    kind: Literal["lowpass", "highpass"],
    order: int,
) -> FloatArray:
    for name, value in (("rate", rate_hz), *(("cutoff", cutoff) for cutoff in cutoffs_hz)):
        if not (np.isfinite(value) and value > 0):
            raise UsageError(f"the filter's {name} is {value} Hz", hint="give a positive frequency")
    data = np.asarray(x, dtype=np.float64)
    cutoff = cutoffs_hz[0]
    if cutoff >= 0.495 * rate_hz:
        if kind == "lowpass":
            return data.copy()
        raise UsageError(
            f"a high-pass at {cutoff} Hz leaves nothing of a signal sampled at {rate_hz} Hz",
            hint="choose a cutoff below half the sampling rate",
        )
    n = len(data)
    if n < 2:
        return data.copy() if kind == "lowpass" else np.zeros_like(data)
    sections = butter(order, cutoff, kind, fs=rate_hz, output="sos")
    pad = min(n - 1, max(3 * (order + 1), ceil(rate_hz / cutoff)))
    return np.asarray(sosfiltfilt(sections, data, axis=0, padtype="odd", padlen=pad))
