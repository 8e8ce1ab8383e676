"""Order and signs of the sensor's axes as a file gives them."""

from __future__ import annotations

import re

import numpy as np

from armarc.errors import UsageError
from armarc.recording.types import FloatArray


def axis_matrix(axes: str | None) -> FloatArray:
    """Matrix that takes file axes to sensor axes: ``"+y,-x,+z"`` makes x of the file's y, y of its −x.

    Raises
    ------
    UsageError
        Not three different axes, or a mirror image instead of a rotation.
    """
    if axes is None:
        return np.eye(3)
    parts = [part.strip().lower() for part in axes.split(",")]
    matches = [re.fullmatch(r"([+-]?)([xyz])", part) for part in parts]
    matrix = np.zeros((3, 3))
    for row, match in enumerate(matches[:3]):
        if match:
            matrix[row, "xyz".index(match[2])] = -1.0 if match[1] == "-" else 1.0
    if len(parts) != 3 or not all(matches) or not (np.abs(matrix).sum(axis=0) == 1).all():
        raise UsageError(f"{axes!r} does not name three different axes", "write them as in --axes=+y,-x,+z")
    if np.linalg.det(matrix) < 0:
        raise UsageError(
            f"the axes {axes!r} are a mirror image, which no turned sensor has",
            "change one sign or swap two axes",
        )
    return matrix


def reported_sign(stated: str | None, gravity_named: bool, own: bool) -> tuple[float, list[str]]:
    """Factor that makes the accelerometer read +g upward at rest, and a sentence saying what was assumed."""
    if stated is not None:
        return (-1.0 if stated == "gravity" else 1.0), []
    if own:
        return 1.0, []
    if gravity_named:
        return -1.0, [
            "columns of user acceleration and gravity: such sources report gravity itself (downward at rest), so the signs "
            "were turned round; state --gravity-sign reaction otherwise"
        ]
    return 1.0, [
        "the accelerometer was taken to read +g upward at rest; state --gravity-sign gravity if it reads gravity downward"
    ]
