"""What is kept of sensors in the configuration folder: calibrations, and how each sits on a wrist.

The latest entry of a sensor (of a sensor and a side) counts; earlier ones stay in the files. An entry's JSON has the
fields of its dataclass.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from pathlib import Path
from types import UnionType
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

import numpy as np

from armarc.computer import config_folder
from armarc.files import read_entries, write_entries
from armarc.recording import FloatArray, Metadata
from armarc.sensor.calibration.types import Calibration, GyroscopeCalibration

CALIBRATIONS = ("sensor-calibrations.json", "armarc.sensor_calibrations/1")
MOUNTS = ("sensor-mounts.json", "armarc.sensor_mounts/1")
"""File and schema."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredMount:
    """Direction of arm and thumb in a strapped-on sensor.

    Parameters
    ----------
    sensor, serial, address : str
    side : str
        ``"right"`` or ``"left"``.
    made_at : str
        Date and time, ISO 8601.
    file : str
    arm_axis, thumb_axis : ndarray, shape (3,)
        Unit vectors in sensor axes: shoulder → hand, and across it toward the thumb. With the arm hanging and the
        thumb forward the latter is also where the lifter faces.
    arm_se_rad, thumb_se_rad : float, rad
        Standard errors on the day; putting the strap on again adds to them.
    """

    sensor: str
    side: str
    made_at: str
    arm_axis: FloatArray
    thumb_axis: FloatArray
    arm_se_rad: float
    thumb_se_rad: float
    serial: str = ""
    address: str = ""
    file: str = ""


Entry = TypeVar("Entry", Calibration, StoredMount)


def load_calibrations(folder: Path | None = None) -> tuple[Calibration, ...]:
    """Read every calibration, oldest first.

    Raises
    ------
    InputError
        The file cannot be read or was damaged.
    """
    name, schema = CALIBRATIONS
    return read_entries(_path(name, folder), schema, calibration_from, "calibrate")


def load_mounts(folder: Path | None = None) -> tuple[StoredMount, ...]:
    """Read every kept mount, oldest first.

    Raises
    ------
    InputError
        The file cannot be read or was damaged.
    """
    name, schema = MOUNTS
    return read_entries(_path(name, folder), schema, _mount_from, "record the mount")


def save_calibration(calibration: Calibration, folder: Path | None = None) -> Path:
    """Add a calibration.

    Raises
    ------
    InputError
        The file was damaged, or the folder cannot be written.
    """
    return _write(CALIBRATIONS, (*load_calibrations(folder), calibration), folder)


def save_mount(mount: StoredMount, folder: Path | None = None) -> Path:
    """Add a mount.

    Raises
    ------
    InputError
        The file was damaged, or the folder cannot be written.
    """
    return _write(MOUNTS, (*load_mounts(folder), mount), folder)


def find_calibration(sensor: str | Metadata | None, folder: Path | None = None) -> Calibration | None:
    """The latest calibration of a sensor.

    Parameters
    ----------
    sensor : str or Metadata or None
        Name or serial number, or a recording's metadata, whose serial number and address tell sensors of the same
        name apart.
    folder : Path or None
        None for the configuration folder.

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


def latest_mount(known: Sequence[StoredMount], sensor: str | Metadata, side: str) -> StoredMount | None:
    """The last of the mounts that belongs to a sensor and a side."""
    for one in reversed(known):
        if one.side == side and is_of(one.sensor, one.serial, one.address, sensor):
            return one
    return None


def forget_calibration(sensor: str, folder: Path | None = None) -> int:
    """Take all calibrations of a sensor out of the file; gives their number."""
    return _forget(CALIBRATIONS, load_calibrations(folder), sensor, folder)


def forget_mounts(sensor: str, folder: Path | None = None) -> int:
    """Take all mounts of a sensor out of the file; gives their number."""
    return _forget(MOUNTS, load_mounts(folder), sensor, folder)


def _forget(file: tuple[str, str], known: Sequence[Entry], sensor: str, folder: Path | None) -> int:
    kept = [one for one in known if not is_of(one.sensor, one.serial, one.address, sensor)]
    if len(kept) < len(known):
        _write(file, kept, folder)
    return len(known) - len(kept)


def _path(name: str, folder: Path | None) -> Path:
    return (config_folder() if folder is None else folder) / name


def _write(file: tuple[str, str], entries: Sequence[Entry], folder: Path | None) -> Path:
    name, schema = file
    return write_entries(_path(name, folder), schema, [entry_record(one) for one in entries])


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


def entry_record(entry: Any) -> dict[str, Any]:
    """JSON of a calibration or a mount, by the names of its fields; arrays with nine significant digits."""
    return {one.name: _plain(getattr(entry, one.name)) for one in fields(entry)}


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return json.loads(json.dumps(np.vectorize(lambda one: float(f"{one:.9g}"))(value).tolist()))
    if is_dataclass(value):
        return entry_record(value)
    return list(value) if isinstance(value, tuple) else value


def _read(kind: type[T], entry: dict[str, object]) -> T:
    """An object of a dataclass from the JSON of `entry_record`.

    Raises
    ------
    ValueError, KeyError, TypeError
        Anything that is none.
    """
    hints, out = get_type_hints(kind), {}
    for one in fields(kind):  # type: ignore[arg-type]
        if entry.get(one.name) is not None or one.default is MISSING:
            out[one.name] = _as(hints[one.name], entry[one.name], (3, 3) if one.name == "matrix" else (3,))
    return kind(**out)


def _as(kind: Any, value: Any, shape: tuple[int, ...]) -> Any:
    if get_origin(kind) is UnionType:  # X | None: None is left to the default
        kind = get_args(kind)[0]
    if get_origin(kind) is np.ndarray:
        return _vector(value, shape)
    if get_origin(kind) is tuple:
        return tuple(str(one) for one in value)
    if isinstance(kind, type) and is_dataclass(kind):
        return _read(kind, value)
    return kind(value)


def calibration_from(entry: dict[str, object]) -> Calibration:
    """A calibration from its JSON.

    Raises
    ------
    ValueError, KeyError, TypeError
        Anything that is not one.
    """
    if not isinstance(entry["sensor"], str) or not entry["sensor"]:
        raise ValueError("expected a sensor's name")
    return _read(Calibration, entry)


def _mount_from(entry: dict[str, object]) -> StoredMount:
    if entry["side"] not in ("right", "left"):
        raise ValueError(f"side {entry['side']!r}")
    return _read(StoredMount, entry)


def _vector(value: object, shape: tuple[int, ...] = (3,)) -> FloatArray:
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
