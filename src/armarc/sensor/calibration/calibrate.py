"""From recordings of a sensor on a table to its calibration."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from armarc.errors import InputError, UsageError
from armarc.recording import Recording
from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.bench.stream import told_temperatures_c
from armarc.sensor.calibration.poses import (
    SHORTEST_REST_S,
    Move,
    Rest,
    drift_rad_s,
    gravity_at_rest,
    rests_and_moves,
    short_rests,
)
from armarc.sensor.calibration.sphere import LEAST_POSES, MOST_SCALE, distinct_poses, fit_accelerometer
from armarc.sensor.calibration.store import identity, merged
from armarc.sensor.calibration.turns import (
    TurnsFound,
    WrongColumns,
    best_factor,
    fit_gyroscope,
    usable_turns,
)
from armarc.sensor.calibration.types import MARK, AccelerometerCalibration, Calibration, GyroscopeCalibration

NEAR: Final = 0.03
"""What a part's own tolerance adds to the factor."""

_BOTH: Final = (
    (2.0, "the range is twice what was assumed"),
    (0.5, "the range is half what was assumed"),
    (4.0, "the range is four times what was assumed"),
    (0.25, "the range is a quarter of what was assumed"),
)
ACCELEROMETER_FACTORS: Final = (
    *_BOTH,
    (1.4992, "0.732 mg in a count (from memory of datasheets), where ±16 g over 32768 was assumed"),
)
GYROSCOPE_FACTORS: Final = (
    *_BOTH,
    (
        1.14688,
        "35 mdps in a count at ±1000 °/s (from memory of datasheets: 8.75, 17.5, 70 at ±250, ±500, ±2000), where "
        "the range over 32768 was assumed",
    ),
    (1 / 1.14688, "range over 32768 in a count, where 35 mdps at ±1000 °/s was assumed"),
)


def known_factor(ratio: float, factors: tuple[tuple[float, str], ...]) -> str:
    """What a scale that must be multiplied by `ratio` probably is; empty for no factor that is known."""
    near = [(abs(ratio / factor - 1), words) for factor, words in factors]
    off, words = min(near)
    return words if off <= NEAR else ""


def with_factor(error: InputError, ratio: float, factors: tuple[tuple[float, str], ...]) -> InputError:
    """The same error, with what the factor probably is in front of its hint."""
    words = known_factor(ratio, factors)
    if not words:
        return error
    hint = (
        f"readings times {ratio:.3g} would fit, probably {words}: correct the scale where the data come from"
    )
    return InputError(error.message, f"{hint}; otherwise {error.hint}" if error.hint else hint)


