"""Which movements are reps of one set, and which are walking, picking up and putting down, drinking.

A set is a run of movements that look alike: the same way up for the sensor at the top, about the same range
from about the same bottom. What stands alone beside it and looks different is handling.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.movements import (
    HYSTERESIS_SHARE_OF_SMALLEST,
    Movement,
    clusters,
    find_movements,
    half_rise_rad_s,
    refine,
    rest_between,
)

ALIKE_DIRECTION_RAD = math.radians(35)
ALIKE_RANGE = 1.7
LEAST_RANGE_OF_SET = 0.35
MOST_RANGE_OF_SET = 1.6
ALIKE_SPEED = 4.0
FULL_SET = 3
"""A group this large stands by itself; a smaller one must resemble a larger one or be all there is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """Sets as lists of movements, and how many movements were left out."""

    sets: tuple[tuple[Movement, ...], ...]
    left_out: int


def group_movements(
    angle_rad: FloatArray,
    top_feature: FloatArray,
    rate_hz: float,
    smallest_rom_rad: float,
    rest_s: float,
) -> Grouping:
    """Find the sets of one evenly sampled piece.

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
        θ of the exercise.
    top_feature : ndarray, shape (n, 3)
        Unit vectors that tell how the sensor is held (global up in sensor axes).
    rate_hz : float, Hz
    smallest_rom_rad : float, rad
    rest_s : float, s
        A rest this long ends a set.

    Returns
    -------
    Grouping
    """
    hysteresis = HYSTERESIS_SHARE_OF_SMALLEST * smallest_rom_rad
    found = find_movements(angle_rad, hysteresis, smallest_rom_rad)
    groups: list[list[Movement]] = []
    total = 0
    for cluster in clusters(angle_rad, found, rest_s, rate_hz):
        movements = refine(angle_rad, cluster, smallest_rom_rad, rate_hz)
        total += len(movements)
        while movements:
            alike, movements = _largest_alike(angle_rad, top_feature, movements, rate_hz)
            for part in clusters(angle_rad, alike, rest_s, rate_hz):
                groups.append(part)
            if len(alike) < FULL_SET:
                for movement in movements:
                    groups.append([movement])
                break
    kept = _believable(angle_rad, top_feature, groups, rate_hz)
    kept = [part for group in kept if (part := _without_false_start(angle_rad, group, rate_hz))]
    kept.sort(key=lambda group: group[0].top)
    counted = sum(len(group) for group in kept)
    return Grouping(sets=tuple(tuple(group) for group in kept), left_out=total - counted)


def _features(
    angle_rad: FloatArray, top_feature: FloatArray, movements: list[Movement], rate_hz: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    up = np.array([top_feature[m.top] for m in movements])
    rise = np.log([m.rise_rad for m in movements])
    bottom = np.array([min(angle_rad[m.bottom], angle_rad[m.bottom_after]) for m in movements])
    speed = np.log([max(half_rise_rad_s(angle_rad, m, rate_hz), 1e-3) for m in movements])
    return up, rise, bottom, speed


def _largest_alike(
    angle_rad: FloatArray, top_feature: FloatArray, movements: list[Movement], rate_hz: float
) -> tuple[list[Movement], list[Movement]]:
    """Split into the largest group of look-alikes and the rest."""
    up, rise, bottom, speed = _features(angle_rad, top_feature, movements, rate_hz)
    turned = np.arccos(np.clip(up @ up.T, -1, 1))
    larger = rise[:, None] - rise[None, :]
    raised = bottom[:, None] - bottom[None, :]
    faster = np.abs(speed[:, None] - speed[None, :])
    span = np.exp(rise)
    alike = (
        (turned < ALIKE_DIRECTION_RAD)
        & (np.abs(larger) < math.log(ALIKE_RANGE))
        & (np.abs(raised) < 0.5 * span[None, :])
        & (faster < math.log(ALIKE_SPEED))
    )
    centre = int(np.argmax(alike.sum(axis=0)))
    # Beside the centre, partial reps of the same kind belong to the set as well.
    ratio = np.exp(larger[:, centre])
    # A partial rep has turned the sensor less far: its top lies on the way to the others' top.
    belongs = (
        ((turned[:, centre] < ALIKE_DIRECTION_RAD) | (_on_the_way(up, ratio, turned[:, centre])))
        & (ratio > LEAST_RANGE_OF_SET)
        & (ratio < MOST_RANGE_OF_SET)
        & (np.abs(raised[:, centre]) < 0.5 * span[centre])
        & (faster[:, centre] < math.log(2 * ALIKE_SPEED))
    )
    belongs |= alike[:, centre]
    kept = [m for m, keep in zip(movements, belongs, strict=True) if keep]
    rest = [m for m, keep in zip(movements, belongs, strict=True) if not keep]
    return kept, rest


def _on_the_way(up: FloatArray, ratio: FloatArray, turned: FloatArray) -> np.ndarray:
    missing = np.maximum(1 - ratio, 0.0) * math.radians(100)
    return turned < ALIKE_DIRECTION_RAD + missing


def _believable(
    angle_rad: FloatArray, top_feature: FloatArray, groups: list[list[Movement]], rate_hz: float
) -> list[list[Movement]]:
    """Drop small groups that resemble nothing larger; join small ones that do with a set beside them."""
    full = [group for group in groups if len(group) >= FULL_SET]
    small = [group for group in groups if len(group) < FULL_SET]
    if not full:
        if not small:
            return []
        longest = max(len(group) for group in small)
        if longest == 1 and len(small) > 1:
            # Several single movements that do not look alike are handling, not sets.
            return []
        return [group for group in small if len(group) == longest]
    kept = list(full)
    for group in small:
        for model in full:
            pair = [*model, *group]
            alike, _ = _largest_alike(angle_rad, top_feature, pair, rate_hz)
            if len(alike) == len(pair) and rest_between(angle_rad, *_in_order(model[-1], group[0])) > 0:
                kept.append(group)
                break
    return kept


def _without_false_start(angle_rad: FloatArray, group: list[Movement], rate_hz: float) -> list[Movement]:
    """A recording may start in the middle of a rep, but lowering the arm into position is none.

    The first movement, begun before the recording, counts only when it comes down about as far as the others
    go up and the next rep follows as promptly as they follow each other.
    """
    if not group[0].is_begun:
        return group
    others = group[1:]
    if len(others) < FULL_SET:
        return others
    typical = float(np.median([m.rise_rad for m in others]))
    pauses = [rest_between(angle_rad, a, b) for a, b in zip(others, others[1:], strict=False)]
    prompt = max(2 * float(np.median(pauses)), rate_hz)
    lowered = float(angle_rad[group[0].top] - angle_rad[group[0].bottom_after])
    held_s = group[0].top / rate_hz
    longest = max((m.bottom_after - m.bottom) / rate_hz for m in others)
    is_rep = lowered > 0.5 * typical and rest_between(angle_rad, group[0], others[0]) <= prompt
    return group if is_rep and held_s < longest else others


def _in_order(one: Movement, other: Movement) -> tuple[Movement, Movement]:
    return (one, other) if one.top <= other.top else (other, one)
