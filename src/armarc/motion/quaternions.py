"""Quaternion algebra over arrays: Hamilton, scalar first, unit; ``q`` turns sensor coordinates into global
ones.

``v_global = q ⊗ v ⊗ q*``. :class:`scipy.spatial.transform.Rotation` is scalar last unless told otherwise
(``as_quat(scalar_first=True)``). Formulae: Diebel 2006, "Representing
attitude: Euler angles, unit quaternions, and rotation vectors", sections 6 and 7 (written there for the
conjugate).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike

from armarc.recording import FloatArray

IDENTITY: FloatArray = np.array([1.0, 0.0, 0.0, 0.0])
IDENTITY.flags.writeable = False
CACHED_ROWS = 1 << 13
"""So many at a time stay in the processor's cache."""


def cached_pieces(rows: int) -> Iterator[slice]:
    """So many rows piece by piece: fast, and no temporary array is as large as the recording."""
    return (slice(first, first + CACHED_ROWS) for first in range(0, rows, CACHED_ROWS))


def multiply(left: ArrayLike, right: ArrayLike) -> FloatArray:
    """Hamilton product ``left ⊗ right``: first turn by `right`, then by `left`.

    Parameters
    ----------
    left, right : array_like, shape (..., 4)
        Broadcast against each other.

    Returns
    -------
    ndarray, shape (..., 4)
    """
    p = np.asarray(left, dtype=np.float64)
    q = np.asarray(right, dtype=np.float64)
    out = np.empty(np.broadcast_shapes(p.shape, q.shape))
    pw, px, py, pz = p[..., 0], p[..., 1], p[..., 2], p[..., 3]
    qw, qx, qy, qz = q[..., 0], q[..., 1], q[..., 2], q[..., 3]
    out[..., 0] = pw * qw - px * qx - py * qy - pz * qz
    out[..., 1] = pw * qx + px * qw + py * qz - pz * qy
    out[..., 2] = pw * qy - px * qz + py * qw + pz * qx
    out[..., 3] = pw * qz + px * qy - py * qx + pz * qw
    return out


def conjugate(q: ArrayLike) -> FloatArray:
    """Shape (..., 4): the opposite rotation."""
    out = np.array(q, dtype=np.float64)
    np.negative(out[..., 1:], out=out[..., 1:])
    return out


def normalize(q: ArrayLike) -> FloatArray:
    """Shape (..., 4): `q` scaled to unit length."""
    array = np.asarray(q, dtype=np.float64)
    return np.asarray(array / np.linalg.norm(array, axis=-1, keepdims=True))


def rotate(q: ArrayLike, v: ArrayLike) -> FloatArray:
    """Turn vectors from sensor into global coordinates.

    Parameters
    ----------
    q : array_like, shape (n, 4) or (4,)
    v : array_like, shape (n, 3) or (3,)

    Returns
    -------
    ndarray, shape (n, 3) or (3,)
    """
    quaternion = np.asarray(q, dtype=np.float64)
    vector = np.asarray(v, dtype=np.float64)
    w, x, y, z = (quaternion[..., i] for i in range(4))
    vx, vy, vz = (vector[..., i] for i in range(3))
    # v + 2 w (u × v) + 2 u × (u × v), with t = 2 u × v
    tx = 2.0 * (y * vz - z * vy)
    ty = 2.0 * (z * vx - x * vz)
    tz = 2.0 * (x * vy - y * vx)
    out = np.empty((*np.broadcast_shapes(w.shape, vx.shape), 3))
    out[..., 0] = vx + w * tx + y * tz - z * ty
    out[..., 1] = vy + w * ty + z * tx - x * tz
    out[..., 2] = vz + w * tz + x * ty - y * tx
    return out


def rotate_back(q: ArrayLike, v: ArrayLike) -> FloatArray:
    """Turn vectors from global into sensor coordinates; shapes as in :func:`rotate`."""
    return rotate(conjugate(q), v)


