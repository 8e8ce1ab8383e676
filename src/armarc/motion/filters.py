"""Zero-phase Butterworth filters: the same filter forward and backward, so that nothing is moved in time.

Whole recordings go through the recursion of a second-order section, row by row. Many columns of a set, or several and
steep cutoffs, take a fifth of that by their spectrum.
The results are those of SciPy's signal package to rounding (held by tests); importing that package would cost every
command of the program half a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, inf, pi, sqrt, tan

import numpy as np
from numpy.typing import ArrayLike

from armarc.errors import UsageError
from armarc.motion.lapack import filtered
from armarc.recording import FloatArray

LONGEST_EXTENSION_S = 3.0
"""What is guessed beyond an end is no better for being longer."""
LEAST_EXTENSION = 9
"""Samples."""
STEEP = 6
"""Order for what is amplified by the square of its frequency before it is filtered, as a strap's swinging is in an
angular acceleration."""
SETTLED_PERIODS = 1.5
"""What lies so many periods of the cutoff away, times the order, has no say: a millionth of it is left."""
HIGHEST_CUTOFF = 0.495
"""Cutoffs at or above this share of the sampling rate have nothing to remove."""

SOLVED_RATE_HZ = 25.0
"""After the band-pass, samples closer than this hold nothing new."""
FILTERED_RATE_HZ = 50.0
"""Of samples closer than this both sides of the equations are averaged before they are filtered."""


def low_pass(x: ArrayLike, rate_hz: float, cutoff_hz: float) -> FloatArray:
    """Low-pass forward and backward, second order each way, along the first axis.

    `cutoff_hz` is that of the single pass: after both, the gain there is 1/2 (−6 dB). Ends are extended by
    point reflection over one period of the cutoff (3 s at most), shortened for short inputs; a single sample
    comes back as it is. When the cutoff is not below the Nyquist frequency there is nothing to remove and a copy is
    returned.

    Parameters
    ----------
    x : array_like, shape (n, …)
    rate_hz, cutoff_hz : float, Hz

    Returns
    -------
    ndarray, same shape

    Raises
    ------
    UsageError
        When a frequency is not positive and finite.
    """
    _check_frequencies(rate_hz, cutoff_hz)
    data = np.asarray(x, dtype=np.float64)
    if cutoff_hz >= HIGHEST_CUTOFF * rate_hz or len(data) < 2:
        return data.copy()
    return _both_ways(_low(cutoff_hz, rate_hz), data, rate_hz, cutoff_hz)


def low_passes(
    x: ArrayLike, rate_hz: float, filters: Sequence[tuple[float, int]], every: int = 1
) -> list[FloatArray]:
    """What each of several low-passes leaves, forward and backward along the first axis, every so many samples.

    Both ways together multiply each frequency by the square of the filter's gain, so they are taken from one spectrum.
    Ends are extended by point reflection as far as it matters, at most by the whole length, and beyond that by the
    line through both ends. Otherwise like :func:`low_pass`.

    Parameters
    ----------
    x : array_like, shape (n, …)
    rate_hz : float, Hz
    filters : sequence of (cutoff, Hz; order each way)
        Of order 2 as :func:`low_pass`; of `STEEP`, what is half as fast again as the cutoff keeps 1 %, not 16.
    every : int

    Returns
    -------
    list of ndarray, shape (⌈n / every⌉, …)

    Raises
    ------
    UsageError
        When a frequency is not positive and finite.
    """
    _check_frequencies(rate_hz, *(cutoff for cutoff, _ in filters))
    data = np.asarray(x, dtype=np.float64)
    n = len(data)
    if n < 2:
        return [data.copy() for _ in filters]
    beside = min(n - 1, ceil(SETTLED_PERIODS * rate_hz * max(order / cutoff for cutoff, order in filters)))
    size = _quick_size(n + 2 * beside)
    around = np.zeros((data[0].size, size))  # a circle: what lies before the first sample stands at its end
    inner = around[:, :n]
    inner[:] = data.reshape(n, -1).T
    start, slope = inner[:, :1].copy(), (inner[:, -1:] - inner[:, :1]) / (n - 1)
    inner -= start + slope * np.arange(n)
    np.negative(inner[:, -2 : -beside - 2 : -1], out=around[:, n : n + beside])
    np.negative(inner[:, beside:0:-1], out=around[:, size - beside :])
    spectrum = np.fft.rfft(around)
    del around, inner  # as large as what was asked for
    tangents = np.tan(np.arange(spectrum.shape[1]) * (pi / size))  # the bilinear transform's frequencies
    line = (start + slope * np.arange(0, n, every)).T
    is_halved = every % 2 == 0 and size % 4 == 0
    if is_halved:
        # Of every second sample of the circle: what is faster than half its own rate comes back as something slower.
        middle = size // 4
        slower, faster = spectrum[:, : middle + 1], spectrum[:, : middle - 1 : -1].conj()
    passed = []
    for cutoff, order in filters:
        if cutoff >= HIGHEST_CUTOFF * rate_hz:
            passed.append(data[::every].copy())
            continue
        gain = 1.0 / (1.0 + (tangents / tan(pi * cutoff / rate_hz)) ** (2 * order))
        if is_halved:
            both = slower * (0.5 * gain[: middle + 1])
            both += faster * (0.5 * gain[: middle - 1 : -1])
            slow = np.fft.irfft(both, size // 2)[:, : -(-n // 2) : every // 2].T
        else:
            slow = np.fft.irfft(spectrum * gain, size)[:, :n:every].T
        passed.append(np.add(slow, line, order="C").reshape(len(line), *data.shape[1:]))
    return passed


def _quick_size(least: int) -> int:
    """A length of at most an eighth more that is quickly transformed: a power of two times 9 to 16, or less."""
    step = 1 << max((least - 1).bit_length() - 4, 0)
    return -(-least // step) * step


def high_pass(x: ArrayLike, rate_hz: float, cutoff_hz: float) -> FloatArray:
    """High-pass forward and backward, along the first axis; otherwise like :func:`low_pass`.

    A cutoff at or above the Nyquist frequency is an error: nothing would be left.
    """
    _check_frequencies(rate_hz, cutoff_hz)
    if cutoff_hz >= HIGHEST_CUTOFF * rate_hz:
        raise UsageError(
            f"a high-pass at {cutoff_hz} Hz leaves nothing of a signal sampled at {rate_hz} Hz",
            hint="choose a cutoff below half the sampling rate",
        )
    data = np.asarray(x, dtype=np.float64)
    if len(data) < 2:
        return np.zeros_like(data)
    return _both_ways(_high(cutoff_hz, rate_hz), data, rate_hz, cutoff_hz)


@dataclass(frozen=True, slots=True)
class _Section:
    """``y[n] = gain · (x[n] + 2 s x[n−1] + x[n−2]) − a1 y[n−1] − a2 y[n−2]``: both zeros at ``−s``, s = 1 or −1."""

    gain: float
    s: int
    a1: float
    a2: float

    def run(self, x: FloatArray) -> FloatArray:
        """Filter the rows of `x`, shape (k, n), as if the first sample had lasted for ever; without the gain."""
        settled = 2.0 * (1 + self.s) / (1.0 + self.a1 + self.a2)
        begun = np.multiply.outer(x[:, 0], (settled - 1.0, 1.0 - self.a2 * settled))
        return filtered(np.array((1.0, 2.0 * self.s, 1.0)), np.array((1.0, self.a1, self.a2)), x, begun)


def _low(cutoff_hz: float, rate_hz: float) -> _Section:
    """Second-order Butterworth low-pass by the bilinear transform with prewarping."""
    k = tan(pi * cutoff_hz / rate_hz)
    scale = 1.0 / (1.0 + sqrt(2) * k + k * k)
    return _Section(k * k * scale, 1, 2 * (k * k - 1) * scale, (1 - sqrt(2) * k + k * k) * scale)


def _high(cutoff_hz: float, rate_hz: float) -> _Section:
    """Second-order Butterworth high-pass by the bilinear transform with prewarping."""
    k = tan(pi * cutoff_hz / rate_hz)
    scale = 1.0 / (1.0 + sqrt(2) * k + k * k)
    return _Section(scale, -1, 2 * (k * k - 1) * scale, (1 - sqrt(2) * k + k * k) * scale)


def _both_ways(section: _Section, data: FloatArray, rate_hz: float, slowest_hz: float) -> FloatArray:
    """Run a section forward and backward over the data extended by point reflection."""
    period_s = min(1.0 / slowest_hz, LONGEST_EXTENSION_S)
    n = len(data)
    pad = min(n - 1, max(LEAST_EXTENSION, ceil(rate_hz * period_s)))
    rows = data.reshape(n, -1).T
    run = np.empty((len(rows), n + 2 * pad))
    inner = run[:, pad : pad + n]
    inner[:] = rows
    np.subtract(2 * inner[:, :1], inner[:, pad:0:-1], out=run[:, :pad])
    np.subtract(2 * inner[:, -1:], inner[:, -2 : -pad - 2 : -1], out=run[:, pad + n :])
    for _ in range(2):
        run = section.run(run)[:, ::-1]
    return np.multiply(run[:, pad : pad + n].T, section.gain**2, order="C").reshape(data.shape)


def _check_frequencies(rate_hz: float, *cutoffs_hz: float) -> None:
    for name, value in (("rate", rate_hz), *(("cutoff", cutoff) for cutoff in cutoffs_hz)):
        if not 0.0 < value < inf:
            raise UsageError(f"the filter's {name} is {value} Hz", hint="give a positive frequency")


def solving_steps(rate_hz: float) -> tuple[int, int]:
    """Samples that one mean is taken over, and means of which one is kept after the filters."""
    mean = max(1, round(rate_hz / FILTERED_RATE_HZ))
    return mean, max(1, round(rate_hz / mean / SOLVED_RATE_HZ))


def means(rows: FloatArray, every: int) -> FloatArray:
    """Means over so many rows at a time; what is left over at the end is left out."""
    stop = len(rows) // every * every
    total = rows[0:stop:every].copy()
    for k in range(1, every):
        total += rows[k:stop:every]
    total /= every
    return total
