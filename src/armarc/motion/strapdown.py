"""Dead reckoning of orientation by prefix products, and its summary at nodes some 50 ms apart.

Nothing here loops over samples. Unit quaternions are pairs of complex numbers, ``q = z1 + z2 j`` with ``z1 =
w + i x`` and ``z2 = y + i z``, held as planes of shape (samples of a node, nodes): multiplying down the first
axis gives the running product inside every node at once, a scan over the nodes' totals joins them.
Integration is by the rectangle rule, ``q[k] = q[k-1] ⊗ exp(ω[k] dt)``: a sample stands for the interval that
ends with it.

"Drift frame" is the frame the dead reckoning starts in; it turns slowly against the global one because of the
gyroscope's bias.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from armarc.recording import BoolArray, FloatArray

ComplexArray = NDArray[np.complex128]
Pair = tuple[ComplexArray, ComplexArray]

_SCAN_BLOCK = 16
_CHUNK_SAMPLES = 1 << 14  # planes of one chunk stay in the processor's cache


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeSummary:
    """Means over the samples of each node; N nodes, the last one perhaps shorter.

    Parameters
    ----------
    samples : int
        Samples in a node.
    step_s : float, s
    force_m_s2 : ndarray, shape (N, 3), m/s²
        Specific force in the drift frame.
    rotation : ndarray, shape (N, 3, 3)
        Mean of the matrices from sensor axes to the drift frame: what a constant bias is turned by.
    rate_rad_s : ndarray, shape (N, 3), rad/s
        Angular velocity in sensor axes.
    rate_spread_rad_s : ndarray, shape (N,), rad/s
        Root mean square departure of the angular velocity from the node's mean, over the three axes together.
    sensor_force_m_s2 : ndarray, shape (N, 3), m/s²
        Specific force in sensor axes.
    lever : ndarray, shape (N, 3, 3), 1/s², or None
        Mean of (sensor → drift frame) × (lever matrix).
    missing : ndarray, shape (N,)
        Share of filled samples.
    """

    samples: int
    step_s: float
    force_m_s2: FloatArray
    rotation: FloatArray
    rate_rad_s: FloatArray
    rate_spread_rad_s: FloatArray
    sensor_force_m_s2: FloatArray
    lever: FloatArray | None
    missing: FloatArray

    def part(self, nodes: slice) -> NodeSummary:
        """The summary of some of the nodes."""
        return NodeSummary(
            samples=self.samples,
            step_s=self.step_s,
            force_m_s2=self.force_m_s2[nodes],
            rotation=self.rotation[nodes],
            rate_rad_s=self.rate_rad_s[nodes],
            rate_spread_rad_s=self.rate_spread_rad_s[nodes],
            sensor_force_m_s2=self.sensor_force_m_s2[nodes],
            lever=None if self.lever is None else self.lever[nodes],
            missing=self.missing[nodes],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LeverMoments:
    """Node means from which the lever's matrix follows for any bias; N nodes.

    Parameters
    ----------
    unbiased : ndarray, shape (N, 3, 3), 1/s²
        Mean of (sensor → drift frame) × (lever matrix of the raw angular velocity).
    by_rate : ndarray, shape (N, 3, 3, 3), rad/s
        Mean of the entries of (sensor → drift frame) times each component of the angular velocity.
    """

    unbiased: FloatArray
    by_rate: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadReckoning:
    """What the gyroscope alone says, made once and smoothed as often as needed.

    Parameters
    ----------
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
    rate_hz : float, Hz
    nodes : NodeSummary
        Without a lever.
    middle : ndarray, shape (N, 3, 3)
        Mean of the matrices that turn specific forces, half a sampling interval back, into the drift frame.
    moments : LeverMoments or None
    pairs : tuple of Pair
        Sensor → drift frame, planes of shape (samples of a node, nodes), chunk by chunk.
    """

    angular_velocity_rad_s: FloatArray
    rate_hz: float
    nodes: NodeSummary
    middle: FloatArray
    moments: LeverMoments | None
    pairs: tuple[Pair, ...]

    @property
    def quaternion(self) -> FloatArray:
        """Shape (n, 4): sensor → drift frame."""
        n = len(self.angular_velocity_rad_s)
        return np.concatenate([_as_rows(pair, pair[0].size) for pair in self.pairs])[:n]

    def summary(self, offset_m_s2: FloatArray | None, bias_rad_s: FloatArray | None = None) -> NodeSummary:
        """The nodes with a zero-g offset taken out of the specific force, and with the lever for a bias."""
        nodes = self.nodes
        if offset_m_s2 is not None:
            aside = np.cross((0.5 / self.rate_hz) * nodes.rate_rad_s, offset_m_s2)
            nodes = replace(
                nodes,
                force_m_s2=nodes.force_m_s2 - self.middle @ offset_m_s2,
                sensor_force_m_s2=nodes.sensor_force_m_s2 - offset_m_s2 + aside,
            )
        if bias_rad_s is not None and self.moments is not None:
            # [α]× + (ω−b)(ω−b)ᵀ − |ω−b|² I, multiplied out
            by_rate, b = self.moments.by_rate, bias_rad_s
            square = np.outer(b, b) - np.eye(3) * (b @ b)
            along = np.einsum("nijj->ni", by_rate)[:, :, None] * b + np.einsum("nijk,j->nik", by_rate, b)
            nodes = replace(
                nodes, lever=self.moments.unbiased - along + 2.0 * (by_rate @ b) + self.middle @ square
            )
        return nodes


def integrate(
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    samples: int,
    *,
    arm_rate_rad_s: FloatArray | None = None,
    angular_acceleration_rad_s2: FloatArray | None = None,
    missing: BoolArray | None = None,
) -> DeadReckoning:
    """Dead-reckon the whole recording and summarise it at nodes of `samples` samples.

    Parameters
    ----------
    angular_velocity_rad_s, specific_force_m_s2 : ndarray, shape (n, 3)
    rate_hz : float, Hz
    samples : int
        Samples per node.
    arm_rate_rad_s, angular_acceleration_rad_s2 : ndarray, shape (n, 3), or None
        For the moments of a lever: how the arm turns, which is not what a sensor in a loose strap does. None for a
        sensor on no lever.
    missing : ndarray of bool, shape (n,), or None

    Returns
    -------
    DeadReckoning
    """
    n = len(angular_velocity_rad_s)
    nodes = -(-n // samples)
    force, rate, sensor_force = np.empty((nodes, 3)), np.empty((nodes, 3)), np.empty((nodes, 3))
    rotation, middle = np.empty((nodes, 3, 3)), np.empty((nodes, 3, 3))
    spread, gone = np.empty(nodes), np.zeros(nodes)
    moments = None
    if angular_acceleration_rad_s2 is not None:
        moments = LeverMoments(unbiased=np.empty((nodes, 3, 3)), by_rate=np.empty((nodes, 3, 3, 3)))
    pairs: list[Pair] = []
    running = (complex(1.0), complex(0.0))
    for at, part in _chunks(n, samples):
        omega = _planes(angular_velocity_rad_s[part], samples, pad_with_last=False)
        acceleration = _planes(specific_force_m_s2[part], samples, pad_with_last=True)
        pair = _running_product(_increments(omega, 1.0 / rate_hz), running)
        running = (complex(pair[0][-1, -1]), complex(pair[1][-1, -1]))
        pairs.append(pair)
        matrix = _matrices(pair)
        # The rectangle rule gives the orientation at the end of the interval a sample stands for; the specific
        # force of that sample belongs, like its angular velocity, to the middle: exp(−ω dt/2), first order.
        half = (0.5 / rate_hz) * omega
        sensor_force[at] = (acceleration - _cross(half, acceleration)).mean(axis=1).T
        for i in range(3):
            turned = matrix[i] - _cross(matrix[i], half)
            force[at, i] = np.einsum("ksn,ksn->n", turned, acceleration) / samples
            rotation[at, i] = matrix[i].mean(axis=1).T
            middle[at, i] = turned.mean(axis=1).T
            matrix[i] = turned
        mean = omega.mean(axis=1)
        rate[at] = mean.T
        spread[at] = np.sqrt(np.square(omega - mean[:, None]).sum(axis=0).mean(axis=0))
        if moments is not None and arm_rate_rad_s is not None and angular_acceleration_rad_s2 is not None:
            alpha = _planes(angular_acceleration_rad_s2[part], samples, pad_with_last=True)
            arm_rate = _planes(arm_rate_rad_s[part], samples, pad_with_last=True)
            _add_moments(moments, at, matrix, arm_rate, alpha)
        if missing is not None:
            filled = missing[part].astype(np.float64)[:, None]
            gone[at] = _planes(filled, samples, pad_with_last=True)[0].mean(axis=0)
    summary = NodeSummary(
        samples=samples,
        step_s=samples / rate_hz,
        force_m_s2=force,
        rotation=rotation,
        rate_rad_s=rate,
        rate_spread_rad_s=spread,
        sensor_force_m_s2=sensor_force,
        lever=None,
        missing=gone,
    )
    return DeadReckoning(
        angular_velocity_rad_s=angular_velocity_rad_s,
        rate_hz=rate_hz,
        nodes=summary,
        middle=middle,
        moments=moments,
        pairs=tuple(pairs),
    )


def _add_moments(
    moments: LeverMoments, at: slice, matrix: list[FloatArray], omega: FloatArray, alpha: FloatArray
) -> None:
    square = np.square(omega).sum(axis=0)
    for i in range(3):
        along = (matrix[i] * omega).sum(axis=0)
        lever = along * omega - square * matrix[i] + _cross(matrix[i], alpha)
        moments.unbiased[at, i] = lever.mean(axis=1).T
        moments.by_rate[at, i] = np.einsum("jsn,ksn->njk", matrix[i], omega) / len(square)


def oriented(
    reckoning: DeadReckoning, correction: FloatArray, *, middle_bias_rad_s: FloatArray | None = None
) -> FloatArray:
    """Turn dead-reckoned orientations into global ones.

    Parameters
    ----------
    reckoning : DeadReckoning
    correction : ndarray, shape (N, 4)
        Drift frame → global at the middle of each node; between the middles it is interpolated, beyond the
        outermost ones held.
    middle_bias_rad_s : ndarray, shape (3,), rad/s, or None
        Bias of the gyroscope, to give the orientation half a sampling interval before each time stamp instead.

    Returns
    -------
    ndarray, shape (n, 4)
        Sensor → global.
    """
    omega, samples = reckoning.angular_velocity_rad_s, reckoning.nodes.samples
    n, nodes = len(omega), len(correction)
    quaternion = np.empty((n, 4))
    signs = np.ones(nodes)
    np.cumprod(np.where(np.sum(correction[1:] * correction[:-1], axis=1) < 0, -1.0, 1.0), out=signs[1:])
    aligned = correction * signs[:, None]
    # sample `a` of node k lies at k + share[a] node steps, counted between node middles
    share = (np.arange(samples) + 0.5) / samples - 0.5
    before = np.minimum(share, 0.0)[:, None] * -1.0
    after = np.maximum(share, 0.0)[:, None]
    for pair, (at, part) in zip(reckoning.pairs, _chunks(n, samples), strict=True):
        here = aligned[at].T[:, None, :]
        left = aligned[np.maximum(np.arange(at.start, at.stop) - 1, 0)].T[:, None, :]
        right = aligned[np.minimum(np.arange(at.start, at.stop) + 1, nodes - 1)].T[:, None, :]
        blend = here + before * (left - here) + after * (right - here)
        z1, z2 = _product((blend[0] + 1j * blend[1], blend[2] + 1j * blend[3]), pair)
        if middle_bias_rad_s is not None:
            turn = _planes(middle_bias_rad_s - omega[part], samples, pad_with_last=True)
            z1, z2 = _product((z1, z2), _increments(turn, 0.5 / reckoning.rate_hz))
        scale = 1.0 / np.sqrt(z1.real**2 + z1.imag**2 + z2.real**2 + z2.imag**2)
        quaternion[part] = _as_rows((z1 * scale, z2 * scale), part.stop - part.start)
    return quaternion


def _chunks(n: int, samples: int) -> Iterator[tuple[slice, slice]]:
    """Nodes and samples of each chunk."""
    nodes = -(-n // samples)
    per_chunk = max(_CHUNK_SAMPLES // samples, 1)
    for first in range(0, nodes, per_chunk):
        last = min(first + per_chunk, nodes)
        yield slice(first, last), slice(first * samples, min(last * samples, n))


def _planes(rows: FloatArray, samples: int, *, pad_with_last: bool) -> FloatArray:
    """Shape (n, k) to (k, samples, nodes), the last node filled up with zeros or the last row."""
    n, k = rows.shape
    nodes = -(-n // samples)
    if nodes * samples != n:
        fill = rows[-1] if pad_with_last else np.zeros(k)
        rows = np.concatenate([rows, np.broadcast_to(fill, (nodes * samples - n, k))])
    return np.ascontiguousarray(rows.reshape(nodes, samples, k).transpose(2, 1, 0))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross products of vectors held as three planes each."""
    return np.stack([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def _as_rows(pair: Pair, n: int) -> FloatArray:
    """Planes of shape (samples, nodes) to (n, 4)."""
    z1, z2 = pair
    rows = np.empty((z1.shape[1], z1.shape[0], 4))
    rows[..., 0], rows[..., 1] = z1.real.T, z1.imag.T
    rows[..., 2], rows[..., 3] = z2.real.T, z2.imag.T
    return rows.reshape(-1, 4)[:n]


def _product(left: Pair, right: Pair) -> Pair:
    a, b = left
    c, d = right
    return a * c - b * np.conj(d), a * d + b * np.conj(c)


def _increments(omega: FloatArray, step_s: float) -> Pair:
    """Exponential of ``ω dt`` as a pair; series to 1e-12 below half a radian, exact above."""
    half = (0.5 * step_s) * omega
    square = half[0] * half[0] + half[1] * half[1] + half[2] * half[2]
    if square.size and float(square.max()) > 0.07:
        angle = np.sqrt(square)
        cosine, ratio = np.cos(angle), np.sinc(angle / np.pi)
    else:
        cosine = 1.0 + square * (-1 / 2 + square * (1 / 24 + square * (-1 / 720 + square * (1 / 40320))))
        ratio = 1.0 + square * (-1 / 6 + square * (1 / 120 + square * (-1 / 5040 + square * (1 / 362880))))
    return cosine + 1j * (half[0] * ratio), half[1] * ratio + 1j * (half[2] * ratio)


def _running_product(increments: Pair, start: tuple[complex, complex]) -> Pair:
    """Products of all increments up to each sample, after `start`; overwrites the planes given."""
    z1, z2 = increments
    for row in range(1, len(z1)):
        z1[row], z2[row] = _product((z1[row - 1], z2[row - 1]), (z1[row], z2[row]))
    before = _exclusive_scan(z1[-1], z2[-1])
    before = _product((np.asarray(start[0]), np.asarray(start[1])), before)
    return _product(before, (z1, z2))


def _exclusive_scan(t1: ComplexArray, t2: ComplexArray) -> Pair:
    """Product of all totals before each one, shape (nodes,)."""
    count = len(t1)
    if count <= _SCAN_BLOCK:
        out1, out2 = np.ones(count, complex), np.zeros(count, complex)
        for i in range(1, count):
            a, b, c, d = out1[i - 1], out2[i - 1], t1[i - 1], t2[i - 1]
            out1[i], out2[i] = a * c - b * np.conj(d), a * d + b * np.conj(c)
        return out1, out2
    blocks = -(-count // _SCAN_BLOCK)
    p1, p2 = np.ones(blocks * _SCAN_BLOCK, complex), np.zeros(blocks * _SCAN_BLOCK, complex)
    p1[:count], p2[:count] = t1, t2
    p1 = np.ascontiguousarray(p1.reshape(blocks, _SCAN_BLOCK).T)
    p2 = np.ascontiguousarray(p2.reshape(blocks, _SCAN_BLOCK).T)
    for row in range(1, _SCAN_BLOCK):
        p1[row], p2[row] = _product((p1[row - 1], p2[row - 1]), (p1[row], p2[row]))
    before = _exclusive_scan(p1[-1], p2[-1])
    out1, out2 = np.empty_like(p1), np.empty_like(p2)
    out1[0], out2[0] = before
    out1[1:], out2[1:] = _product(before, (p1[:-1], p2[:-1]))
    return out1.T.reshape(-1)[:count], out2.T.reshape(-1)[:count]


def _matrices(pair: Pair) -> list[FloatArray]:
    """The rows of the rotation matrices, each as three planes."""
    z1, z2 = pair
    w, x, y, z = z1.real, z1.imag, z2.real, z2.imag
    x2, y2, z2_ = 2.0 * x, 2.0 * y, 2.0 * z
    xx, yy, zz = x * x2, y * y2, z * z2_
    xy, xz, yz = x * y2, x * z2_, y * z2_
    wx, wy, wz = w * x2, w * y2, w * z2_
    return [
        np.stack([1.0 - yy - zz, xy - wz, xz + wy]),
        np.stack([xy + wz, 1.0 - xx - zz, yz - wx]),
        np.stack([xz - wy, yz + wx, 1.0 - xx - yy]),
    ]
