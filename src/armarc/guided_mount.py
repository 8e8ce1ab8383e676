"""The guided move: stand still, twist the forearm, raise to the front. It shows how the sensor sits on the arm.

The twist gives the forearm's long axis. The front raise turns the arm about the left–right axis of the body, toward
the right; in sensor axes, that axis × the arm is where the thumb points when it points forward, on either arm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import InputError
from armarc.motion import Mounting, Twist, elevation, find_twist, fuse, up_in_sensor
from armarc.motion.mounting import FACING_SE_RAD, STRAPS, sensor_axis, thumb_axis
from armarc.motion.quaternions import rotate, rotate_back
from armarc.recording import FloatArray, Piece, Recording, uniform_pieces
from armarc.sensor.bench.still import HANGING_ARM, still_stretches
from armarc.sensor.calibration.store import StoredMount, identity

LEAST_RAISE_RAD = math.radians(50)
HANGING_BELOW_RAD = math.radians(35)
MOST_TWIST_SE_RAD = math.radians(6)
MOST_HAND_TURN_RAD = math.radians(40)
"""The forearm may turn this much about itself while it is raised."""
LEAST_HINGE = 0.9
"""Share of the raise's squared rate about one axis."""
STILL_S = 1.0
RESTRAP_AXIS_SE_RAD = math.radians(4)
RESTRAP_ROLL_SE_RAD = math.radians(10)
"""What taking the strap off and on again changes (own judgement, no source)."""
WORN_OTHERWISE_RAD = math.radians(25)
MOST_CONFLICT_RAD = math.radians(45)
"""Halfway to the next place a strap can sit at; strap roll and a thumb not quite forward stay well below."""
SURELY_OUTWARD = math.cos(math.radians(45))


@dataclass(frozen=True, slots=True, kw_only=True)
class GuidedMount:
    """What the guided move showed.

    Parameters
    ----------
    arm_axis, thumb_axis : ndarray, shape (3,)
        Unit vectors in sensor axes, shoulder → hand and toward the thumb.
    arm_se_rad, thumb_se_rad : float, rad
    raise_rad : float, rad
        How far the front raise went.
    hand_turn_rad : float, rad
        How far the forearm turned about itself meanwhile.
    times_s : tuple of float
        Start and end of the twist, start and top of the raise.
    notes : tuple of str
    """

    arm_axis: FloatArray
    thumb_axis: FloatArray
    arm_se_rad: float
    thumb_se_rad: float
    raise_rad: float
    hand_turn_rad: float
    times_s: tuple[float, float, float, float]
    notes: tuple[str, ...] = ()


def find_guided_mount(recording: Recording) -> GuidedMount:
    """Find the guided move in a recording and read the mounting off it.

    Parameters
    ----------
    recording : Recording
        Begins with the move; what comes after the front raise is not looked at.

    Raises
    ------
    InputError
        No twist, no front raise, or one that shows too little; the message says which and what to do.
    """
    pieces = uniform_pieces(recording)
    if not pieces:
        raise InputError("the recording has no second of samples in a row", file=recording.source.file)
    reasons: list[InputError] = []
    for piece in pieces:
        try:
            return _in_piece(piece)
        except InputError as error:
            reasons.append(error)
    first = reasons[0]
    raise InputError(first.message, first.hint, file=recording.source.file)


