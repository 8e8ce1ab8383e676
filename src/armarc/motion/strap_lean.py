"""How far a strap lets its case lean, read from how the case trembles; and the readings without that lean.

Skin and strap are a spring for the case on them, and the pull at the case's centre turns it about the skin. With F the
specific force along the arm as the case feels it, ψ the whole turn of the case about an axis t across the arm and φ
its lean on the arm (a torque balance of the case about its own centre),

``φ + φ̇·τ = C·(F − ψ̈/κ)``,

C the lean per pull, κ the centre's height over the square of the case's radius of gyration; both sides are the driven
oscillator's, whose own frequency squared is κ/C. So above the speed of any raise the case turns, per pull, by

``C / (1 − ω²·C/κ + i·ω·τ)``

beside what the arm itself turns, which the acceleration across the arm goes with. A case that wobbles about a point
below it by itself pulls its own centre along the arm: that leaves ψ/F in proportion to 1/ω², and is fitted beside it;
a gyroscope that lags behind its accelerometer adds i/ω, which the formula has to beat.
Below resonance, where raises are, C·(F − ψ̈/κ) is the lean itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from armarc.motion.filters import high_pass, low_pass
from armarc.motion.kinematics import rate_of_change
from armarc.motion.quaternions import rotate
from armarc.recording import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray

LOWEST_HZ, HIGHEST_HZ, HIGHEST_SHARE = 5.5, 13.0, 0.42
"""Band of a hand's tremor (8–12 Hz, common knowledge of physiology, no source) and of straps that give; the last as a
share of the sampling rate."""
SEGMENT_S = 1.28
LEAST_SEGMENTS, LEAST_LINES = 8, 5
"""Stretches and lines of the spectrum below which nothing is read."""
MOVES_HZ = 2.0
NOISE_SHARE, MOST_NOISE_M_S2 = 0.35, 300e-6 * STANDARD_GRAVITY_M_S2
"""From this share of the rate on an accelerometer shows its own noise, per √Hz, at most so much (consumer parts:
100–300 µg/√Hz). Where the pull is hardly more, the ratio reads too small and says little."""
ROUGHLY, OFF_RAD_S2_M = 0.2, 2e-4
"""How far the formula is off at a line of the spectrum, as a share and by itself (working limits)."""
BESIDE_RAD_S2_M, BESIDE_HZ = 0.03, 50 / (2 * math.pi)
"""Largest usual part in proportion to 1/ω², at this frequency: a case that turns about a point 1 cm below it."""
LEAKS = 0.4
"""Share of that part that the reading of the lean may be off by (working limit)."""
LAGS_RAD_S2_M = BESIDE_RAD_S2_M * 2 * math.pi * BESIDE_HZ * 0.0067
"""What two thirds of a sample's lag at 100 Hz make of that."""
COMPLIANCES = np.geomspace(3e-4, 1.6e-2, 32)
"""rad per m/s²: from 0.2° to 9° of lean in an arm that hangs."""
DAMPINGS, PER_M = (0.05, 0.1, 0.2, 0.3, 0.45), (30.0, 45.0)
"""Of a strap, shares of the critical one; κ of a case with its centre 1 cm above the skin and a radius of gyration of
15 to 18 mm (working limits)."""
SIZE_WITHIN = 0.25
SIZES = np.exp(2 * SIZE_WITHIN * np.linspace(-1.2, 1.2, 13))
"""The size of the lean and the resonance it belongs to agree within this (natural logarithm)."""
FIRM_RAD_S2_M = 2.5e-3
"""A strap that swings at 17 Hz by itself: what leans no more is as firm as a watch, and has its room in the standard
errors (working limit; three people's straps and two with optical truth read 0.5–2.7 × 10⁻³ ± 1)."""
LEAST_BELIEVED = 0.25
"""A lean of which less is believed stays where it is (working limit)."""
ALIKE_RAD_S2_M = 3e-3
"""Spread of a turn per pull that is alike at every frequency: of a firm strap, or of a case that no spring holds."""
MOST_LOG_ODDS = 50.0
ARM_HZ = 6.0
"""Bandwidth of the lean that is taken out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapLean:
    """What the tremor of a recording says of its strap.

    Parameters
    ----------
    turns : ndarray, shape (3,), rad per m/s²
        Turn of the case on the arm per pull along the arm, sensor axes.
    se : float, rad per m/s²
        Standard error of `turns`, root of the sum of both directions' variances.
    likely : float
        How likely it is that the pull turns the case, by the course of that turn over the frequency, 0 to 1; 0 where
        it leans no more than on a firm strap.
    """

    turns: FloatArray
    se: float
    likely: float

    @property
    def believed(self) -> float:
        """Share of the lean that is taken out, 0 for a firm strap and where little would be."""
        share = self.likely * _beyond_firm(self.turns, self.se)
        return share if share > LEAST_BELIEVED else 0.0

    @property
    def left(self) -> float:
        """Standard error of what is left of the lean beyond a firm strap's, rad per m/s²."""
        rest = (1 - self.believed) * float(np.linalg.norm(self.turns))
        return self.believed * math.hypot(self.se / math.sqrt(2), rest)

    @property
    def level_rad(self) -> float:
        """How far the case leans between a hanging and a level arm, rad."""
        return float(np.linalg.norm(self.turns)) * STANDARD_GRAVITY_M_S2


