"""Calibrations kept in the configuration folder, one entry for each sensor."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from armarc.computer import config_folder
from armarc.files import read_entries, write_entries
from armarc.recording import FloatArray, Metadata
from armarc.sensor.calibration.types import AccelerometerCalibration, Calibration, GyroscopeCalibration

FILE_NAME = "sensor-calibrations.json"
SCHEMA = "armarc.sensor_calibrations/1"


def calibrations_path(folder: Path | None = None) -> Path:
    """Path of the file; it need not exist."""
    return (config_folder() if folder is None else folder) / FILE_NAME


def load_calibrations(folder: Path | None = None) -> tuple[Calibration, ...]:
    """Read every calibration, oldest first.

    Raises
    ------
    InputError
        The file cannot be read or was damaged.
    """
    return read_entries(calibrations_path(folder), SCHEMA, calibration_from, "calibrate")


def save_calibration(calibration: Calibration, folder: Path | None = None) -> Path:
    """Add a calibration. Earlier ones of the sensor stay in the file; the latest counts.

    Raises
    ------
    InputError
        The file was damaged, or the folder cannot be written.
    """
    entries = [calibration_record(one) for one in (*load_calibrations(folder), calibration)]
    return write_entries(calibrations_path(folder), SCHEMA, entries)


def find_calibration(sensor: str | Metadata | None, folder: Path | None = None) -> Calibration | None:
    """The latest calibration of a sensor.

    Parameters
    ----------
    sensor : str or Metadata or None
        Name or serial number, or a recording's metadata, whose serial number and address tell sensors of the same
        name apart.
    folder : Path or None
        None for the configuration folder.

    Returns
    -------
    Calibration or None

    Raises
    ------
    InputError
        The file was damaged.
    """
    if sensor is None or sensor == "":
        return None
    return latest_calibration(load_calibrations(folder), sensor)


def latest_calibration(known: Sequence[Calibration], sensor: str | Metadata) -> Calibration | None:
    """The last of the calibrations that belongs to a sensor; see `find_calibration`."""
    return next((one for one in reversed(known) if is_of(one.sensor, one.serial, one.address, sensor)), None)


def forget_calibration(sensor: str, folder: Path | None = None) -> int:
    """Take all calibrations of a sensor out of the file; gives their number."""
    known = load_calibrations(folder)
    kept = [one for one in known if not is_of(one.sensor, one.serial, one.address, sensor)]
    if len(kept) < len(known):
        write_entries(calibrations_path(folder), SCHEMA, [calibration_record(one) for one in kept])
    return len(known) - len(kept)


def is_of(name: str, serial: str, address: str, sensor: str | Metadata) -> bool:
    """Whether an entry of this name, serial number and address belongs to a sensor.

    A serial number on both sides decides alone; then an address; then the name, in any case.
    """
    if isinstance(sensor, str):
        wanted = sensor.strip().casefold()
        return bool(wanted) and wanted in (name.strip().casefold(), serial.casefold(), address.casefold())
    theirs = identity(sensor)
    if serial and theirs["serial"]:
        return serial == theirs["serial"]
    if address and theirs["address"]:
        return address.casefold() == theirs["address"].casefold()
    return bool(theirs["sensor"]) and theirs["sensor"].strip().casefold() == name.strip().casefold()


def identity(metadata: Metadata) -> dict[str, str]:
    """What a recording's head says of its sensor: ``sensor``, ``serial``, ``address``; empty where unknown."""
    return {
        "sensor": metadata.sensor or "",
        "serial": str(metadata.other.get("sensor_serial") or ""),
        "address": str(metadata.other.get("sensor_address") or ""),
    }


def merged(new: Calibration, old: Calibration | None) -> Calibration:
    """Fill what the new calibration lacks from the one before: a half, or axes of the gyroscope nobody turned."""
    if old is None:
        return new
    return replace(
        new,
        serial=new.serial or old.serial,
        address=new.address or old.address,
        accelerometer=new.accelerometer or old.accelerometer,
        gyroscope=_merged_gyroscope(new.gyroscope, old.gyroscope),
    )


def _merged_gyroscope(
    new: GyroscopeCalibration | None, old: GyroscopeCalibration | None
) -> GyroscopeCalibration | None:
    if new is None or old is None:
        return new or old
    kept = [name in old.turned_axes and name not in new.turned_axes for name in "xyz"]
    rows = np.asarray(kept)
    return replace(
        new,
        matrix=np.where(rows[:, None], old.matrix, new.matrix),
        scale_se=np.where(rows, old.scale_se, new.scale_se),
        turned_axes=tuple(
            name for name, keep in zip("xyz", kept, strict=True) if keep or name in new.turned_axes
        ),
    )


