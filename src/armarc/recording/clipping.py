"""Samples that sit at the end of the sensor's range."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from armarc.recording.types import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray, Metadata

ACCELEROMETER_RANGES_M_S2 = tuple(STANDARD_GRAVITY_M_S2 * g for g in (2.0, 4.0, 8.0, 16.0, 30.0, 32.0, 64.0))
GYROSCOPE_RANGES_RAD_S = tuple(math.radians(d) for d in (125.0, 245.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0))
_SMALLEST_CLIP_M_S2 = 18.0
_SMALLEST_CLIP_RAD_S = 2.0
_FLAT_RUN = 3
_RANGE_TOLERANCE = 0.002
_FACE_SAMPLES = 6
"""Three samples fix a plane; with so many on it, it is no chance."""
_FACE_BAND = 0.2
_FACE_SLOPE = 0.15
"""Working limit: sensors are calibrated and mounted within some 9° of the axes they name."""
_FACE_TOLERANCE = 1e-4
_ENTRY_STEPS = 6.0
_FACE_TRIALS, _PLANES_AT_ONCE = 150, 10
_PROBED = 5_000
_EPSILON = float(np.finfo(float).eps)


def find_clipped(
    force: FloatArray, rotation: FloatArray, metadata: Metadata
) -> tuple[BoolArray, tuple[str, ...]]:
    """Which samples of a recording sit at the end of its sensor's range, and what there is to say of it.

    Parameters
    ----------
    force, rotation : ndarray, shape (n, 3), m/s², rad/s
    metadata : Metadata
        May state the ranges.

    Returns
    -------
    (ndarray of bool, shape (n,); tuple of str)
    """
    clipped = clipped_samples(
        force, ACCELEROMETER_RANGES_M_S2, _SMALLEST_CLIP_M_S2, metadata.accelerometer_range_m_s2
    ) | clipped_samples(
        rotation, GYROSCOPE_RANGES_RAD_S, _SMALLEST_CLIP_RAD_S, metadata.gyroscope_range_rad_s
    )
    count = int(clipped.sum())
    said = f"{count} sample(s) sit at the end of the sensor's range; set a larger range on it"
    return clipped, (said,) if count else ()


def clipped_samples(
    values: FloatArray, ranges: tuple[float, ...], smallest_extreme: float, stated_range: float | None = None
) -> BoolArray:
    """Flag samples at the end of the range.

    A sample counts as clipped when it reaches the stated range; when the largest value of all axes is, within
    0.2 %, one of the usual ranges and is reached more than once; when an axis stays for three samples or
    more exactly at its own extreme; or when samples stay on a face of a calibrated sensor's range.

    Parameters
    ----------
    values : ndarray, shape (n, 3)
    ranges : tuple of float
        Usual full-scale values, same unit.
    smallest_extreme : float
        Flat extremes below this are a sensor at rest, not one at the end of its range.
    stated_range : float or None
        Full scale from the recording's metadata.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    flags = np.zeros(len(values), bool)
    if not len(values):
        return flags
    # Column by column: whatever goes along the long axis of (n, 3) rows is several times slower.
    columns = np.ascontiguousarray(values.T)
    high = [float(column.max()) for column in columns]
    low = [float(column.min()) for column in columns]
    peak = max(*high, *(-x for x in low))
    if stated_range and peak >= stated_range * (1 - _RANGE_TOLERANCE):
        flags |= (np.abs(columns) >= stated_range * (1 - _RANGE_TOLERANCE)).any(axis=0)
    elif any(abs(peak / full - 1.0) <= _RANGE_TOLERANCE for full in ranges):
        height = np.abs(columns).max(axis=0)
        at_end = height >= peak * (1 - 1e-4)
        if at_end.sum() > 1 and _in_full_motion(at_end, peak - height, 1e-4 * peak):
            flags |= at_end
    for axis, column in enumerate(columns):
        finest: float | None = None
        for sign, extreme in ((1.0, high[axis]), (-1.0, -low[axis])):
            if extreme < smallest_extreme:
                continue
            edge = (1.0 - _FACE_BAND) * extreme
            near = np.flatnonzero(column >= edge if sign > 0 else column <= -edge)
            if len(near) < _FLAT_RUN:
                continue
            if finest is None:
                finest = _finest_step(column[:_PROBED])
            if int((sign * column[near] == extreme).sum()) >= _FLAT_RUN:
                at_end = _long_runs(sign * column == extreme)
                if at_end.any() and _in_full_motion(at_end, extreme - sign * column, finest):
                    flags |= at_end
                    continue
            if len(near) >= _FACE_SAMPLES:
                within = max(_FACE_TOLERANCE * extreme, 1.5 * finest)
                face = _on_face(columns, axis, sign, near, within)
                flags = flags if face is None else flags | face
    return flags


