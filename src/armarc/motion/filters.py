"""Zero-phase Butterworth filters: the same filter forward and backward, so that nothing is moved in time."""

from __future__ import annotations

from functools import lru_cache
from math import ceil
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import butter, sosfiltfilt

from armarc.errors import UsageError
from armarc.recording import FloatArray

LONGEST_EXTENSION_S = 3.0
"""What is guessed beyond an end is no better for being longer."""
HIGHEST_CUTOFF = 0.495
"""Cutoffs at or above this share of the sampling rate have nothing to remove."""


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
    if high_hz >= HIGHEST_CUTOFF * rate_hz:
        return high_pass(x, rate_hz, low_hz, order=order)
    data = np.asarray(x, dtype=np.float64)
    if len(data) < 2:
        return np.zeros_like(data)
    _check_frequencies(rate_hz, low_hz, high_hz)
    sections = np.concatenate(
        [_sections(order, low_hz, "highpass", rate_hz), _sections(order, high_hz, "lowpass", rate_hz)]
    )
    return _filtered(sections, data, rate_hz, low_hz, order)


@lru_cache(maxsize=64)
def _sections(
    order: int, cutoff_hz: float, kind: Literal["lowpass", "highpass"], rate_hz: float
) -> FloatArray:
    return np.asarray(butter(order, cutoff_hz, kind, fs=rate_hz, output="sos"))


def _filtered(
    sections: FloatArray, data: FloatArray, rate_hz: float, slowest_hz: float, order: int
) -> FloatArray:
    period_s = min(1.0 / slowest_hz, LONGEST_EXTENSION_S)
    pad = min(len(data) - 1, max(3 * (order + 1), ceil(rate_hz * period_s)))
    return np.asarray(sosfiltfilt(sections, data, axis=0, padtype="odd", padlen=pad))


def _check_frequencies(rate_hz: float, *cutoffs_hz: float) -> None:
    for name, value in (("rate", rate_hz), *(("cutoff", cutoff) for cutoff in cutoffs_hz)):
        if not (np.isfinite(value) and value > 0):
            raise UsageError(f"the filter's {name} is {value} Hz", hint="give a positive frequency")


def _both_ways(
    x: ArrayLike,
    rate_hz: float,
    cutoffs_hz: tuple[float, ...],
    kind: Literal["lowpass", "highpass"],
    order: int,
) -> FloatArray:
    _check_frequencies(rate_hz, *cutoffs_hz)
    data = np.asarray(x, dtype=np.float64)
    cutoff = cutoffs_hz[0]
    if cutoff >= HIGHEST_CUTOFF * rate_hz:
        if kind == "lowpass":
            return data.copy()
        raise UsageError(
            f"a high-pass at {cutoff} Hz leaves nothing of a signal sampled at {rate_hz} Hz",
            hint="choose a cutoff below half the sampling rate",
        )
    n = len(data)
    if n < 2:
        return data.copy() if kind == "lowpass" else np.zeros_like(data)
    return _filtered(_sections(order, cutoff, kind, rate_hz), data, rate_hz, cutoff, order)