def read_strap_lean(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    arm_axis: FloatArray,
    ranges: Sequence[tuple[int, int]],
    missing: BoolArray,
) -> StrapLean | None:
    """Read how far the strap gives.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Sensor → global.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    rate_hz : float, Hz
    arm_axis : ndarray, shape (3,)
        From the shoulder to the sensor, sensor axes.
    ranges : sequence of (first, stop)
        Samples of every set.
    missing : ndarray of bool, shape (n,)

    Returns
    -------
    StrapLean or None
        None where sets are too short, or the rate too low, to tell.
    """
    across = np.eye(3)[int(np.argmin(np.abs(arm_axis)))]
    across = across - (across @ arm_axis) * arm_axis
    across /= np.linalg.norm(across)
    axes = np.stack([arm_axis, across, np.cross(arm_axis, across)])
    seen = _spectra(quaternion, angular_velocity_rad_s, specific_force_m_s2, rate_hz, axes, ranges, missing)
    if seen is None:
        return None
    omega, ratio, worth = seen
    found, variance = _fitted(omega, ratio, worth)
    se = math.sqrt(float(variance.sum()))
    likely = _driven(omega, ratio, worth) if _beyond_firm(found, se) > 0 else 0.0
    return StrapLean(turns=found @ axes[1:], se=se, likely=likely)


def _beyond_firm(turns: FloatArray, se: float) -> float:
    """How much of a reading is more than what firm straps lean and its own error: 0 up to that size, then soon 1."""
    doubt = (FIRM_RAD_S2_M**2 + se**2) / max(float(turns @ turns), 1e-12)
    return max(1 - doubt**2, 0.0)


