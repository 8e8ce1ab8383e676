"""Products of many small rotations without a step-by-step loop, as quaternions (see `armarc.motion.quaternions`)."""

from __future__ import annotations

import numpy as np

from armarc.motion.quaternions import IDENTITY, from_rotation_vector, multiply, normalize
from armarc.recording import FloatArray


def total_rotation(rotation_vectors_rad: FloatArray) -> FloatArray:
    """Product of many small rotations in order, by pairs, pairs of pairs, and so on.

    Parameters
    ----------
    rotation_vectors_rad : ndarray, shape (n, 3), rad
        Each in the axes of the body at that moment.

    Returns
    -------
    ndarray, shape (4,)
        Carries body coordinates at the end into those at the start.
    """
    product = from_rotation_vector(rotation_vectors_rad)
    while len(product) > 1:
        if len(product) % 2:
            product = np.vstack([product, IDENTITY])
        product = multiply(product[0::2], product[1::2])
    return normalize(product[0])


def running_rotation(rotation_vectors_rad: FloatArray) -> FloatArray:
    """All partial products of small rotations, by doubling, shape (n, 4); the last one is `total_rotation`."""
    product = from_rotation_vector(rotation_vectors_rad)
    reach = 1
    while reach < len(product):
        product = np.vstack([product[:reach], multiply(product[:-reach], product[reach:])])
        reach *= 2
    return normalize(product)