def calibration_record(one: Calibration) -> dict[str, Any]:
    """JSON of a calibration."""
    return {
        "sensor": one.sensor,
        "serial": one.serial,
        "address": one.address,
        "made_at": one.made_at,
        "files": list(one.files),
        "temperature_c": one.temperature_c,
        "accelerometer": None if one.accelerometer is None else _accelerometer_record(one.accelerometer),
        "gyroscope": None if one.gyroscope is None else _gyroscope_record(one.gyroscope),
    }


def _accelerometer_record(one: AccelerometerCalibration) -> dict[str, Any]:
    return {
        "offset_m_s2": listed(one.offset_m_s2),
        "matrix": listed(one.matrix),
        "offset_se_m_s2": listed(one.offset_se_m_s2),
        "scale_se": listed(one.scale_se),
        "cross_se": one.cross_se,
        "poses": one.poses,
        "rests": one.rests,
        "spread_before_m_s2": one.spread_before_m_s2,
        "spread_after_m_s2": one.spread_after_m_s2,
        "gravity_m_s2": one.gravity_m_s2,
    }


def _gyroscope_record(one: GyroscopeCalibration) -> dict[str, Any]:
    return {
        "bias_rad_s": listed(one.bias_rad_s),
        "bias_se_rad_s": one.bias_se_rad_s,
        "matrix": listed(one.matrix),
        "scale_se": listed(one.scale_se),
        "cross_se": one.cross_se,
        "turns": one.turns,
        "turned_axes": list(one.turned_axes),
        "error_before_rad": one.error_before_rad,
        "error_after_rad": one.error_after_rad,
        "mean_turn_rad": one.mean_turn_rad,
    }


def calibration_from(entry: dict[str, Any]) -> Calibration:
    """A calibration from its JSON.

    Raises
    ------
    ValueError, KeyError, TypeError
        Anything that is not one.
    """
    force, turning = entry.get("accelerometer"), entry.get("gyroscope")
    sensor = entry["sensor"]
    if not isinstance(sensor, str) or not sensor:
        raise ValueError("expected a sensor's name")
    warm = entry.get("temperature_c")
    return Calibration(
        sensor=sensor,
        serial=str(entry.get("serial") or ""),
        address=str(entry.get("address") or ""),
        made_at=str(entry["made_at"]),
        files=tuple(str(one) for one in entry.get("files", [])),
        temperature_c=None if warm is None else float(warm),
        accelerometer=None if force is None else _accelerometer_from(force),
        gyroscope=None if turning is None else _gyroscope_from(turning),
    )


def _accelerometer_from(entry: dict[str, Any]) -> AccelerometerCalibration:
    return AccelerometerCalibration(
        offset_m_s2=vector(entry["offset_m_s2"]),
        matrix=vector(entry["matrix"], (3, 3)),
        offset_se_m_s2=vector(entry["offset_se_m_s2"]),
        scale_se=vector(entry["scale_se"]),
        cross_se=float(entry["cross_se"]),
        poses=int(entry["poses"]),
        rests=int(entry["rests"]),
        spread_before_m_s2=float(entry["spread_before_m_s2"]),
        spread_after_m_s2=float(entry["spread_after_m_s2"]),
        gravity_m_s2=float(entry["gravity_m_s2"]),
    )


def _gyroscope_from(entry: dict[str, Any]) -> GyroscopeCalibration:
    return GyroscopeCalibration(
        bias_rad_s=vector(entry["bias_rad_s"]),
        bias_se_rad_s=float(entry["bias_se_rad_s"]),
        matrix=vector(entry["matrix"], (3, 3)),
        scale_se=vector(entry["scale_se"]),
        cross_se=float(entry["cross_se"]),
        turns=int(entry["turns"]),
        turned_axes=tuple(str(one) for one in entry["turned_axes"]),
        error_before_rad=float(entry["error_before_rad"]),
        error_after_rad=float(entry["error_after_rad"]),
        mean_turn_rad=float(entry["mean_turn_rad"]),
    )


def vector(value: Any, shape: tuple[int, ...] = (3,)) -> FloatArray:
    """A finite array of a given shape.

    Raises
    ------
    ValueError
        Anything else.
    """
    array = np.asarray(value, dtype=float)
    if array.shape != shape or not np.isfinite(array).all():
        raise ValueError(f"expected {shape} finite numbers")
    return array


def listed(array: FloatArray) -> Any:
    """Plain lists of numbers with nine significant digits."""
    return json.loads(json.dumps(np.vectorize(lambda one: float(f"{one:.9g}"))(array).tolist()))