def _in_piece(piece: Piece) -> GuidedMount:
    orientation = fuse(
        piece.angular_velocity_rad_s, piece.specific_force_m_s2, piece.rate_hz, missing=piece.missing,
        sampling="instants",
    )  # fmt: skip
    omega = piece.angular_velocity_rad_s - orientation.gyroscope_bias_rad_s
    up = up_in_sensor(orientation.quaternion)
    twist = find_twist(omega, orientation.quaternion, piece.rate_hz)
    if twist is None:
        raise InputError(
            "no twist of the hanging forearm was found",
            "let the arm hang and turn it palm in, palm out, twice, at an easy pace (armarc sensor mount --guide)",
        )
    if twist.uncertainty_rad > MOST_TWIST_SE_RAD:
        raise InputError(
            f"the twist shows the forearm only to ±{math.degrees(twist.uncertainty_rad):.0f}°",
            "keep the elbow straight and the arm hanging while you turn it",
        )
    notes = []
    still = still_stretches(piece, shortest_s=STILL_S, limits=HANGING_ARM)
    if not any(first < twist.first_sample for first, _ in still):
        notes.append("there is no still second before the twist: begin by standing still for three")
    start, top = _front_raise(elevation(up, twist.arm_axis), twist, piece)
    return _read_off(piece, orientation.quaternion, omega, twist, (start, top), notes)


def _front_raise(theta: FloatArray, twist: Twist, piece: Piece) -> tuple[int, int]:
    """First sample and top of the first raise: after the twist, or else before it."""
    for first, stop in ((twist.stop_sample, len(theta)), (0, twist.first_sample)):
        part = theta[first:stop]
        high = np.flatnonzero(part > LEAST_RAISE_RAD)
        if len(high) == 0:
            continue
        low_after = np.flatnonzero(part[high[0] :] < HANGING_BELOW_RAD)
        end = high[0] + (int(low_after[0]) if len(low_after) else len(part) - high[0])
        top = int(part[:end].argmax())
        before = part[:top]
        window = max(0, top - round(5 * piece.rate_hz))
        bottom = float(before[window:].min()) if len(before) else math.pi
        if bottom > HANGING_BELOW_RAD:
            continue
        start = int(np.flatnonzero(before <= bottom + math.radians(5))[-1])
        if piece.missing[first + start : first + top].mean() > 0.05:
            raise InputError(
                "samples are missing from the front raise", "record it again, closer to the receiver"
            )
        return first + start, first + top
    raise InputError(
        f"no raise of {math.degrees(LEAST_RAISE_RAD):.0f}° or more from a hanging arm was found beside the twist",
        "after the twist let the arm hang for two seconds, then raise it slowly straight to the front, thumb up",
    )


def _read_off(
    piece: Piece,
    quaternion: FloatArray,
    omega: FloatArray,
    twist: Twist,
    raised: tuple[int, int],
    notes: list[str],
) -> GuidedMount:
    start, top = raised
    arm = twist.arm_axis
    turning = omega[start:top]
    about_arm = float((turning @ arm).sum()) / piece.rate_hz
    if abs(about_arm) > MOST_HAND_TURN_RAD:
        raise InputError(
            f"the hand turned by {math.degrees(abs(about_arm)):.0f}° during the front raise",
            "keep the thumb forward while hanging and up at the top, without turning the forearm",
        )
    hinge = _hinge_in_space(quaternion[start:top], turning)
    # The hand may turn a little on the way: halfway between what bottom and top show.
    views = [np.cross(rotate_back(quaternion[k][None], hinge[None])[0], arm) for k in (start, top)]
    thumb = views[0] / np.linalg.norm(views[0]) + views[1] / np.linalg.norm(views[1])
    thumb -= (thumb @ arm) * arm
    thumb /= np.linalg.norm(thumb)
    theta = elevation(up_in_sensor(quaternion[[start, top]]), arm)
    times = (twist.first_sample, twist.stop_sample, start, top)
    return GuidedMount(
        arm_axis=arm,
        thumb_axis=np.asarray(thumb),
        arm_se_rad=twist.uncertainty_rad,
        thumb_se_rad=math.sqrt(FACING_SE_RAD**2 + (about_arm / 2) ** 2 + twist.uncertainty_rad**2),
        raise_rad=float(theta[1] - theta[0]),
        hand_turn_rad=about_arm,
        times_s=tuple(piece.start_s + k / piece.rate_hz for k in times),  # type: ignore[arg-type]
        notes=tuple(notes),
    )


