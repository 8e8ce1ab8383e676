"""Sensors with a nickname: which is which, and on which wrist it goes."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from armarc.computer import config_folder
from armarc.errors import UsageError
from armarc.files import read_entries, write_entries

FILE_NAME = "known-sensors.json"
SCHEMA, KEY = "armarc.known-sensors/1", "sensors"
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
    return read_entries(known_path(folder), SCHEMA, _remembered, "remember the sensors", KEY)


def _remembered(entry: dict[str, Any]) -> Remembered:
    names = {field.name for field in fields(Remembered)}
    one = Remembered(**{key: value for key, value in entry.items() if key in names})
    if not all(isinstance(text, str) for text in (one.nickname, one.name, one.address, one.serial)):
        raise TypeError("expected texts")
    if one.side not in (None, *SIDES):
        raise ValueError(f"side {one.side!r}")
    return one


def save_known(known: tuple[Remembered, ...]) -> Path:
    """Write the file in one step, so that a crash leaves the old or the new one.

    Raises
    ------
    InputError
        The folder cannot be written.
    """
    return write_entries(known_path(), SCHEMA, [asdict(one) for one in known], KEY)


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
