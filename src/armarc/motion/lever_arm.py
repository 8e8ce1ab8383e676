"""Where the sensor sits on the arm, from the set itself.

With the shoulder nearly fixed, the sensor is at ``R·r`` from it, and ``R·f − g = R̈·r`` is linear in r, the vector
from the shoulder to the sensor in sensor axes. Its least-squares solution over the quiet parts of a set gives the
direction of the arm in the sensor and the reach, with no calibration move at all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.motion.filters import STEEP, high_pass, low_pass, low_passes, means, solving_steps
from armarc.motion.kinematics import lever_matrix, rate_of_change
from armarc.motion.quaternions import rotate, to_matrix
from armarc.recording import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray

WOBBLES_ABOVE_HZ = 4.2
"""A strap on skin and muscle swings at 5–9 Hz."""
SLOWEST_HZ = 0.1
"""Slower is tilt error."""
EDGES_HZ = (2.0, 3.0, 4.2, 6.0)
"""Upper edges of the fit's band to choose from: both sensors see an arm turn about the shoulder, the gyroscope alone a
strap that wobbles about the wrist."""
ACROSS_PRIOR_M = 0.006
"""How firmly r is held across the dominant rotation axis: along it a hinge shows nothing but noise …"""
ACROSS_SPREAD_M = 0.02
"""… but its standard error says how far it may lie off: 2.5 cm above the bone on any side of the wrist."""
ACROSS_SPREAD_KNOWN_M = 0.01
"""The same where the strap's place was stated: a strap turned by 15°, a height 8 mm off."""
OFF_PLANE_M = 0.006
"""How far the end of the arm strays from the plane it is raised in."""
ALONG_PRIOR_M, ACROSS_OFFSET_PRIOR_M_S2, OFFSET_PRIOR_M_S2 = 1.0, 0.03, 0.3
"""Spread of an accelerometer's zero-g offset (consumer parts: 20–40 mg)."""
HUBER = 3.7
"""Residuals longer than this many standard deviations of one axis count less (1 in 300 of a normal's)."""
NOT_HANGING_RAD = math.radians(40)
"""An arm with a weight hangs 7–11° off the vertical; a pose this far from it does not hang (a press, a machine)."""
LEAST_TRUST = 0.05
"""Least worth of samples in which the body may swing; they count by the square of how much quieter the others are."""
BLOCK_S, EDGE_S, LEAST_SECONDS = 10.0, 1.5, 1.0
MOST_BLOCKS = 12
"""More than two minutes of movement adds nothing to the fit but time."""
BLOCKS_AT_ONCE = 4
"""Fewer take longer, more take more memory."""
CONFIRMED = 0.5
"""A band counts while the arm fitted below it explains more than half of what it adds (working limit)."""
NEGLIGIBLE = 0.001
"""Less than this share of all acceleration is nothing: the filters' skirts and noise."""