def _hinge_in_space(quaternion: FloatArray, turning: FloatArray) -> FloatArray:
    """The level axis the arm is raised about, global frame, so that raising turns positively about it."""
    rate = rotate(quaternion, turning)
    values, vectors = np.linalg.eigh(rate.T @ rate)
    share = float(values[2] / values.sum())
    axis = vectors[:, 2] * math.copysign(1.0, float(rate.sum(axis=0) @ vectors[:, 2]))
    if share < LEAST_HINGE or abs(float(axis[2])) > math.sin(math.radians(25)):
        raise InputError(
            f"the front raise does not turn about one level axis ({100 * share:.0f} % of it does)",
            "raise the straight arm slowly and straight to the front",
        )
    level = np.array([axis[0], axis[1], 0.0])
    return np.asarray(level / np.linalg.norm(level))


def refuse_conflict(
    found: GuidedMount, *, side: str, strap: str | None = None, hand_axis: str | None = None, file: str = ""
) -> None:
    """Hold what the guided move showed against what was stated about how the sensor is worn.

    A raise to the side, taken for the one to the front, shows the thumb a quarter turn off; the wrong arm shows it
    on the opposite side. Neither can be told from the move alone.

    Parameters
    ----------
    found : GuidedMount
    side, strap, hand_axis : str or None
        As stated; what was not stated is not checked.

    Raises
    ------
    InputError
        They differ by more than 45°; the message says by how much and what that looks like.
    """
    if hand_axis is not None:
        apart = _apart(found.arm_axis, sensor_axis(hand_axis))
        if apart > MOST_CONFLICT_RAD:
            raise InputError(
                f"the twist shows the hand {math.degrees(apart):.0f}° from the stated hand axis {hand_axis}",
                f"{_axis_words(found.arm_axis)} points to the hand: state that with --hand-axis, or let the arm hang "
                "straight down while you twist",
                file=file,
            )
    stated = None if strap is None else _stated_thumb(found.arm_axis, strap, side)
    if stated is None:
        return
    apart = _apart(found.thumb_axis, stated)
    if apart <= MOST_CONFLICT_RAD:
        return
    if apart > math.pi - MOST_CONFLICT_RAD:
        like = f"as on the other arm than the {side} one, or with the strap on the opposite place"
    else:
        like = "as when the arm was raised to the side, or the strap sits elsewhere"
    raise InputError(
        f"the front raise shows the thumb {math.degrees(apart):.0f}° from where a strap on the {_PLACES[strap or '']} "
        f"of the {side} wrist has it, {like}",
        "raise straight to the front; check --side and --strap (armarc sensor mount --guide)",
        file=file,
    )


_PLACES = {
    "back": "back",
    "inside": "inside",
    "thumb": "thumb side",
    "little-finger": "little-finger side",
}


def thumb_words(found: GuidedMount, side: str) -> str:
    """Where the thumb was found, so that whoever wears the sensor can see whether that is so."""
    words = f"{_axis_words(found.thumb_axis)} points to the thumb"
    places = {place: _stated_thumb(found.arm_axis, place, side) for place in STRAPS}
    off = {place: _apart(found.thumb_axis, axis) for place, axis in places.items() if axis is not None}
    if not off:
        return words
    place = min(off, key=lambda one: off[one])
    return (
        f"{words}: so a sensor with its z axis away from the skin sits on the {_PLACES[place]} of the {side} wrist "
        f"({math.degrees(off[place]):.0f}° off)"
    )


def _stated_thumb(arm: FloatArray, strap: str, side: str) -> FloatArray | None:
    """Thumb of a stated place, for a flat sensor whose z axis points away from the skin; None where it cannot."""
    outward = sensor_axis("+z")
    if abs(float(outward @ arm)) > SURELY_OUTWARD:
        return None
    return thumb_axis(arm, outward, strap, side)