MEANT_POSES = 3
"""Turns flat on a table have one pose, or two; whoever lays it on three sides wants the accelerometer."""
MOST_WARMING_K = 2.0
MOST_DRIFT_RAD_S = math.radians(0.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRun:
    """A calibration and what it could not do.

    ``refused`` maps ``accelerometer`` and ``gyroscope`` to the reason that half was left out; ``failed`` names those
    of them that the recordings were meant to give; ``notes`` say which turns were not used and why.
    """

    calibration: Calibration
    refused: dict[str, str]
    failed: tuple[str, ...]
    notes: tuple[str, ...]
    rests: int
    moves: int


def calibrate(
    recordings: Sequence[Recording],
    *,
    sensor: str,
    made_at: str,
    turn_rad: float | None = None,
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2,
    known: Calibration | None = None,
) -> CalibrationRun:
    """Calibrate accelerometer and gyroscope from rests in many poses and the turns between them.

    Parameters
    ----------
    recordings : sequence of Recording
        Of one sensor.
    sensor : str
        Name the calibration is kept under.
    made_at : str
        Date and time, ISO 8601.
    turn_rad : float or None, rad
        Angle of the turns made flat on the table.
    gravity_m_s2 : float, m/s²
        Local gravity.
    known : Calibration or None
        The sensor's calibration so far: its accelerometer half serves where the recordings give none, and an axis of
        the gyroscope that was not turned keeps its scale.

    Returns
    -------
    CalibrationRun
        Its `calibration` is whole: halves the recordings do not give are taken from `known`.

    Raises
    ------
    InputError
        Neither half can be calibrated; the message gives both reasons. Or gyroscope and accelerometer contradict each
        other. Or the recordings are of different sensors,
        or corrected already.
    UsageError
        No recording, an absurd gravity or turn.
    """
    if not recordings:
        raise UsageError("there is no recording to calibrate from")
    if not 9.7 <= gravity_m_s2 <= 9.9:
        raise UsageError(
            f"gravity of {gravity_m_s2} m/s² is found nowhere on Earth", "it lies from 9.76 to 9.84 m/s²"
        )
    if turn_rad is not None and not np.radians(30) <= turn_rad <= np.radians(3600):
        raise UsageError("a stated turn must lie between 30° and 3600°", "for example --turn 360")
    who = _one_sensor(recordings)
    rests: list[Rest] = []
    moves: list[Move] = []
    for recording in recordings:
        still, between = rests_and_moves(recording)
        rests.extend(still)
        moves.extend(between)
    refused: dict[str, str] = {}
    accelerometer: AccelerometerCalibration | None = None
    gyroscope: GyroscopeCalibration | None = None
    hints: list[str] = []
    try:
        accelerometer = fit_accelerometer(tuple(rests), gravity_m_s2=gravity_m_s2)
    except InputError as error:
        said = _why_no_sphere(error, recordings, rests)
        refused["accelerometer"] = said.message
        hints.append(said.hint)
    level = accelerometer or (None if known is None else known.accelerometer)
    turns = usable_turns(tuple(moves), level, stated_rad=turn_rad)
    try:
        gyroscope = fit_gyroscope(turns, tuple(rests), levelled=level is not None)
    except InputError as error:
        said = with_factor(error, best_factor(turns.turns), GYROSCOPE_FACTORS)
        if isinstance(error, WrongColumns):
            raise InputError(said.message, said.hint, file=recordings[0].source.file) from error
        refused["gyroscope"] = said.message
        hints.append(said.hint)
    if accelerometer is None and gyroscope is None:
        raise InputError(
            f"nothing was calibrated. Accelerometer: {refused['accelerometer']}. Gyroscope: {refused['gyroscope']}",
            "; ".join(dict.fromkeys(hint for hint in hints if hint)),
            file=recordings[0].source.file if len(recordings) == 1 else "",
        )
    new = Calibration(
        sensor=sensor,
        serial=who["serial"],
        address=who["address"],
        made_at=made_at,
        files=tuple(recording.source.file for recording in recordings),
        temperature_c=_temperature(recordings),
        accelerometer=accelerometer,
        gyroscope=gyroscope,
    )
    return CalibrationRun(
        calibration=merged(new, known),
        refused={
            half: f"{why} ({hint})" if hint else why
            for (half, why), hint in zip(refused.items(), hints, strict=True)
        },
        failed=tuple(half for half in refused if half in _meant(rests, turns)),
        notes=(
            *_warming(recordings, rests),
            *_not_turned(gyroscope),
            *turns.reasons(),
            *_outliers(len(rests), accelerometer, len(turns.turns), gyroscope),
        ),
        rests=len(rests),
        moves=len(moves),
    )


def _meant(rests: list[Rest], turns: TurnsFound) -> set[str]:
    """Halves the recordings were meant to give, to judge by what was done in them."""
    meant = set()
    readings = np.array([rest.specific_force_m_s2 for rest in rests]).reshape(-1, 3)
    if distinct_poses(readings) >= MEANT_POSES:
        meant.add("accelerometer")
    if turns.turns or turns.left_out:
        meant.add("gyroscope")
    return meant


def _why_no_sphere(error: InputError, recordings: Sequence[Recording], rests: list[Rest]) -> InputError:
    """The same error in the words of its cause: a scale far off, or rests that were too short to count."""
    ratios = [ratio for ratio in map(gravity_at_rest, recordings) if ratio]
    if ratios and abs(1 / ratios[0] - 1) > MOST_SCALE:
        wrong = InputError(
            f"gravity reads {ratios[0]:.2f} times what it is",
            "check the units, and the range or sensitivity of the sensor",
        )
        return with_factor(wrong, 1 / ratios[0], ACCELEROMETER_FACTORS)
    short = sum(map(short_rests, recordings))
    poses = distinct_poses(np.array([rest.specific_force_m_s2 for rest in rests]).reshape(-1, 3))
    if poses < LEAST_POSES and short >= max(len(rests), 3):
        return InputError(
            f"the rests are too short: {short} of {short + len(rests)} last less than {SHORTEST_REST_S:g} s",
            "let go of the sensor for two seconds in every pose",
        )
    return error


def _warming(recordings: Sequence[Recording], rests: list[Rest]) -> tuple[str, ...]:
    """Whether the sensor warmed up meanwhile: offsets and bias of a moving temperature are of no later use."""
    advice = "warm the sensor up first: leave it switched on for ten minutes, then calibrate again"
    known = [
        one.temperature_c[np.isfinite(one.temperature_c)]
        for one in recordings
        if one.temperature_c is not None
    ]
    known += [np.array(told) for told in map(told_temperatures_c, recordings) if told]
    moved_k = max((float(np.ptp(one)) for one in known if len(one)), default=0.0)
    if moved_k > MOST_WARMING_K:
        return (f"its temperature moved by {moved_k:.1f} K: {advice}",)
    drift = drift_rad_s(tuple(rests))
    if drift > MOST_DRIFT_RAD_S:
        return (f"the gyroscope's zero drifted by {math.degrees(drift):.2f} °/s: {advice}",)
    return ()


def _not_turned(gyroscope: GyroscopeCalibration | None) -> tuple[str, ...]:
    missing = [] if gyroscope is None else [name for name in "xyz" if name not in gyroscope.turned_axes]
    if gyroscope is None or not missing:
        return ()
    worst = 100 * float(gyroscope.scale_se.max())
    return (
        f"gyroscope axis {', '.join(missing)} was not turned: its scale stays as delivered, ±{worst:.1f} %; make four "
        "quarter turns about it while it lies level (--guide)",
    )


def _outliers(
    rests: int,
    accelerometer: AccelerometerCalibration | None,
    turns: int,
    gyroscope: GyroscopeCalibration | None,
) -> tuple[str, ...]:
    off = 0 if accelerometer is None else rests - accelerometer.rests
    odd = 0 if gyroscope is None else turns - gyroscope.turns
    said = []
    if off:
        said.append(
            f"{off} rest{'s' if off > 1 else ''} left out: gravity does not fit the others (held by a hand?)"
        )
    if odd:
        said.append(f"{odd} turn{'s' if odd > 1 else ''} left out: the angle does not fit the others")
    return tuple(said)


def _one_sensor(recordings: Sequence[Recording]) -> dict[str, str]:
    for recording in recordings:
        if MARK in recording.metadata.other:
            raise InputError(
                "is corrected already: a calibration needs readings as the sensor delivers them",
                "use the recording as it was made",
                file=recording.source.file,
            )
    who = [identity(recording.metadata) for recording in recordings]
    for key in ("serial", "address"):
        found = {one[key] for one in who if one[key]}
        if len(found) > 1:
            raise InputError(
                f"the recordings are of {len(found)} sensors: {', '.join(sorted(found))}",
                "calibrate one sensor at a time",
            )
    return {key: next((one[key] for one in who if one[key]), "") for key in ("serial", "address")}


def _temperature(recordings: Sequence[Recording]) -> float | None:
    known = [
        one.temperature_c[np.isfinite(one.temperature_c)]
        for one in recordings
        if one.temperature_c is not None
    ]
    known += [np.array(told) for told in map(told_temperatures_c, recordings) if told]
    known = [one for one in known if len(one)]
    return float(np.mean(np.concatenate(known))) if known else None
