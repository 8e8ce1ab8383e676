"""Sensors with a nickname: which is which, and on which wrist it goes."""

from __future__ import annotations

import json
import os
import re
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from armarc.errors import InputError, UsageError
from armarc.folders import config_folder

FILE_NAME = "known-sensors.json"
SCHEMA = "armarc.known-sensors/1"
SIDES = ("left", "right")


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """A sensor somebody named.

    Parameters
    ----------
    nickname : str
    side : str or None
        ``"left"`` or ``"right"``.
    name, address : str
        As advertised. The address is this machine's own invention on macOS, and may change elsewhere.
    serial : str
        Serial number string (0x2A25): what tells the sensor for good; empty when it has none.
    """

    nickname: str
    name: str
    address: str
    serial: str = ""
    side: str | None = None


def known_path(folder: Path | None = None) -> Path:
    """Path of the file; it need not exist."""
    return (config_folder() if folder is None else folder) / FILE_NAME


def load_known(folder: Path | None = None) -> tuple[Remembered, ...]:
    """Read the remembered sensors, oldest first.

    Raises
    ------
    InputError
        The file cannot be read or was damaged.
    """
    path = known_path(folder)
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", "check its permissions", file=str(path)) from error
    try:
        entries = json.loads(text)["sensors"]
        names = {field.name for field in fields(Remembered)}
        known = tuple(Remembered(**{k: v for k, v in entry.items() if k in names}) for entry in entries)
        for one in known:
            if not all(isinstance(v, str) for v in (one.nickname, one.name, one.address, one.serial)):
                raise TypeError("expected texts")
            if one.side not in (None, *SIDES):
                raise ValueError(f"side {one.side!r}")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(
            f"is damaged: {error}", "delete the file and remember the sensors again", file=str(path)
        ) from error
    return known


def save_known(known: tuple[Remembered, ...], folder: Path | None = None) -> Path:
    """Write the file in one step, so that a crash leaves the old or the new one.

    Raises
    ------
    InputError
        The folder cannot be written.
    """
    path = known_path(folder)
    data = {"schema": SCHEMA, "sensors": [asdict(one) for one in known]}
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with fresh.open("w", encoding="utf-8") as out:
            json.dump(data, out, indent=1, ensure_ascii=False)
            out.write("\n")
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(path)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise InputError(
            f"cannot be written: {error.strerror or error}",
            "check the folder's permissions, or set ARMARC_CONFIG_DIR",
            file=str(path),
        ) from error
    return path


def check_nickname(text: str) -> str:
    """A nickname usable on a command line and in a file name.

    Raises
    ------
    UsageError
    """
    nickname = text.strip()
    if not re.fullmatch(r"[^\W_][\w.-]{0,31}", nickname):
        raise UsageError(
            f"{text!r} cannot be a nickname",
            "up to 32 letters, digits, dots, dashes and underscores, such as left-strap",
        )
    return nickname


def remember(known: tuple[Remembered, ...], new: Remembered) -> tuple[Remembered, ...]:
    """Add a sensor; it replaces one of the same nickname and any other name the same sensor had."""
    kept = [
        one
        for one in known
        if one.nickname.casefold() != new.nickname.casefold()
        and not (one.serial and one.serial == new.serial)
        and not (one.address == new.address and one.serial in ("", new.serial))
    ]
    return (*kept, new)


def recall(known: tuple[Remembered, ...], text: str) -> Remembered | None:
    """The sensor with this nickname, in any case; otherwise the only one with this serial number."""
    for one in known:
        if one.nickname.casefold() == text.strip().casefold():
            return one
    return next((one for one in known if one.serial and one.serial == text.strip()), None)
