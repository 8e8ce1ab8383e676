"""Which way the arm lies in the sensor, learned while the set goes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from armarc.arm_track import SetWindows, mount_on
from armarc.choices import Choices
from armarc.errors import UsageError
from armarc.live.angle import Elevation, TurnFromRest
from armarc.live.judge import motion_of, rate_of
from armarc.live.rows import ANGLE, ANGLE_RATE, FORCE, MISSING, QUATERNION, RATE, TIME
from armarc.motion import Mounting, Orientation, choose_mounting, dominant_axis
from armarc.motion.mounting import ArmEvidence
from armarc.motion.quaternions import rotate
from armarc.motion.tolerance import UNKNOWN_TOLERANCE
from armarc.moved_arm import CONCENTRIC_WORTH, count, moved_arm
from armarc.pipeline import LONGEST_GAP_S
from armarc.recording import FloatArray, Piece, Recording, uniform_pieces, without_frozen
from armarc.reps.body import RIGID, SetBody, set_bodies
from armarc.reps.movements import Movement

UPRIGHT_AXIS = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What a look back at the stretch at hand has taught.

    ``force_offset_m_s2`` is the accelerometer's zero-g offset, sensor axes; ``body`` what body and strap have shown.
    """

    mounting: Mounting
    force_offset_m_s2: tuple[float, float, float]
    body: SetBody = RIGID


def learn_mounting(
    table: FloatArray,
    movements: Sequence[Movement],
    choices: Choices,
    bias_rad_s: tuple[float, float, float],
) -> Learned | None:
    """Settle the mounting with the offline road on the rows at hand.

    Parameters
    ----------
    table : ndarray, shape (n, 14)
    movements : sequence of Movement
        Reps in the table, one at least.
    bias_rad_s : tuple of 3 floats, rad/s
        The gyroscope's bias as the live filter knows it.

    Returns
    -------
    Learned or None
        None when the stretch shows no better than the hanging pose.
    """
    n = len(table)
    piece = Piece(
        start_s=float(table[0, TIME]),
        rate_hz=rate_of(table),
        specific_force_m_s2=np.ascontiguousarray(table[:, FORCE : FORCE + 3]),
        angular_velocity_rad_s=np.ascontiguousarray(table[:, RATE : RATE + 3]),
        missing=table[:, MISSING] > 0,
        clipped=np.zeros(n, bool),
    )
    weight = np.zeros(n)
    for m in movements:
        weight[m.bottom : m.top] = CONCENTRIC_WORTH
        weight[m.top : m.bottom_after + 1] = 1.0
    margin = round(0.5 * piece.rate_hz)
    windows = SetWindows(
        ranges=((max(movements[0].bottom - margin, 0), min(movements[-1].bottom_after + margin, n)),),
        weight=weight,
        bottoms=(tuple(m.bottom for m in movements),),
    )
    live = Orientation(
        quaternion=np.ascontiguousarray(table[:, QUATERNION : QUATERNION + 4]),
        gyroscope_bias_rad_s=np.array(bias_rad_s),
        bias_se_rad_s=0.0,
        tilt_se_rad=0.0,
        method="causal",
    )
    try:
        mounting, lever = mount_on(piece, choices, live, windows)
    except UsageError:
        # The way asked for finds no evidence yet.
        mounting, lever = mount_on(piece, replace(choices, mounting="auto"), live, windows)
    if mounting.method not in ("lever_arm", "twist", "stated"):
        return None
    offset = [0.0, 0.0, 0.0] if lever is None else lever.offset_m_s2.tolist()
    tolerance = choices.tolerance or UNKNOWN_TOLERANCE
    levelled = table.copy()
    levelled[:, FORCE : FORCE + 3] -= offset
    x, y, z = mounting.arm_axis.tolist()
    omega = table[:, RATE : RATE + 3] - np.array(bias_rad_s)
    levelled[:, ANGLE], levelled[:, ANGLE_RATE] = Elevation((x, y, z)).table(live.quaternion, omega)
    motion = motion_of(levelled, "elevation", mounting, bias_rad_s, 0.0, choices.side, tolerance)
    (body,), _ = set_bodies(motion, windows.ranges, windows.bottoms, weight, lever)
    return Learned(mounting=mounting, force_offset_m_s2=(offset[0], offset[1], offset[2]), body=body)


def learn_from_scratch(recording: Recording, choices: Choices, fewest: int = 1) -> Learned | None:
    """Settle the mounting with the offline road on the stretch at hand as if it were a recording of its own.

    Slower than `learn_mounting`, but it does not rest on what the live angle has found so far.

    Returns
    -------
    Learned or None
        None without a set in it, or with fewer than so many reps.
    """
    for piece in uniform_pieces(without_frozen(recording)[0], longest_gap_s=LONGEST_GAP_S):
        counting = count(piece, choices, [])
        if sum(map(len, counting.counted.sets)) < fewest:
            continue
        moved = moved_arm(piece, counting, [])
        if sum(map(len, moved.sets)) >= fewest:
            offset = (0.0, 0.0, 0.0) if moved.lever is None else moved.lever.offset_m_s2.tolist()
            return Learned(
                mounting=moved.motion.mounting, force_offset_m_s2=(offset[0], offset[1], offset[2])
            )
    return None


def hanging_mounting(down: tuple[float, float, float], choices: Choices) -> Mounting:
    """Mounting taken from the hanging pose."""
    method = "stated" if choices.mounting == "stated" else "hanging"
    evidence = ArmEvidence(hanging=np.array(down))
    mounting, _ = choose_mounting(evidence, method=method, hand_axis=choices.hand_axis)
    return mounting


def check_mounting(choices: Choices) -> None:
    """Refuse what cannot work before the first sample comes.

    Raises
    ------
    UsageError
    """
    if choices.mounting == "stated" and choices.hand_axis is None:
        raise UsageError("the mounting is said to be stated, but not how", "add --hand-axis, for example +x")


def turn_of(
    table: FloatArray, movement: Movement, bias_rad_s: tuple[float, float, float], coordinate: str
) -> TurnFromRest:
    """The turn a movement makes: counted from its bottom, about its axis, positive on its way to the top.

    Parameters
    ----------
    table : ndarray, shape (n, 14)
    movement : Movement
        Indices into `table`.
    bias_rad_s : tuple of 3 floats, rad/s
    coordinate : str
        ``"horizontal"`` takes the vertical where the movement turns about it, or nearly.
    """
    part = table[movement.bottom : movement.bottom_after + 1]
    omega = part[:, RATE : RATE + 3] - np.array(bias_rad_s)
    turning = rotate(np.ascontiguousarray(part[:, QUATERNION : QUATERNION + 4]), omega)
    axis, _ = dominant_axis(turning)
    if coordinate == "horizontal" and abs(float(axis[2])) >= UPRIGHT_AXIS:
        axis = np.array([0.0, 0.0, 1.0])
    if float((turning[: movement.top - movement.bottom + 1] @ axis).sum()) < 0:
        axis = -axis
    w, x, y, z = part[0, QUATERNION : QUATERNION + 4].tolist()
    return TurnFromRest((w, x, y, z), (float(axis[0]), float(axis[1]), float(axis[2])))
