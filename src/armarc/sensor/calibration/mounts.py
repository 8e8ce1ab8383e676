"""How a sensor sits on a wrist, kept in the configuration folder: one entry for each sensor and side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armarc.computer import config_folder
from armarc.files import read_entries, write_entries
from armarc.recording import FloatArray, Metadata
from armarc.sensor.calibration.store import is_of, listed, vector

FILE_NAME = "sensor-mounts.json"
SCHEMA = "armarc.sensor_mounts/1"


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


def mounts_path(folder: Path | None = None) -> Path:
    """Path of the file; it need not exist."""
    return (config_folder() if folder is None else folder) / FILE_NAME


def load_mounts(folder: Path | None = None) -> tuple[StoredMount, ...]:
    """Read every kept mount, oldest first.

    Raises
    ------
    InputError
        The file cannot be read or was damaged.
    """
    return read_entries(mounts_path(folder), SCHEMA, _from, "record the mount")


def save_mount(mount: StoredMount, folder: Path | None = None) -> Path:
    """Add a mount. Earlier ones stay in the file; the latest of a sensor and side counts.

    Raises
    ------
    InputError
        The file was damaged, or the folder cannot be written.
    """
    entries = [mount_record(one) for one in (*load_mounts(folder), mount)]
    return write_entries(mounts_path(folder), SCHEMA, entries)


def latest_mount(known: Sequence[StoredMount], sensor: str | Metadata, side: str) -> StoredMount | None:
    """The last of the mounts that belongs to a sensor and a side."""
    for one in reversed(known):
        if one.side == side and is_of(one.sensor, one.serial, one.address, sensor):
            return one
    return None


def forget_mounts(sensor: str, folder: Path | None = None) -> int:
    """Take all mounts of a sensor out of the file; gives their number."""
    known = load_mounts(folder)
    kept = [one for one in known if not is_of(one.sensor, one.serial, one.address, sensor)]
    if len(kept) < len(known):
        write_entries(mounts_path(folder), SCHEMA, [mount_record(one) for one in kept])
    return len(known) - len(kept)


def mount_record(one: StoredMount) -> dict[str, Any]:
    """JSON of a mount."""
    return {
        "sensor": one.sensor,
        "serial": one.serial,
        "address": one.address,
        "side": one.side,
        "made_at": one.made_at,
        "file": one.file,
        "arm_axis": listed(one.arm_axis),
        "thumb_axis": listed(one.thumb_axis),
        "arm_se_rad": float(f"{one.arm_se_rad:.6g}"),
        "thumb_se_rad": float(f"{one.thumb_se_rad:.6g}"),
    }


def _from(entry: dict[str, Any]) -> StoredMount:
    if entry["side"] not in ("right", "left"):
        raise ValueError(f"side {entry['side']!r}")
    return StoredMount(
        sensor=str(entry["sensor"]),
        serial=str(entry.get("serial") or ""),
        address=str(entry.get("address") or ""),
        side=entry["side"],
        made_at=str(entry["made_at"]),
        file=str(entry.get("file") or ""),
        arm_axis=vector(entry["arm_axis"]),
        thumb_axis=vector(entry["thumb_axis"]),
        arm_se_rad=float(entry["arm_se_rad"]),
        thumb_se_rad=float(entry["thumb_se_rad"]),
    )
