"""Order and signs of the sensor's axes as a file gives them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from armarc.errors import FormatError, UsageError
from armarc.recording.consistency import better_arrangement, lever_misfit, short_windows
from armarc.recording.evidence import Evidence
from armarc.recording.types import STANDARD_GRAVITY_M_S2, FloatArray
from armarc.recording.units import scale_of

_DOUBTED_MISFIT = 0.05
"""Below this there is nothing to doubt; elbows and shoulders that move leave up to 0.3 in violent sets."""
_GRAVITY_WITHIN = 0.05
_WORSE_THAN_NOTHING = 0.1


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
    *,
    own: bool = False,
) -> tuple[list[int], list[str]]:
    """Order that makes x, y, z of angular velocities named alpha, beta, gamma.

    Some sources mean x, y, z by them, others z, x, y; gravity turns in the accelerometer as only one of the
    two says.

    Without a `unit` they are taken as deg/s, as the open sensor interfaces that use these names do. In an `own` file
    they stand as a phone's page recorded them, and where the movement tells nothing, as on a table, they are x, y, z.

    Raises
    ------
    FormatError
        The movement does not tell which.
    """
    orders = {"x, y, z": [0, 1, 2], "z, x, y": [1, 2, 0]}
    scale = np.pi / 180.0 if unit is None else scale_of(unit, "angular_velocity")
    windows = short_windows(time_s, acceleration, angular_velocity)
    spreads = dict.fromkeys(orders, 1.0)
    unturned = 0.0
    if windows is not None:
        unturned = lever_misfit(windows, 0.0)
        spreads = {
            name: lever_misfit(replace(windows, rate=windows.rate[order]), scale)
            for name, order in orders.items()
        }
    best, other = sorted(spreads, key=lambda name: spreads[name])
    if not (spreads[best] < 0.5 * spreads[other] and spreads[best] < 0.7 * unturned):
        if own:
            return orders["x, y, z"], [f"{', '.join(names)} were taken as about x, y, z: no movement tells"]
        raise FormatError(
            f"the columns {', '.join(names)} may be about x, y, z or about z, x, y; the movement does not "
            "tell",
            f"name them: --columns gx={names[0]},gy={names[1]},gz={names[2]}; if the acceleration is one without "
            "gravity, record it including gravity: nothing can be measured without",
            file=file,
        )
    why = (
        f"{', '.join(names)} are the angular velocities about {best}: turned back by them, gravity stands "
        f"still (unexplained {spreads[best]:.2g}, the other way {spreads[other]:.2g})"
    )
    return orders[best], [why]


def axes_warning(evidence: Evidence | None, acceleration_unit: str, gyroscope_unit: str) -> list[str]:
    """What to say where accelerometer and gyroscope do not turn together; nothing where they do.

    The arm's own acceleration is accounted for, so that speed alone raises no doubt. Axes are doubted where another
    order or other signs explain the readings twice as well and leave gravity standing as large as it is, or where not
    turning at all would explain them better.
    """
    if evidence is None:
        return []
    turned = evidence.at(gyroscope_unit)
    if not turned.misfit > _DOUBTED_MISFIT:
        return []
    size = scale_of(acceleration_unit, "acceleration") / STANDARD_GRAVITY_M_S2
    name, better = better_arrangement(
        evidence.short, evidence.long, scale_of(gyroscope_unit, "angular_velocity")
    )
    off, still_off = abs(turned.gravity * size - 1.0), abs(better.gravity * size - 1.0)
    if better.misfit < 0.5 * turned.misfit and still_off < max(off, _GRAVITY_WITHIN):
        numbers = f"unexplained {turned.misfit:.2g} as they are, {better.misfit:.2g} so"
        if name == "-x,-y,-z":
            return [
                "accelerometer and gyroscope turn against each other: the axes of one of them are mirrored or its "
                f"sign is reversed ({numbers}); angles from this recording cannot be trusted"
            ]
        return [
            "accelerometer and gyroscope do not turn together: their axes are mixed up (see --columns); the "
            f"gyroscope's {name} as x, y, z would fit ({numbers}); angles from this recording cannot be trusted"
        ]
    unturned = evidence.unturned
    if turned.misfit > unturned.misfit + _WORSE_THAN_NOTHING:
        return [
            "accelerometer and gyroscope do not turn together, in no order of their axes (unexplained "
            f"{turned.misfit:.2g}, unturned {unturned.misfit:.2g}): the gyroscope's numbers may be raw counts (state "
            "their scale: --units gyroscope=deg/s/16.4), or they are of two sensors, or their clocks apart; angles "
            "from this recording cannot be trusted"
        ]
    return []
