"""The rests of a recording, and what the sensor did between them.

Many small rotations are multiplied without a step-by-step loop, as quaternions (see `armarc.motion.quaternions`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.motion.quaternions import IDENTITY, from_rotation_vector, multiply, normalize
from armarc.recording import FloatArray, Piece, Recording, uniform_pieces
from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.bench.still import WINDOW_S, StillLimits, still_stretches

SHORTEST_REST_S = 0.75
LEAST_RESTS_FOR_DRIFT = 6
LONGEST_REST_S = 20.0
"""More of a rest says no more about its pose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """The sensor lying still: means over the rest and their standard errors from the scatter of short windows.

    Parameters
    ----------
    file : str
    start_s, end_s : float, s
    specific_force_m_s2, angular_velocity_rad_s : ndarray, shape (3,)
    force_se_m_s2, rate_se_rad_s : float
        One axis.
    """

    file: str
    start_s: float
    end_s: float
    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    force_se_m_s2: float
    rate_se_rad_s: float
    window_sd_rad_s: float
    """Spread of the gyroscope's means over a tenth of a second, one axis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """What happened between two rests that follow each other.

    Parameters
    ----------
    before, after : Rest
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        As delivered, from the end of one rest to the start of the next.
    step_s : float, s
    missing_share : float
        Share of samples that were filled in or clipped.
    """

    before: Rest
    after: Rest
    angular_velocity_rad_s: FloatArray
    step_s: float
    missing_share: float

    @property
    def duration_s(self) -> float:
        """Length, s."""
        return len(self.angular_velocity_rad_s) * self.step_s


def rests_and_moves(recording: Recording) -> tuple[tuple[Rest, ...], tuple[Move, ...]]:
    """Find every rest on a table and the moves between them.

    Returns
    -------
    rests, moves
        Moves never go over a gap of more than 2 s.
    """
    rests: list[Rest] = []
    moves: list[Move] = []
    for piece in uniform_pieces(recording):
        before: tuple[Rest, int] | None = None
        for first, stop in still_stretches(piece, shortest_s=SHORTEST_REST_S):
            rest = _rest(recording, piece, first, stop)
            rests.append(rest)
            if before is not None:
                moves.append(_move(piece, before[0], rest, before[1], first))
            before = (rest, stop)
    return tuple(rests), tuple(moves)


def short_rests(recording: Recording) -> int:
    """Number of moments in which the sensor lay still, but too shortly to count as a rest."""
    return sum(
        len(still_stretches(piece, shortest_s=WINDOW_S, settled=False))
        - len(still_stretches(piece, shortest_s=SHORTEST_REST_S))
        for piece in uniform_pieces(recording)
    )


def gravity_at_rest(recording: Recording) -> float | None:
    """Median specific force at rest over standard gravity, whatever it is; None where nothing lay still."""
    norms = [
        float(np.linalg.norm(piece.specific_force_m_s2[first:stop].mean(axis=0)))
        for piece in uniform_pieces(recording)
        for first, stop in still_stretches(
            piece, shortest_s=SHORTEST_REST_S, limits=StillLimits(gravity_tolerance=np.inf)
        )
    ]
    return float(np.median(norms)) / STANDARD_GRAVITY_M_S2 if norms else None


def drift_rad_s(rests: tuple[Rest, ...]) -> float:
    """How far the bias of the worst axis moved evenly from the first rest to the last, rad/s; 0 for chance."""
    if len(rests) < LEAST_RESTS_FOR_DRIFT or len({rest.file for rest in rests}) > 1:
        return 0.0
    at = np.array([(rest.start_s + rest.end_s) / 2 for rest in rests])
    bias = np.array([rest.angular_velocity_rad_s for rest in rests])
    x = at - at.mean()
    slope = x @ bias / float(x @ x)
    left = bias - bias.mean(axis=0) - np.outer(x, slope)
    slope_se = np.sqrt((left**2).sum(axis=0) / (len(rests) - 2) / float(x @ x))
    moved = np.where(np.abs(slope) > 4 * slope_se, np.abs(slope) * float(np.ptp(at)), 0.0)
    return float(moved.max())


def _rest(recording: Recording, piece: Piece, first: int, stop: int) -> Rest:
    last = min(stop, first + round(LONGEST_REST_S * piece.rate_hz))
    force, rate = piece.specific_force_m_s2[first:last], piece.angular_velocity_rad_s[first:last]
    return Rest(
        file=recording.source.file,
        start_s=piece.start_s + first / piece.rate_hz,
        end_s=piece.start_s + (stop - 1) / piece.rate_hz,
        specific_force_m_s2=force.mean(axis=0),
        angular_velocity_rad_s=rate.mean(axis=0),
        force_se_m_s2=_mean_se(force, piece.rate_hz),
        rate_se_rad_s=_mean_se(rate, piece.rate_hz),
        window_sd_rad_s=_window_sd(rate, piece.rate_hz)[0],
    )


def _mean_se(values: FloatArray, rate_hz: float) -> float:
    """Standard error of the mean of one axis, from the scatter of windows of a tenth of a second."""
    spread, count = _window_sd(values, rate_hz)
    return spread / math.sqrt(count)


def _window_sd(values: FloatArray, rate_hz: float) -> tuple[float, int]:
    """Spread of the means over a tenth of a second, one axis, and their number."""
    width = max(2, round(0.1 * rate_hz))
    count = len(values) // width
    means = values[: count * width].reshape(count, width, 3).mean(axis=1)
    return float(np.sqrt(means.var(axis=0, ddof=1).mean())), count


def _move(piece: Piece, before: Rest, after: Rest, first: int, stop: int) -> Move:
    doubtful = piece.missing[first:stop] | piece.clipped[first:stop]
    return Move(
        before=before,
        after=after,
        angular_velocity_rad_s=piece.angular_velocity_rad_s[first:stop],
        step_s=1.0 / piece.rate_hz,
        missing_share=float(doubtful.mean()) if stop > first else 0.0,
    )


def total_rotation(rotation_vectors_rad: FloatArray) -> FloatArray:
    """Product of many small rotations in order, by pairs, pairs of pairs, and so on.

    Parameters
    ----------
    rotation_vectors_rad : ndarray, shape (..., n, 3), rad
        Each in the axes of the body at that moment.

    Returns
    -------
    ndarray, shape (..., 4)
        Carries body coordinates at the end into those at the start.
    """
    product = from_rotation_vector(rotation_vectors_rad)
    while product.shape[-2] > 1:
        if product.shape[-2] % 2:
            last = np.broadcast_to(IDENTITY, (*product.shape[:-2], 1, 4))
            product = np.concatenate([product, last], axis=-2)
        product = multiply(product[..., 0::2, :], product[..., 1::2, :])
    return normalize(product[..., 0, :])


def running_rotation(rotation_vectors_rad: FloatArray) -> FloatArray:
    """All partial products of small rotations, by doubling, shape (..., n, 4); the last one is `total_rotation`."""
    product = from_rotation_vector(rotation_vectors_rad)
    reach = 1
    while reach < product.shape[-2]:
        further = multiply(product[..., :-reach, :], product[..., reach:, :])
        product = np.concatenate([product[..., :reach, :], further], axis=-2)
        reach *= 2
    return normalize(product)