def _finest_step(column: FloatArray) -> float:
    """Smallest difference between two readings, rounding of the arithmetic left out."""
    steps = np.diff(np.sort(column))
    return float(steps[steps > 1e-9 * float(np.abs(column).max())].min(initial=math.inf))


def _on_face(
    columns: FloatArray, axis: int, sign: float, near: NDArray[np.intp], within: float
) -> BoolArray | None:
    """Samples on a face that bounds the readings near one end of an axis, where the samples `near` lie.

    Calibrating takes raw readings to ``M (raw − offset)``: scaled, shifted and sheared by a few per cent. A raw axis
    that stands at its limit then leaves readings that vary with the other two axes, but lie on one plane, without
    noise and with nothing beyond it. A movement that merely turns round near its extreme slows down before; one that
    runs into the limit enters the plane in full motion.
    """
    one, other = (columns[i] for i in range(3) if i != axis)
    ground = np.column_stack([np.ones(len(near)), one[near], other[near]])
    slopes = _face(ground, sign * columns[axis, near], near, within)
    if slopes is None:
        return None
    inside = slopes[0] + slopes[1] * one + slopes[2] * other - sign * columns[axis]
    on_face = _long_runs(inside <= within)
    if int(on_face.sum()) < _FACE_SAMPLES:
        return None
    return on_face if _in_full_motion(on_face, inside, within) else None


def _in_full_motion(at_end: BoolArray, below: FloatArray, finest: float) -> bool:
    """Whether the samples next to those at the end lie well below it: what turns round by itself slows down first."""
    outside = below[np.flatnonzero(~at_end[1:-1] & (at_end[:-2] | at_end[2:])) + 1]
    return not len(outside) or float(np.median(outside)) > _ENTRY_STEPS * finest


def _face(ground: FloatArray, top: FloatArray, places: NDArray[np.intp], within: float) -> FloatArray | None:
    """The plane that holds most samples with none above it: offset and slopes along the other two axes.

    Tried through two neighbours in time and a third sample each, since clipped samples come in runs.
    """
    pairs = np.flatnonzero(np.diff(places) == 1)
    if not len(pairs):
        return None
    rng = np.random.default_rng(0)
    first = pairs[rng.integers(len(pairs), size=_FACE_TRIALS)]
    third = rng.integers(len(places), size=_FACE_TRIALS)
    corners = ground[np.stack([first, first + 1, third], axis=1)]
    sound = np.abs(np.linalg.det(corners)) > 1e-9 * max(float(np.abs(ground).max()), 1.0) ** 2
    if not sound.any():
        return None
    rights = top[np.stack([first, first + 1, third], axis=1)][sound]
    planes = np.linalg.solve(corners[sound], rights[..., None])[..., 0]
    planes = planes[(np.abs(planes[:, 1:]) <= _FACE_SLOPE).all(axis=1)]
    best: tuple[int, FloatArray] | None = None
    for plane in _held_by_more(planes, ground, top, within):
        for _ in range(3):
            inside = ground @ plane - top
            held = np.abs(inside) <= within
            if int(held.sum()) < 4:
                break
            plane = np.linalg.lstsq(ground[held], top[held], rcond=_EPSILON * int(held.sum()))[0]
        inside = ground @ plane - top
        held = np.abs(inside) <= within
        if float(inside.min()) >= -within and (best is None or int(held.sum()) > best[0]):
            best = int(held.sum()), plane
    return None if best is None or best[0] < _FACE_SAMPLES else best[1]


def _held_by_more(planes: FloatArray, ground: FloatArray, top: FloatArray, within: float) -> Iterator[Any]:
    """The planes with more samples on them than the three that each was laid through, which few have."""
    for some in (planes[at : at + _PLANES_AT_ONCE] for at in range(0, len(planes), _PLANES_AT_ONCE)):
        held = np.abs(ground @ some.T - top[:, None]) <= within
        yield from some[held.sum(axis=0) > 3]


def _long_runs(mask: BoolArray) -> BoolArray:
    """Keep the runs of at least three True."""
    places = np.flatnonzero(mask)
    out = np.zeros(len(mask), bool)
    if len(places) < _FLAT_RUN:
        return out
    starts = np.flatnonzero(np.diff(places, prepend=-2) > 1)
    lengths = np.diff(np.append(starts, len(places)))
    keep = np.repeat(lengths >= _FLAT_RUN, lengths)
    out[places[keep]] = True
    return out