def turn_between(one: ArrayLike, other: ArrayLike) -> FloatArray:
    """Angle of the shortest turn from one attitude to another, rad, shape (...), of unit quaternions (..., 4)."""
    return np.asarray(np.linalg.norm(to_rotation_vector(multiply(conjugate(one), other)), axis=-1))


def to_matrix(q: ArrayLike) -> FloatArray:
    """Rotation matrices, shape (..., 3, 3), of unit quaternions, shape (..., 4)."""
    quaternion = np.asarray(q, dtype=np.float64)
    w, x, y, z = (quaternion[..., i] for i in range(4))
    out = np.empty((*quaternion.shape[:-1], 3, 3))
    out[..., 0, 0] = 1.0 - 2.0 * (y * y + z * z)
    out[..., 0, 1] = 2.0 * (x * y - w * z)
    out[..., 0, 2] = 2.0 * (x * z + w * y)
    out[..., 1, 0] = 2.0 * (x * y + w * z)
    out[..., 1, 1] = 1.0 - 2.0 * (x * x + z * z)
    out[..., 1, 2] = 2.0 * (y * z - w * x)
    out[..., 2, 0] = 2.0 * (x * z - w * y)
    out[..., 2, 1] = 2.0 * (y * z + w * x)
    out[..., 2, 2] = 1.0 - 2.0 * (x * x + y * y)
    return out


def between(u: ArrayLike, v: ArrayLike) -> FloatArray:
    """Shortest rotation that takes the direction of `u` to that of `v`.

    Parameters
    ----------
    u, v : array_like, shape (..., 3)
        Need not be unit vectors. A zero vector gives the identity. For opposite vectors any axis across them
        does; the one nearest to the coordinate axis least aligned with `u` is used.

    Returns
    -------
    ndarray, shape (..., 4)
    """
    a = np.asarray(u, dtype=np.float64)
    b = np.asarray(v, dtype=np.float64)
    a, b = np.broadcast_arrays(a, b)
    scale = np.linalg.norm(a, axis=-1) * np.linalg.norm(b, axis=-1)
    out = np.empty((*a.shape[:-1], 4))
    out[..., 0] = scale + np.sum(a * b, axis=-1)
    out[..., 1:] = np.cross(a, b)
    length = np.linalg.norm(out, axis=-1)
    opposite = (length <= 1e-7 * scale) & (scale > 0)
    if np.any(opposite):
        across = np.eye(3)[np.argmin(np.abs(a[opposite]), axis=-1)]
        out[opposite, 0] = 0.0
        out[opposite, 1:] = np.cross(a[opposite], across)
    out[scale == 0] = IDENTITY
    return normalize(out)


def from_rotation_vector(rotation_vector_rad: ArrayLike) -> FloatArray:
    """Exponential map: axis times angle to unit quaternion.

    Parameters
    ----------
    rotation_vector_rad : array_like, shape (..., 3), rad

    Returns
    -------
    ndarray, shape (..., 4)
    """
    vector = np.asarray(rotation_vector_rad, dtype=np.float64)
    half = 0.5 * np.sqrt(np.sum(vector * vector, axis=-1))
    out = np.empty((*vector.shape[:-1], 4))
    out[..., 0] = np.cos(half)
    out[..., 1:] = (0.5 * np.sinc(half / np.pi))[..., None] * vector
    return out


def to_rotation_vector(q: ArrayLike) -> FloatArray:
    """Logarithm of unit quaternions: axis times angle, angle at most π.

    Parameters
    ----------
    q : array_like, shape (..., 4)

    Returns
    -------
    ndarray, shape (..., 3), rad
    """
    quaternion = np.asarray(q, dtype=np.float64)
    scalar = quaternion[..., 0]
    sign = np.where(scalar < 0, -1.0, 1.0)
    sine = np.sqrt(np.sum(quaternion[..., 1:] ** 2, axis=-1))
    half = np.arctan2(sine, np.abs(scalar))
    small = sine < 1e-9
    factor = np.where(small, 2.0, 2.0 * half / np.where(small, 1.0, sine))
    return np.asarray((sign * factor)[..., None] * quaternion[..., 1:])
