"""Smoothness of a movement from its speed profile."""

from __future__ import annotations

import math

import numpy as np

from armarc.recording import FloatArray


def sparc(
    speed: FloatArray,
    rate_hz: float,
    *,
    cutoff_hz: float = 10.0,
    amplitude_threshold: float = 0.05,
    zero_padding: int = 4,
) -> float | None:
    """Spectral arc length of a speed profile; nearer 0 is smoother.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speed (here angular) over one movement, nowhere negative; its scale does not matter.
    rate_hz : float, Hz
    cutoff_hz : float, Hz
        Highest frequency considered.
    amplitude_threshold : float
        The spectrum is followed up to the last frequency where it exceeds this share of its maximum.
    zero_padding : int
        How many doublings the transform is padded by.

    Returns
    -------
    float or None
        None for fewer than 4 samples or no movement.

    References
    ----------
    Balasubramanian, Melendez-Calderon, Roby-Brami, Burdet 2015, J NeuroEng Rehabil 12:112,
    doi 10.1186/s12984-015-0090-9, eq. 4.
    """
    if len(speed) < 4:
        return None
    points = 2 ** (math.ceil(math.log2(len(speed))) + zero_padding)
    # The largest component of what is nowhere negative is that of the frequency zero.
    spectrum = np.abs(np.fft.rfft(speed, points)[: math.floor(cutoff_hz * points / rate_hz) + 1])
    if not spectrum.max() > 0:
        return None
    spectrum = spectrum / spectrum.max()
    frequency = np.arange(len(spectrum)) * (rate_hz / points)
    last = int(np.flatnonzero(spectrum >= amplitude_threshold)[-1]) + 1
    spectrum, frequency = spectrum[:last], frequency[:last]
    if len(frequency) < 2:
        return None
    steps = np.hypot(np.diff(frequency) / (frequency[-1] - frequency[0]), np.diff(spectrum))
    return -float(steps.sum())
