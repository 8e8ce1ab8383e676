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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armarc.recording import BoolArray, FloatArray

ComplexArray = NDArray[np.complex128]
Pair = tuple[ComplexArray, ComplexArray]

_SCAN_BLOCK = 16
_CHUNK_SAMPLES = 1 << 15  # planes of one chunk stay in the processor's cache


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


def integrate(
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    samples: int,
    *,
    lever: FloatArray | None = None,
    missing: BoolArray | None = None,
) -> tuple[FloatArray, NodeSummary]:
    """Dead-reckon the whole recording and summarise it at nodes of `samples` samples.

    Parameters
    ----------
    angular_velocity_rad_s, specific_force_m_s2 : ndarray, shape (n, 3)
    rate_hz : float, Hz
    samples : int
        Samples per node.
    lever : ndarray, shape (n, 3, 3), 1/s², or None
        Lever matrices to average along.
    missing : ndarray of bool, shape (n,), or None

    Returns
    -------
    quaternion : ndarray, shape (n, 4)
        Sensor → drift frame.
    summary : NodeSummary
    """
    n = len(angular_velocity_rad_s)
    nodes = -(-n // samples)
    quaternion = np.empty((n, 4))
    force, rate, sensor_force = np.empty((nodes, 3)), np.empty((nodes, 3)), np.empty((nodes, 3))
    rotation = np.empty((nodes, 3, 3))
    spread, gone = np.empty(nodes), np.zeros(nodes)
    turned = None if lever is None else np.empty((nodes, 3, 3))
    running = (complex(1.0), complex(0.0))
    per_chunk = max(_CHUNK_SAMPLES // samples, 1)
    for first in range(0, nodes, per_chunk):
        last = min(first + per_chunk, nodes)
        part = slice(first * samples, min(last * samples, n))
        at = slice(first, last)
        omega = _planes(angular_velocity_rad_s[part], samples, pad_with_last=False)
        acceleration = _planes(specific_force_m_s2[part], samples, pad_with_last=True)
        pair = _running_product(_increments(omega, 1.0 / rate_hz), running)
        running = (complex(pair[0][-1, -1]), complex(pair[1][-1, -1]))
        quaternion[part] = _as_rows(pair, part.stop - part.start)
        matrix = _matrices(pair)
        acceleration = _half_step_back(omega, acceleration, 0.5 / rate_hz)
        for i in range(3):
            turned_force = matrix[i][0] * acceleration[0]
            turned_force += matrix[i][1] * acceleration[1]
            turned_force += matrix[i][2] * acceleration[2]
            force[at, i] = turned_force.mean(axis=0)
            for j in range(3):
                rotation[at, i, j] = matrix[i][j].mean(axis=0)
        mean = omega.mean(axis=1)
        rate[at] = mean.T
        spread[at] = np.sqrt(np.square(omega - mean[:, None]).sum(axis=0).mean(axis=0))
        sensor_force[at] = acceleration.mean(axis=1).T
        if turned is not None and lever is not None:
            planes = _planes(lever[part].reshape(-1, 9), samples, pad_with_last=True).reshape(
                3, 3, samples, -1
            )
            planes = np.stack([_half_step_back(omega, planes[:, j], 0.5 / rate_hz) for j in range(3)], axis=1)
            for i in range(3):
                for j in range(3):
                    turned[at, i, j] = sum(matrix[i][k] * planes[k, j] for k in range(3)).mean(axis=0)
        if missing is not None:
            filled = missing[part].astype(np.float64)[:, None]
            gone[at] = _planes(filled, samples, pad_with_last=True)[0].mean(axis=0)
    return quaternion, NodeSummary(
        samples=samples,
        step_s=samples / rate_hz,
        force_m_s2=force,
        rotation=rotation,
        rate_rad_s=rate,
        rate_spread_rad_s=spread,
        sensor_force_m_s2=sensor_force,
        lever=turned,
        missing=gone,
    )


def correct(quaternion: FloatArray, correction: FloatArray, samples: int) -> None:
    """Turn dead-reckoned orientations into global ones, in place.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Sensor → drift frame on entry, sensor → global on return.
    correction : ndarray, shape (N, 4)
        Drift frame → global at the middle of each node; between the middles it is interpolated, beyond the
        outermost ones held.
    samples : int
        Samples per node.
    """
    n, nodes = len(quaternion), len(correction)
    signs = np.ones(nodes)
    np.cumprod(np.where(np.sum(correction[1:] * correction[:-1], axis=1) < 0, -1.0, 1.0), out=signs[1:])
    aligned = correction * signs[:, None]
    # sample `a` of node k lies at k + share[a] node steps, counted between node middles
    share = (np.arange(samples) + 0.5) / samples - 0.5
    before = np.minimum(share, 0.0)[:, None] * -1.0
    after = np.maximum(share, 0.0)[:, None]
    per_chunk = max(_CHUNK_SAMPLES // samples, 1)
    for first in range(0, nodes, per_chunk):
        last = min(first + per_chunk, nodes)
        part = slice(first * samples, min(last * samples, n))
        here = aligned[first:last].T[:, None, :]
        left = aligned[np.maximum(np.arange(first, last) - 1, 0)].T[:, None, :]
        right = aligned[np.minimum(np.arange(first, last) + 1, nodes - 1)].T[:, None, :]
        blend = here + before * (left - here) + after * (right - here)
        c1, c2 = blend[0] + 1j * blend[1], blend[2] + 1j * blend[3]
        rows = _planes(quaternion[part], samples, pad_with_last=True)
        z1, z2 = _product((c1, c2), (rows[0] + 1j * rows[1], rows[2] + 1j * rows[3]))
        scale = 1.0 / np.sqrt(z1.real**2 + z1.imag**2 + z2.real**2 + z2.imag**2)
        quaternion[part] = _as_rows((z1 * scale, z2 * scale), part.stop - part.start)


def _planes(rows: FloatArray, samples: int, *, pad_with_last: bool) -> FloatArray:
    """Shape (n, k) to (k, samples, nodes), the last node filled up with zeros or the last row."""
    n, k = rows.shape
    nodes = -(-n // samples)
    if nodes * samples != n:
        fill = rows[-1] if pad_with_last else np.zeros(k)
        rows = np.concatenate([rows, np.broadcast_to(fill, (nodes * samples - n, k))])
    return np.ascontiguousarray(rows.reshape(nodes, samples, k).transpose(2, 1, 0))


def _half_step_back(omega: FloatArray, vectors: FloatArray, half_step_s: float) -> FloatArray:
    """Turn sensor-axes planes by ``exp(−ω dt/2)``, first order.

    The rectangle rule gives the orientation at the end of the interval a sample stands for; the specific
    force of that sample belongs, like its angular velocity, to the middle.
    """
    x, y, z = half_step_s * omega
    a, b, c = vectors
    return np.stack([a - y * c + z * b, b - z * a + x * c, c - x * b + y * a])


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


def _matrices(pair: Pair) -> list[list[FloatArray]]:
    """The nine entries of the rotation matrices, each a plane."""
    z1, z2 = pair
    w, x, y, z = z1.real, z1.imag, z2.real, z2.imag
    x2, y2, z2_ = 2.0 * x, 2.0 * y, 2.0 * z
    xx, yy, zz = x * x2, y * y2, z * z2_
    xy, xz, yz = x * y2, x * z2_, y * z2_
    wx, wy, wz = w * x2, w * y2, w * z2_
    return [
        [1.0 - yy - zz, xy - wz, xz + wy],
        [xy + wz, 1.0 - xx - zz, yz - wx],
        [xz - wy, yz + wx, 1.0 - xx - yy],
    ]
