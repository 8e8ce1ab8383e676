"""From recordings of a sensor on a table to its calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.errors import InputError, UsageError
from armarc.recording import Recording
from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.calibration.apply import MARK
from armarc.sensor.calibration.poses import Move, Rest, rests_and_moves
from armarc.sensor.calibration.sphere import fit_accelerometer
from armarc.sensor.calibration.store import identity, merged
from armarc.sensor.calibration.turns import fit_gyroscope, usable_turns
from armarc.sensor.calibration.types import AccelerometerCalibration, Calibration, GyroscopeCalibration


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRun:
    """A calibration and what it could not do.

    ``refused`` maps ``accelerometer`` and ``gyroscope`` to the reason that half was left out; ``notes`` say which
    turns were not used and why.
    """

    calibration: Calibration
    refused: dict[str, str]
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
        Neither half can be calibrated; the message gives both reasons. Or the recordings are of different sensors,
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
        refused["accelerometer"] = error.message
        hints.append(error.hint)
    level = accelerometer or (None if known is None else known.accelerometer)
    turns = usable_turns(tuple(moves), level, stated_rad=turn_rad)
    try:
        gyroscope = fit_gyroscope(turns, tuple(rests))
    except InputError as error:
        refused["gyroscope"] = error.message
        hints.append(error.hint)
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
        refused=refused,
        notes=(*turns.reasons(), *_outliers(len(rests), accelerometer, len(turns.turns), gyroscope)),
        rests=len(rests),
        moves=len(moves),
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
    known = [one for one in known if len(one)]
    return float(np.mean(np.concatenate(known))) if known else None
