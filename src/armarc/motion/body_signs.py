"""Signs in a set that the arm is no rigid one about a fixed shoulder.

A trunk that tips, a girdle that rises and an elbow that bends leave an acceleration that no arm about a fixed shoulder
explains: ``R·f − g = R̈·r₀ + R·b``, b a zero-g offset. The raise and the lowering each say how loud they are. Where it
is known how the sensor may sit on the forearm, the elbow is judged by the path of its hinge. With
``p = R·(r₀ + r₁·s + r₂·s² + r₃·s³)``, s the elevation from −½ at the bottom of the range to ½ at its top, that path's
acceleration p̈ stays linear in each r.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.motion.elbow_hinge import SHOULDER_COLUMNS, ElbowBend, Evidence, judge_elbow
from armarc.motion.filters import STEEP, high_pass, low_pass, low_passes, means, solving_steps
from armarc.motion.forearm import Forearm
from armarc.motion.kinematics import curvature
from armarc.motion.lever_arm import (
    ACROSS_OFFSET_PRIOR_M_S2,
    ACROSS_PRIOR_M,
    OFFSET_PRIOR_M_S2,
    SLOWEST_HZ,
    LeverArm,
)
from armarc.motion.quaternions import rotate, to_matrix
from armarc.recording import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray

RANGE_HZ = 4.0
"""Bandwidth of the elevation that the bend goes with."""
GUESSED_S = 0.5
"""What a low-pass makes of the ends is a guess for about a period of its cutoff."""
CHAIN_LEAVES = (0.03, 0.015)
"""Where an arm with a bent elbow leaves more than the second share of the acceleration of raises, something else moves
in them, a shoulder that swings or tips, and lowerings alone judge the elbow; where it leaves more than the first of
theirs, it is none but a strap that slipped (looked-at bodies: 0.02 and 0.011 and less with a bent elbow, slipped
straps 0.01–0.28, swings of 3 cm from 0.016 on)."""
UNMODELLED_SHARE = (0.1, 0.15)
"""Share of the acceleration of lowerings and raises that no chain of shoulder, elbow and wrist explains: soft tissue,
sensors; a swing of 4 cm, too, which leaves up to 0.08 of a raise's mean square (working limits)."""
SENSOR_M_S2 = 0.007
"""What is left of tilt and zero-g offset, 0.7 mg, comes back rep after rep as well."""
PLACES = 8
"""Parts of the range that the lowerings of a set are compared in."""
LEAST_S = 3.0
"""Seconds of movement below which nothing is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodySigns:
    """What a set shows of a body that is no rigid arm.

    Parameters
    ----------
    certainty : float
        How much of the elbow's way with the arm line is to be followed, 0 (none) to 1.
    low_rad, high_rad : float, rad
        Ends of the set's range.
    shoulder_share : float
        Share of the acceleration during the raise that a fixed shoulder does not explain.
    unexplained_share : float
        The same of the lowering, where the body is quiet, as far as it comes back rep after rep: girdle, trunk, elbow,
        soft tissue. What differs from rep to rep is noise, and averages out.
    chain_share : float or None
        The same as an arm leaves it whose elbow bends, where one is believed to.
    elbow : ElbowBend or None
        How likely the elbow is bent, bends or straightens, where it is known how the sensor sits on the forearm.
    """

    certainty: float = 0.0
    low_rad: float = 0.0
    high_rad: float = math.pi / 2
    shoulder_share: float = 0.0
    unexplained_share: float = 0.0
    chain_share: float | None = None
    elbow: ElbowBend | None = None

    def place(self, elevation_rad: FloatArray, rate_hz: float) -> FloatArray:
        """Shape (n,): where in the range the arm is, −½ at its bottom to ½ at its top, smooth."""
        return low_pass(self._place(elevation_rad), rate_hz, min(RANGE_HZ, 0.4 * rate_hz))

    def _place(self, elevation_rad: FloatArray) -> FloatArray:
        way = max(self.high_rad - self.low_rad, 1e-3)
        return np.clip((elevation_rad - self.low_rad) / way, -0.3, 1.3) - 0.5


NO_SIGNS = BodySigns()


def find_body_signs(
    quaternion: FloatArray,
    specific_force_m_s2: FloatArray,
    elevation_rad: FloatArray,
    weight: FloatArray,
    rate_hz: float,
    lever: LeverArm,
    forearms: Sequence[Forearm] = (),
) -> BodySigns:
    """Look for a bending elbow and a moving trunk in one set.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
        Sensor axes, zero-g offset removed.
    elevation_rad : ndarray, shape (n,), rad
    weight : ndarray, shape (n,)
        0 outside the set; less than half of the largest where the body may swing.
    rate_hz : float, Hz
    lever : LeverArm
        Fitted to the recording.
    forearms : sequence of Forearm
        Ways the sensor may sit on it: as was stated, unless that is contradicted, else as it may be; none where no
        elbow is judged.

    Returns
    -------
    BodySigns
        `NO_SIGNS` where the set holds less than three seconds each of raising and lowering.
    """
    edge = min(round(2 * GUESSED_S * rate_hz), len(weight) // 8)
    inside = np.zeros(len(weight), bool)
    inside[edge : len(weight) - edge] = True
    quiet = inside & (weight >= 0.5 * weight.max(initial=0.0)) & (weight > 0)
    raising = inside & (weight > 0) & ~quiet
    if min(quiet.sum(), raising.sum()) < LEAST_S * rate_hz:
        return NO_SIGNS
    low, high = np.quantile(elevation_rad[weight > 0], [0.03, 0.97])
    range_only = BodySigns(low_rad=float(low), high_rad=float(high))
    place = range_only._place(elevation_rad)
    shoulder = None if not forearms else _shoulder_paths(quaternion, elevation_rad, lever)
    rows = _equations(quaternion, specific_force_m_s2, place, rate_hz, lever, shoulder)
    chain, rows = rows, rows[:, :, [*range(6), -1]]
    mean, kept = solving_steps(rate_hz)
    cut = slice(mean // 2, None, mean * kept)
    place, quiet, raising = place[cut][: len(rows)], quiet[cut][: len(rows)], raising[cut][: len(rows)]
    parts = [_Part.of(rows[used]) for used in (quiet, raising)]
    independent = min(1.0, 2 * (lever.bandwidth_hz - SLOWEST_HZ) * mean * kept / rate_hz)
    stiff, fixed = _solved(parts, lever, independent)
    seen = [max(part.square, 1e-12) for part in parts]
    elbow = chain_share = None
    certainty = 0.0
    if forearms:
        worth = independent / max(_runs(quiet), 1)
        parts_of_it = zip((quiet, raising), UNMODELLED_SHARE, strict=True)
        heard = [Evidence.of(chain[used], worth, share) for used, share in parts_of_it]
        elbow, followed = _judged(heard, forearms, lever.across)
        certainty = elbow.bent if elbow is not None and followed else 0.0
        if elbow is not None and certainty > 0.5:
            chain_share = _beyond_sensor(_repeated(chain, elbow.columns, quiet, place)) / seen[0]
    return BodySigns(
        certainty=certainty,
        low_rad=float(low),
        high_rad=float(high),
        shoulder_share=fixed[1] / seen[1],
        unexplained_share=_beyond_sensor(_repeated(rows, stiff, quiet, place)) / seen[0],
        chain_share=chain_share,
        elbow=elbow,
    )


def _judged(
    heard: list[Evidence], forearms: Sequence[Forearm], across: FloatArray | None
) -> tuple[ElbowBend | None, bool]:
    """What lowerings and raises say of the elbow, and whether it is to be followed."""
    stated = [way for way in forearms if way.is_stated]
    others = [way for way in forearms if not way.is_stated]
    for ways in (stated, others):
        if not ways:
            continue
        elbow, followed = _judged_as(heard, ways, across)
        if elbow.otherwise <= 0.5:  # else by a wrong thumb
            return elbow, followed
    return None, False


def _judged_as(
    heard: list[Evidence], ways: Sequence[Forearm], across: FloatArray | None
) -> tuple[ElbowBend, bool]:
    """The same, with the sensor worn in one of these ways."""
    elbow = judge_elbow(heard, ways, across)
    if heard[1].left_share(elbow.columns) < CHAIN_LEAVES[1]:
        return elbow, heard[0].left_share(elbow.columns) < CHAIN_LEAVES[0]
    # Something else moves in the raises; an elbow that bends shows in the lowerings as well, where the body is quiet.
    alone = judge_elbow(heard[:1], ways, across)
    return (alone, True) if heard[0].left_share(alone.columns) < CHAIN_LEAVES[0] else (elbow, False)


def _beyond_sensor(square: float) -> float:
    return max(square - SENSOR_M_S2**2, 0.0)


def _runs(used: BoolArray) -> int:
    """How often it begins: of lowerings the number of reps."""
    return int(np.count_nonzero(np.diff(used.astype(np.int8), prepend=0) > 0))


def _shoulder_paths(
    quaternion: FloatArray, elevation_rad: FloatArray, lever: LeverArm
) -> tuple[FloatArray, FloatArray]:
    """What of the shoulder's path goes along with the arm, shape (n, 2), and which way each of `SHOULDER_COLUMNS`
    takes it, shape (2, 3 global axes, columns); see there."""
    high = elevation_rad > np.quantile(elevation_rad, 0.7)
    along = rotate(quaternion[high], lever.vector_m[None]).mean(axis=0)
    along[2] = 0.0
    along /= max(float(np.linalg.norm(along)), 1e-9)
    up = np.array([0.0, 0.0, 1.0])
    across = np.cross(up, along)
    girdle, lean = 1 - np.cos(elevation_rad), elevation_rad / (math.pi / 2)
    ways = np.zeros((2, 3, SHOULDER_COLUMNS))
    ways[0, :, :3], ways[1, :, 3:] = np.stack([up, along, across], axis=1), np.stack([along, across], axis=1)
    return np.stack([girdle, lean], axis=1), ways


def _repeated(rows: FloatArray, found: FloatArray, used: BoolArray, place: FloatArray) -> float:
    """Mean square (m²/s⁴ per axis) of what `found` leaves alike in all reps at the same place of the range.

    The mean over all pairs of reps of the product of what they leave there: noise has none on average.
    """
    at = np.flatnonzero(used)
    rep = np.cumsum(np.diff(at, prepend=at[0]) > 1)
    left = rows[at, :, -1] - rows[at, :, :-1] @ found
    cell = rep * PLACES + np.clip(((place[at] + 0.5) * PLACES).astype(int), 0, PLACES - 1)
    cells = (rep[-1] + 1) * PLACES
    count = np.bincount(cell, minlength=cells)
    total = np.stack([np.bincount(cell, axis, cells) for axis in left.T], axis=-1)
    mean = (total / np.maximum(count, 1)[:, None]).reshape(-1, PLACES, 3)
    reps = (count > 0).reshape(-1, PLACES).sum(axis=0)
    many = reps > 1
    if not many.any():
        return float((left**2).mean())
    alike = (mean.sum(axis=0) ** 2 - (mean**2).sum(axis=0))[many] / (reps * (reps - 1))[many, None]
    return float(alike.mean())


@dataclass(frozen=True, slots=True)
class _Part:
    """Normal equations of the raise or the lowering, for r₀ and the zero-g offset."""

    squares: FloatArray
    wanted: FloatArray
    square: float
    """Mean square of what is to be explained, m²/s⁴ per axis."""
    count: int

    @staticmethod
    def of(rows: FloatArray) -> _Part:
        design, target = rows[:, :, :6].reshape(-1, 6), rows[:, :, 6].reshape(-1)
        return _Part(design.T @ design, design.T @ target, float((target**2).mean()), len(target))

    def left(self, found: FloatArray) -> float:
        """Mean square of what `found` leaves, m²/s⁴ per axis."""
        explained = 2 * float(found @ self.wanted) - float(found @ self.squares @ found)
        return max(self.square - explained / self.count, 1e-6)


def _solved(parts: list[_Part], lever: LeverArm, independent: float) -> tuple[FloatArray, list[float]]:
    """r₀ and offset, shape (6,), and the mean square that lowering and raise keep."""
    across = np.zeros((3, 3)) if lever.across is None else np.outer(lever.across, lever.across)
    prior = np.zeros((6, 6))
    prior[:3, :3] = np.eye(3) + across / ACROSS_PRIOR_M**2
    prior[3:, 3:] = np.eye(3) / OFFSET_PRIOR_M_S2**2 + across / ACROSS_OFFSET_PRIOR_M_S2**2
    variances = [1e-2 for _ in parts]
    found = np.zeros(6)
    for _ in range(6):
        information, right = prior.copy(), np.zeros(6)
        for part, variance in zip(parts, variances, strict=True):
            information += part.squares * (independent / variance)
            right += part.wanted * (independent / variance)
        found[:] = np.linalg.solve(information, right)
        variances = [part.left(found) for part in parts]
    return found, variances


def _equations(
    quaternion: FloatArray,
    force: FloatArray,
    s: FloatArray,
    rate_hz: float,
    lever: LeverArm,
    shoulder: tuple[FloatArray, FloatArray] | None = None,
) -> FloatArray:
    """Shape (m, 3 global axes, 7): columns for r₀, the zero-g offset and the target, thinned out as the lever arm's;
    with `shoulder` those of s, s² and s³ and its own before the target."""
    mean, kept = solving_steps(rate_hz)
    rotation = means(to_matrix(quaternion), mean)
    place = means(s, mean)[:, None, None]
    powers, width = (0, 0) if shoulder is None else (3, shoulder[0].shape[1])
    filtered = np.empty((len(rotation), 3 * (7 + 3 * powers) + width))
    own = filtered.shape[1] - width
    columns = filtered[:, :own].reshape(len(rotation), 3, -1)
    columns[:, :, :3] = curvature(rotation, rate_hz / mean)
    columns[:, :, 3:6] = rotation
    for k in range(powers):
        columns[:, :, 6 + 3 * k : 9 + 3 * k] = curvature(rotation * place ** (k + 1), rate_hz / mean)
    columns[:, :, -1] = means(rotate(quaternion, force), mean)
    columns[:, 2, -1] -= STANDARD_GRAVITY_M_S2
    if shoulder is not None:
        filtered[:, own:] = curvature(means(shoulder[0], mean), rate_hz / mean)
    if lever.wobble_rad > 0:
        # What turns the sensor and not the arm makes an elbow bend less, as noise in a column does; less of what turns
        # at the edge of the band gives about as much back (found by trying, not derived).
        turns = np.ones(filtered.shape[1], dtype=bool)
        turns[:own].reshape(3, -1)[:, [3, 4, 5, -1]] = False
        filtered[:, turns] = low_pass(filtered[:, turns], rate_hz / mean, lever.bandwidth_hz)
    (passed,) = low_passes(filtered, rate_hz / mean, [(lever.bandwidth_hz, STEEP)], kept)
    guessed = min(round(GUESSED_S * rate_hz / mean / kept), len(passed) // 8)
    passed[:guessed] = passed[guessed]
    passed[len(passed) - guessed :] = passed[len(passed) - guessed - 1]
    passed = high_pass(passed, rate_hz / mean / kept, SLOWEST_HZ)
    columns = passed[:, :own].reshape(len(passed), 3, -1)
    if shoulder is None:
        return columns
    along = np.tensordot(passed[:, own:], shoulder[1], axes=1)
    return np.concatenate([columns[:, :, :-1], along, columns[:, :, -1:]], axis=2)