def _spectra(
    quaternion: FloatArray,
    omega: FloatArray,
    force: FloatArray,
    rate_hz: float,
    axes: FloatArray,
    ranges: Sequence[tuple[int, int]],
    missing: BoolArray,
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """By line of the spectrum, rad/s, shape (k,): turn per pull along the arm beside what goes with the acceleration
    across it, about two axes across the arm, shape (k, 2), complex; and what that is worth, its inverse variance."""
    length = round(SEGMENT_S * rate_hz)
    window = np.hanning(length + 1)[:-1]
    hz = np.fft.rfftfreq(length, 1 / rate_hz)
    used = (hz >= LOWEST_HZ) & (hz <= min(HIGHEST_HZ, HIGHEST_SHARE * rate_hz))
    noisy = hz > NOISE_SHARE * rate_hz
    if used.sum() < LEAST_LINES:
        return None
    products, heard, count = np.zeros((used.sum(), 5, 5), complex), np.zeros((noisy.sum(), 3)), 0
    for first, stop in ranges:
        if stop - first < length:
            continue
        cut = slice(first, stop)
        # Turned back by the sensor's own quaternion: the force of a sensor that turns alone would go along with it.
        moved = high_pass(rotate(quaternion[cut], force[cut]), rate_hz, MOVES_HZ)
        back = quaternion[cut] * np.array([1.0, -1.0, -1.0, -1.0])
        both = np.concatenate([axes[1:] @ omega[cut].T, axes @ rotate(back, moved).T])
        whole = ~_segments(missing[None, cut], length)[0].any(axis=1)
        segments = _segments(both, length)[:, whole]
        lines = np.fft.rfft((segments - segments.mean(axis=2, keepdims=True)) * window)
        inside = np.moveaxis(lines[:, :, used], 2, 0)
        products += inside.conj() @ np.swapaxes(inside, 1, 2)
        heard += (np.abs(lines[2:, :, noisy]) ** 2).sum(axis=1).T
        count += int(whole.sum())
    if count < LEAST_SEGMENTS:
        return None
    density = 2 / (rate_hz * float(window @ window) * count)
    products *= density
    noise = min(density * float(np.median(heard, axis=0).min()), MOST_NOISE_M_S2**2)
    w = np.asarray(2 * math.pi * hz[used], dtype=np.float64)
    pulls, across = products[:, 2:, 2:], products[:, 2:, :2] / (1j * w)[:, None, None]
    each = np.linalg.solve(pulls, across)
    explained = np.einsum("kji,kji->ki", across.conj(), each).real
    left = products.real[:, (0, 1), (0, 1)] / w[:, None] ** 2 - explained
    beside = np.linalg.inv(pulls)[:, 0, 0].real[:, None]
    share = np.clip(noise * beside, 0.0, 0.95)
    size = (np.abs(each[:, 0]) ** 2).sum(axis=1)[:, None]
    # Stretches overlap by half, and the window makes neighbouring lines alike: 1.5.
    variance = 0.5 * (1.5 * beside * np.maximum(left, 0.0) / count)
    variance += 0.5 * (ROUGHLY**2 + (share / (1 - share)) ** 2) * size + OFF_RAD_S2_M**2
    return w, np.asarray(each[:, 0]), np.asarray(1 / variance)


def _segments(rows: NDArray[Any], length: int) -> NDArray[Any]:
    """Stretches of rows, shape (k, n), that overlap by half: shape (k, stretches, length)."""
    return np.lib.stride_tricks.sliding_window_view(rows, length, axis=1)[:, :: length // 2]


def _slow(omega: FloatArray) -> FloatArray:
    return np.asarray(2 * math.pi * BESIDE_HZ / omega)


def _oscillators(omega: FloatArray, compliances: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Compliance of every strap that may be, and its turn per pull in shares of that, shapes (m,) and (m, k)."""
    c, damping, per_m = (each.ravel() for each in np.meshgrid(compliances, DAMPINGS, PER_M, indexing="ij"))
    x2 = omega**2 * (c / per_m)[:, None]
    return c, 1 / (1 - x2 + 2j * damping[:, None] * np.sqrt(x2))


def _driven(omega: FloatArray, ratio: FloatArray, worth: FloatArray) -> float:
    """How likely a strap that gives, and so has a resonance, is beside a case that turns without one (Laplace's
    approximation)."""
    slow = _slow(omega)
    c, turns = _oscillators(omega, COMPLIANCES[COMPLIANCES > FIRM_RAD_S2_M])
    firm = np.stack([np.ones_like(slow), slow**2, 1j * slow])[None]
    against_firm = _against(firm, np.array([[ALIKE_RAD_S2_M, BESIDE_RAD_S2_M, LAGS_RAD_S2_M]]), ratio, worth)[
        0
    ]
    loose = np.stack([turns, np.broadcast_to(slow**2, turns.shape)], axis=1)
    spread = np.stack([c, np.full_like(c, BESIDE_RAD_S2_M)], axis=1)
    gain = 0.5 * (against_firm - _against(loose, spread, ratio, worth))
    odds = float(np.exp(np.minimum(gain, MOST_LOG_ODDS)).mean())
    return odds / (1 + odds)


def _against(columns: FloatArray, spread: FloatArray, ratio: FloatArray, worth: FloatArray) -> FloatArray:
    """Twice the logarithm of the evidence against each of m models, columns of shape (m, p, k), coefficients about 0
    with a spread, shape (m, p)."""
    against = np.zeros(len(columns))
    for seen, weight in zip(ratio.T, worth.T, strict=True):
        heard = columns.conj() * weight
        information = (heard @ np.swapaxes(columns, 1, 2)).real + np.eye(columns.shape[1]) / spread[
            :, :, None
        ] ** 2
        right = (heard @ seen).real
        found = np.linalg.solve(information, right[:, :, None])[:, :, 0]
        against += float(weight @ np.abs(seen) ** 2) - (found * right).sum(axis=1)
        against += np.linalg.slogdet(information)[1] + 2 * np.log(spread).sum(axis=1)
    return against


def _fitted(omega: FloatArray, ratio: FloatArray, worth: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of the turn per pull about both axes, over compliance, damping and height of the centre."""
    c, driven = _oscillators(omega, COMPLIANCES)
    # Least squares for both axes: turn per pull d, and the part in proportion to 1/ω², eliminated.
    alone = _slow(omega) ** 2
    by_alone = alone @ (worth * alone[:, None]) + BESIDE_RAD_S2_M**-2
    both = (driven.real * alone) @ worth
    seen_alone = alone @ (worth * ratio.real)
    squares = np.abs(driven) ** 2 @ worth - both**2 / by_alone
    wanted = (driven.conj() @ (worth * ratio)).real - both * seen_alone / by_alone
    whole = float((worth * np.abs(ratio) ** 2).sum() - (seen_alone**2 / by_alone).sum())
    best = wanted / squares
    length = np.maximum(np.sqrt((best**2).sum(axis=1)), 1e-9)
    towards = best / length[:, None]
    sizes = c[:, None] * SIZES
    against = (whole - (wanted * best).sum(axis=1))[:, None] + (np.log(SIZES) / SIZE_WITHIN) ** 2
    against = against + (squares * towards**2).sum(axis=1)[:, None] * (sizes - length[:, None]) ** 2
    spread = max(2 * float(against.min()) / (4 * len(omega)), 1.0)
    likely = np.exp(-0.5 * (against - against.min()) / spread)
    likely /= likely.sum()
    turns = sizes[:, :, None] * towards[:, None]
    mean = (likely[:, :, None] * turns).sum(axis=(0, 1))
    leaks = LEAKS * (seen_alone - (likely[:, :, None] * turns * both[:, None]).sum(axis=(0, 1))) / by_alone
    variance = (likely[:, :, None] * (turns - mean) ** 2).sum(axis=(0, 1))
    return mean, variance + spread * (likely.sum(axis=1)[:, None] / squares).sum(axis=0) + leaks**2


def without_lean(
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    arm_axis: FloatArray,
    turns: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Angular velocity and specific force as a case would read them that sits as firmly on the arm as if nothing
    pulled at it.

    Parameters
    ----------
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    rate_hz : float, Hz
    arm_axis : ndarray, shape (3,)
    turns : ndarray, shape (3,), rad per m/s²
        What is believed of `StrapLean.turns`.
    """
    size = max(float(np.linalg.norm(turns)), 1e-12)
    axis = turns / size
    speeds = rate_of_change(angular_velocity_rad_s @ axis, rate_hz)
    pull = specific_force_m_s2 @ arm_axis - speeds / (sum(PER_M) / len(PER_M))
    lean = low_pass(size * pull, rate_hz, min(ARM_HZ, 0.4 * rate_hz))
    half = np.concatenate([np.cos(lean / 2)[:, None], np.sin(lean / 2)[:, None] * axis], axis=1)
    turning = angular_velocity_rad_s - rate_of_change(lean, rate_hz)[:, None] * axis
    return rotate(half, turning), rotate(half, specific_force_m_s2)