LeverEquations = dict[tuple[int, int], tuple[tuple[FloatArray, ...], FloatArray]]
"""By first and last sample of a block: equations for each of `EDGES_HZ`, and the slow angular velocity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeverArm:
    """Vector from the shoulder to the sensor.

    Parameters
    ----------
    vector_m : ndarray, shape (3,), m
        Sensor axes.
    covariance_m2 : ndarray, shape (3, 3), m²
        Of the fit, as far as the movement shows the vector.
    offset_m_s2 : ndarray, shape (3,), m/s²
        Zero-g offset of the accelerometer, sensor axes, as far as the set shows it.
    residual_m_s2 : float, m/s²
        What the shoulder's own movement and noise left over (root mean square of one axis).
    explained : float
        Share of the movement's acceleration the fixed shoulder explains, 0 to 1.
    across : ndarray, shape (3,), or None
        Axis of the raise in sensor axes.
    unseen_m : float, m
        Standard error along it of what the movement does not show and the prior holds.
    bandwidth_hz : float, Hz
        Up to it the accelerometer confirms the gyroscope.
    wobble_rad : float, rad
        Turning of the strap about the wrist (root mean square): faster than `WOBBLES_ABOVE_HZ` and not confirmed.
    off_plane_m : float, m
        Standard error of how far the bone under the sensor lies off the plane of the raise.
    forearm_rad : float, rad
        Between forearm and arm line across the plane of the raise, as the sensor's own axis shows it.
    """

    vector_m: FloatArray
    covariance_m2: FloatArray
    offset_m_s2: FloatArray
    residual_m_s2: float
    explained: float
    across: FloatArray | None = None
    unseen_m: float = 0.0
    bandwidth_hz: float = EDGES_HZ[-1]
    wobble_rad: float = 0.0
    off_plane_m: float = OFF_PLANE_M
    forearm_rad: float = 0.0

    @property
    def reach_m(self) -> float:
        """Distance from the shoulder to the sensor, m."""
        return float(np.linalg.norm(self.vector_m))

    @property
    def full_covariance_m2(self) -> FloatArray:
        """Shape (3, 3), m²: covariance of the vector with what the movement does not show."""
        if self.across is None:
            return self.covariance_m2
        return self.covariance_m2 + np.outer(self.across, self.across) * self.unseen_m**2

    @property
    def direction_covariance_rad2(self) -> FloatArray:
        """Shape (3, 3), rad²: covariance of the direction, zero along it."""
        reach = max(self.reach_m, 1e-9)
        unit = self.vector_m / reach
        across = np.eye(3) - np.outer(unit, unit)
        return np.asarray(across @ self.full_covariance_m2 @ across) / reach**2

    @property
    def direction_se_rad(self) -> float:
        """Standard error of the direction, rad (root of the mean variance of the two angles)."""
        return math.sqrt(max(float(np.trace(self.direction_covariance_rad2)) / 2, 0.0))


def fit_lever_arm(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    weight: FloatArray,
    *,
    hanging: FloatArray | None = None,
    missing: BoolArray | None = None,
    height_m: FloatArray | None = None,
    made: LeverEquations | None = None,
) -> LeverArm | None:
    """Fit the vector from a nearly fixed shoulder to the sensor.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Sensor → global, scalar first.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    rate_hz : float, Hz
    weight : ndarray, shape (n,)
        0 ignores a sample; quiet parts of a rep deserve more than its start.
    hanging : ndarray, shape (3,), optional
        Down in sensor axes while the arm hangs; it tells the turning of the hand from the raising of the arm. Leave it
        out for movements about a vertical axis: it is their axis. Where the fit finds the arm elsewhere, the pose was
        none of a hanging arm, and the fitted direction takes its place.
    missing : ndarray of bool, shape (n,), optional
    height_m : ndarray, shape (3,), m, optional
        From the bone to the sensor in sensor axes, where the strap's place is known: along the axis of the raise,
        where a hinge movement shows nothing, the sensor lies off the arm's plane by this much.
    made : dict, optional
        Equations of an earlier fit to the very same movement with other weights; those of further blocks are added.

    Returns
    -------
    LeverArm or None
        None when there is too little rotation to tell.

    Notes
    -----
    In the global frame a tilt error is nearly constant, and both sides are linear in what is measured, R and R·f: the
    same zero-phase band-pass leaves r untouched. Filtered before they are multiplied, α and ω would not be, and a
    strap's fast turning would come back in ω² as a slow pull towards the shoulder. Residuals are re-weighted (Huber).
    """
    made = {} if made is None else made
    parts = _parts(quaternion, angular_velocity_rad_s, specific_force_m_s2, rate_hz, weight, missing, made)
    if not parts:
        return None
    fitted = _widest_confirmed(parts, _across(parts, hanging), height_m, rate_hz)
    if fitted is not None and hanging is not None:
        cosine = float(fitted.vector_m @ hanging) / max(fitted.reach_m, 1e-9)
        if cosine < math.cos(NOT_HANGING_RAD):
            arm = fitted.vector_m / max(fitted.reach_m, 1e-9)
            fitted = _widest_confirmed(parts, _across(parts, arm), height_m, rate_hz)
    return fitted


def _edges(rate_hz: float) -> list[float]:
    return [edge for edge in EDGES_HZ if edge < 0.4 * rate_hz] or [0.4 * rate_hz]


def _parts(
    quaternion: FloatArray,
    omega: FloatArray,
    force: FloatArray,
    rate_hz: float,
    weight: FloatArray,
    missing: BoolArray | None,
    made: LeverEquations,
) -> list[_Part]:
    """Blocks of the recording that hold enough movement; their equations are added to `made`."""
    chosen: list[tuple[int, int, FloatArray]] = []
    for first, stop in _busiest_blocks(omega, weight, rate_hz):
        cut = slice(first, stop)
        w = np.array(weight[cut], dtype=float)
        if missing is not None and missing[cut].any():
            w = np.where(_widened(missing[cut], round(0.3 * rate_hz)), 0.0, w)
        # The band-pass guesses what lies beyond the ends of a block.
        edge = min(round(EDGE_S * rate_hz), len(w) // 8)
        w[:edge] = w[len(w) - edge :] = 0.0
        if (w > 0).sum() >= LEAST_SECONDS * rate_hz:
            chosen.append((first, stop, w))
    wanted = [(first, stop) for first, stop, _ in chosen if (first, stop) not in made]
    for length in {stop - first for first, stop in wanted}:
        alike = [block for block in wanted if block[1] - block[0] == length]
        for some in (alike[k : k + BLOCKS_AT_ONCE] for k in range(0, len(alike), BLOCKS_AT_ONCE)):
            at = np.arange(length)[:, None] + np.array([first for first, _ in some])
            bands = _equations(quaternion[at], omega[at], force[at], rate_hz)
            slow = low_pass(omega[at], rate_hz, EDGES_HZ[1])
            for k, block in enumerate(some):
                made[block] = tuple(band[:, k].copy() for band in bands), slow[:, k].copy()
    mean, kept = solving_steps(rate_hz)
    parts = []
    for first, stop, w in chosen:
        bands, slow = made[first, stop]
        worth = w[mean // 2 :: mean * kept][: len(bands[0])]
        parts.append(_Part(bands, worth, w, omega[first:stop], slow))
    return parts


def _widest_confirmed(
    parts: list[_Part], across: FloatArray, height_m: FloatArray | None, rate_hz: float
) -> LeverArm | None:
    """Fit band by band, as far up as the accelerometer confirms what the gyroscope says."""
    used = [(part, part.worth > 0) for part in parts]
    worth = np.concatenate([part.worth[at] for part, at in used])
    solved_hz = rate_hz / math.prod(solving_steps(rate_hz))
    fitted, below = None, np.empty(0)
    for k, edge in enumerate(_edges(rate_hz)):
        rows = np.concatenate([part.bands[k][at] for part, at in used])
        if fitted is not None and not _confirmed(rows, below, worth, fitted):
            return replace(fitted, wobble_rad=_wobble(parts, rate_hz))
        fitted, below = _solve(rows, worth, across, height_m, edge, solved_hz), rows
        if fitted is None:
            return None
    return fitted


@dataclass(frozen=True, slots=True)
class _Part:
    """A block: equations by upper edge, what they are worth; weight and turning of its samples, whole and slow."""

    bands: tuple[FloatArray, ...]
    worth: FloatArray
    weight: FloatArray
    omega: FloatArray
    slow_omega: FloatArray


def _equations(
    quaternion: FloatArray, omega: FloatArray, force: FloatArray, rate_hz: float
) -> tuple[FloatArray, ...]:
    """For every upper edge, shape (m, k, 3 global axes, 7): columns for lever arm, zero-g offset and target.

    Of k blocks of one length at once, shapes (n, k, 4) and (n, k, 3).
    """
    mean, kept = solving_steps(rate_hz)
    rotation = means(to_matrix(quaternion), mean)
    measured = means(rotate(quaternion, force), mean)
    measured[..., 2] -= STANDARD_GRAVITY_M_S2
    # R̈ from the gyroscope: an orientation that is corrected as it goes does not turn as smoothly as it says.
    turning = means(rotate(quaternion, omega), mean)
    bent = lever_matrix(turning, rate_of_change(turning, rate_hz / mean)) @ rotation
    columns = np.concatenate([bent, rotation, measured[..., None]], axis=-1)
    del bent, rotation, measured, turning  # the spectrum needs the room
    # The widest band has gentle skirts: a strap that swings beyond it has to be seen there.
    filters = [(edge, 2 if edge == EDGES_HZ[-1] else STEEP) for edge in _edges(rate_hz)]
    slow = low_passes(columns, rate_hz / mean, filters, kept)
    del columns
    return tuple(high_pass(slow.pop(0), rate_hz / mean / kept, SLOWEST_HZ) for _ in filters)


def _confirmed(rows: FloatArray, below: FloatArray, worth: FloatArray, fitted: LeverArm) -> bool:
    """Whether what a band adds to the one below it turns about the shoulder as the arm was fitted to do."""
    added = rows - below
    residual = added[:, :, 6] - added[:, :, :6] @ np.append(fitted.vector_m, fitted.offset_m_s2)
    there, seen = (float(worth @ (each[:, :, 6] ** 2).sum(axis=1)) for each in (below, added))
    left = float(worth @ (residual**2).sum(axis=1))
    return left < max(CONFIRMED * seen, NEGLIGIBLE * there)


def _wobble(parts: list[_Part], rate_hz: float) -> float:
    """How far the sensor turns faster than `WOBBLES_ABOVE_HZ`, rad (root mean square)."""
    if 0.4 * rate_hz <= WOBBLES_ABOVE_HZ:
        return 0.0
    square = weight = 0.0
    for part in parts:
        turned = high_pass(np.cumsum(part.omega, axis=0) / rate_hz, rate_hz, WOBBLES_ABOVE_HZ)
        square += float((turned[part.weight > 0] ** 2).sum())
        weight += float((part.weight > 0).sum())
    return math.sqrt(square / weight)


def _across(parts: list[_Part], hanging: FloatArray | None) -> FloatArray:
    """Axis of the raise in sensor axes: the dominant rotation axis without what turns about the arm itself.

    The arm is raised about a horizontal axis, so the arm and the hanging arm's vertical differ within the plane
    of the raise only, not along this axis.
    """
    omega = np.concatenate([part.slow_omega for part in parts])
    weight = np.concatenate([part.weight for part in parts])
    if hanging is not None:
        # Before the axis is looked for: a hand that turns a lot would otherwise be taken for the raise.
        omega = omega - np.outer(omega @ hanging, hanging)
    _, directions = np.linalg.eigh((omega * weight[:, None]).T @ omega)
    return np.asarray(directions[:, 2])


def _solve(
    rows: FloatArray,
    weight: FloatArray,
    across: FloatArray,
    height_m: FloatArray | None,
    bandwidth_hz: float,
    solved_hz: float,
) -> LeverArm | None:
    """The fit to equations of shape (m, 3, 7) that are worth so much each, shape (m,)."""
    design, target = np.ascontiguousarray(rows[:, :, :6]).reshape(-1, 6), rows[:, :, 6].reshape(-1)
    expected = np.zeros(3) if height_m is None else across * float(across @ height_m)
    target = target - design[:, :3] @ expected
    precision = np.zeros((6, 6))
    precision[:3, :3] = np.eye(3) / ALONG_PRIOR_M**2 + np.outer(across, across) * (
        1 / ACROSS_PRIOR_M**2 - 1 / ALONG_PRIOR_M**2
    )
    # An offset along the rotation axis looks the same at every angle: it cannot be told from a tilt.
    precision[3:, 3:] = np.eye(3) / OFFSET_PRIOR_M_S2**2 + np.outer(across, across) * (
        1 / ACROSS_OFFSET_PRIOR_M_S2**2 - 1 / OFFSET_PRIOR_M_S2**2
    )
    robust: FloatArray = np.ones(len(weight))
    # Neighbouring samples repeat each other: the pass band holds 2·bandwidth independent values a second.
    independent = min(1.0, 2 * (bandwidth_hz - SLOWEST_HZ) / solved_hz)
    variance = 1.0
    unknowns: FloatArray = np.zeros(6)
    information = precision
    # Samples of less worth are those in which the body may swing; whether it does, they say themselves.
    doubtful = (weight > 0) & (weight < 0.5 * weight.max())
    sure = (weight > 0) & ~doubtful
    trust = 1.0
    for _ in range(4):
        w = weight * robust * np.where(doubtful, trust, 1.0)
        weighted = (design.reshape(-1, 18) * w[:, None]).reshape(-1, 6)
        information = weighted.T @ design * (independent / variance) + precision
        right = weighted.T @ target * (independent / variance)
        unknowns = np.asarray(np.linalg.solve(information, right), dtype=np.float64)
        missed = (target - design @ unknowns).reshape(-1, 3)
        square = np.einsum("ij,ij->i", missed, missed)
        size = np.sqrt(square)
        if doubtful.any() and sure.any():
            louder = _median(size[doubtful]) / max(_median(size[sure]), 1e-9)
            trust = min(max(louder**-2, LEAST_TRUST), 1.0) if louder > 0 else 1.0
        scale = _median(size) / 1.538 + 1e-6  # median of a 3-D normal's length is 1.538 σ
        robust = np.asarray(np.minimum(1.0, HUBER * scale / np.maximum(size, 1e-12)), dtype=np.float64)
        variance = max(float(w @ square / (3 * w.sum())), 1e-6)
    moved = float(np.repeat(weight, 3) @ target**2)
    left = float(weight @ square)
    if moved <= 0:
        return None
    return LeverArm(
        vector_m=unknowns[:3] + expected,
        covariance_m2=np.asarray(np.linalg.inv(information)[:3, :3], dtype=np.float64),
        offset_m_s2=unknowns[3:],
        residual_m_s2=math.sqrt(variance),
        explained=max(0.0, 1.0 - left / moved),
        across=across,
        unseen_m=ACROSS_SPREAD_M if height_m is None else ACROSS_SPREAD_KNOWN_M,
        bandwidth_hz=bandwidth_hz,
    )


def _median(values: FloatArray) -> float:
    """NumPy's own of some thousand takes twice as long."""
    half = len(values) // 2
    ordered = np.partition(values, (half - 1, half) if half else 0)
    return float(ordered[half]) if len(values) % 2 else 0.5 * float(ordered[half - 1] + ordered[half])


def _busiest_blocks(omega: FloatArray, weight: FloatArray, rate_hz: float) -> list[tuple[int, int]]:
    n = len(omega)
    length = max(1, round(BLOCK_S * rate_hz))
    if n <= MOST_BLOCKS * length:
        return [(0, n)] if float(weight.sum()) > 0 else []
    starts = np.arange(0, n, length)
    energy = np.add.reduceat(weight * np.einsum("ij,ij->i", omega, omega), starts)
    chosen = np.sort(np.argsort(energy)[::-1][:MOST_BLOCKS])
    return [(int(starts[k]), min(int(starts[k]) + length, n)) for k in chosen if energy[k] > 0]


def _widened(mask: BoolArray, samples: int) -> BoolArray:
    kernel = np.ones(2 * samples + 1)
    return np.convolve(mask.astype(float), kernel, mode="same") > 0.5
