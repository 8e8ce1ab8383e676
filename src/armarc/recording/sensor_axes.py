"""Order and signs of the sensor's axes as a file gives them."""

from __future__ import annotations

import re

import numpy as np

from armarc.errors import FormatError, UsageError
from armarc.recording.consistency import gravity_spread
from armarc.recording.types import FloatArray
from armarc.recording.units import scale_of


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
            "columns of user acceleration and gravity: such sources report gravity itself (downward at "
            "rest), so the signs were turned round; state --gravity-sign reaction otherwise"
        ]
    return 1.0, [
        "the accelerometer was taken to read +g upward at rest; state --gravity-sign gravity if it reads "
        "gravity downward"
    ]


def order_of_greek(
    time_s: FloatArray,
    acceleration: FloatArray,
    angular_velocity: FloatArray,
    unit: str | None,
    names: list[str],
    file: str,
) -> tuple[list[int], list[str]]:
    """Order that makes x, y, z of angular velocities named alpha, beta, gamma.

    Some sources mean x, y, z by them, others z, x, y; gravity turns in the accelerometer as only one of the
    two says.

    Without a `unit` they are taken as deg/s, as the open sensor interfaces that use these names do.

    Raises
    ------
    FormatError
        The movement does not tell which.
    """
    orders = {"x, y, z": [0, 1, 2], "z, x, y": [1, 2, 0]}
    scale = np.pi / 180.0 if unit is None else scale_of(unit, "angular_velocity")
    unturned = gravity_spread(time_s, acceleration, angular_velocity, scale=0.0)
    spreads = {
        name: gravity_spread(time_s, acceleration, angular_velocity[:, order], scale=scale)
        for name, order in orders.items()
    }
    best, other = sorted(spreads, key=lambda name: spreads[name])
    if not (spreads[best] < 0.5 * spreads[other] and spreads[best] < 0.7 * unturned):
        raise FormatError(
            f"the columns {', '.join(names)} may be about x, y, z or about z, x, y; the movement does not "
            "tell",
            f"name them: --columns gx={names[0]},gy={names[1]},gz={names[2]}",
            file=file,
        )
    why = (
        f"{', '.join(names)} are the angular velocities about {best}: turned back by them, gravity stands "
        f"still (smear {spreads[best]:.2g}, the other way {spreads[other]:.2g})"
    )
    return orders[best], [why]