def _axis_words(direction: FloatArray) -> str:
    k = int(np.abs(direction).argmax())
    off = math.degrees(math.acos(min(1.0, abs(float(direction[k])))))
    axis = f"{'+' if direction[k] > 0 else '-'}{'xyz'[k]}"
    return f"the sensor's {axis} axis" if off < 15 else f"about the sensor's {axis} axis ({off:.0f}° off)"


def _apart(a: FloatArray, b: FloatArray) -> float:
    return math.acos(max(-1.0, min(1.0, float(a @ b))))


def keep_as(found: GuidedMount, recording: Recording, *, sensor: str, side: str, made_at: str) -> StoredMount:
    """What to keep of a guided move."""
    who = identity(recording.metadata)
    return StoredMount(
        sensor=sensor,
        serial=who["serial"],
        address=who["address"],
        side=side,
        made_at=made_at,
        file=recording.source.file,
        arm_axis=found.arm_axis,
        thumb_axis=found.thumb_axis,
        arm_se_rad=found.arm_se_rad,
        thumb_se_rad=found.thumb_se_rad,
    )


def with_stored_mount(mounting: Mounting, stored: StoredMount | None) -> tuple[Mounting, tuple[str, ...]]:
    """Complete a mounting that was worked out from a recording with the one kept for its sensor and side.

    The arm's direction found in the recording stays unless it came from the hanging pose or from nothing, as the
    strap never sits quite the same; the thumb's direction is added, turned with the arm's.

    Parameters
    ----------
    mounting : Mounting
    stored : StoredMount or None
        None gives the mounting back as it is.

    Returns
    -------
    Mounting, notes
        Unchanged, with a note, where both disagree by more than 25° and the recording's own is sound: the strap is
        worn otherwise than it was. ``method`` becomes ``"stored"`` where the arm's direction was taken over.
    """
    if stored is None:
        return mounting, ()
    weak = mounting.method in ("hanging", "stated")
    apart = _apart(mounting.arm_axis, stored.arm_axis)
    if apart > WORN_OTHERWISE_RAD:
        return mounting, (
            f"the sensor is worn otherwise than when its mount was recorded ({math.degrees(apart):.0f}° apart): that "
            "was not used; record it again with armarc sensor mount",
        )
    arm, notes = mounting.arm_axis, []
    if weak:
        arm = stored.arm_axis
        se = math.hypot(stored.arm_se_rad, RESTRAP_AXIS_SE_RAD)
        mounting = replace(
            mounting,
            method="stored",
            arm_axis=arm,
            uncertainty_rad=se,
            axis_covariance_rad2=(np.eye(3) - np.outer(arm, arm)) * se**2,
        )
        notes.append(f"the arm's direction was taken from the mount recorded at {stored.made_at}")
    if mounting.thumb_axis is None:
        thumb = _turned_along(stored.thumb_axis, stored.arm_axis, arm)
        roll = math.hypot(stored.thumb_se_rad, RESTRAP_ROLL_SE_RAD)
        mounting = replace(mounting, thumb_axis=thumb, thumb_se_rad=roll)
        notes.append(
            f"the thumb's direction was taken from the mount recorded at {stored.made_at} "
            f"(±{math.degrees(roll):.0f}° with a strap put on again)"
        )
    return mounting, tuple(notes)


def _turned_along(thumb: FloatArray, old_arm: FloatArray, new_arm: FloatArray) -> FloatArray:
    """Turn the thumb by the shortest rotation that takes the old arm's direction to the new one."""
    cross, cosine = np.cross(old_arm, new_arm), float(old_arm @ new_arm)
    turned = thumb + np.cross(cross, thumb) + np.cross(cross, np.cross(cross, thumb)) / (1 + cosine)
    turned -= (turned @ new_arm) * new_arm
    return np.asarray(turned / np.linalg.norm(turned))
