"""Products of many small rotations without a step-by-step loop.

SciPy's rotations load slowly and every measurement passes through this package: they are loaded where they are used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from armarc.recording import FloatArray

if TYPE_CHECKING:
    from scipy.spatial.transform import Rotation


def total_rotation(rotation_vectors_rad: FloatArray) -> Rotation:
    """Product of many small rotations in order, by pairs, pairs of pairs, and so on.

    Parameters
    ----------
    rotation_vectors_rad : ndarray, shape (n, 3), rad
        Each in the axes of the body at that moment.

    Returns
    -------
    Rotation
        Carries body coordinates at the end into those at the start.
    """
    from scipy.spatial.transform import Rotation

    whole = 1 << max(len(rotation_vectors_rad) - 1, 0).bit_length()
    padded = np.zeros((whole, 3))
    padded[: len(rotation_vectors_rad)] = rotation_vectors_rad
    product = Rotation.from_rotvec(padded)
    while len(product) > 1:
        product = product[0::2] * product[1::2]
    return product[0]


def running_rotation(rotation_vectors_rad: FloatArray) -> Rotation:
    """All partial products of small rotations, by doubling; the last one is `total_rotation`."""
    from scipy.spatial.transform import Rotation

    product = Rotation.from_rotvec(rotation_vectors_rad)
    reach = 1
    while reach < len(rotation_vectors_rad):
        later = (product[:-reach] * product[reach:]).as_quat()
        product = Rotation.from_quat(np.concatenate([product[:reach].as_quat(), later]))
        reach *= 2
    return product
