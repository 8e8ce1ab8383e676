"""The lifter's measures on disk: ``lifter.toml`` in the configuration folder."""

from __future__ import annotations

import os
from pathlib import Path

from armarc.errors import InputError, UsageError
from armarc.folders import config_folder
from armarc.load.lifter import LIMITS, SEXES, Lifter
from armarc.load.segments import TABLE_CHOICES
from armarc.strict_toml import Check, checked, number, one_of, read_toml

FIELDS = tuple(Lifter.__dataclass_fields__)

CHECKS: dict[str, Check] = {
    **{name: number(low, high, unit) for name, (low, high, unit) in LIMITS.items()},
    "sex": one_of(SEXES),
    "segment_table": one_of(TABLE_CHOICES),
}


def lifter_path() -> Path:
    """Where the lifter's measures are kept; the file need not exist."""
    return config_folder() / "lifter.toml"


def load_lifter(path: Path | None = None) -> Lifter:
    """Read the lifter's measures; the reference body when there is no file.

    Raises
    ------
    InputError, FormatError
        The file cannot be read, or a key is unknown or out of range.
    """
    file = lifter_path() if path is None else path
    if path is None and not file.exists():
        return Lifter()
    return Lifter(**checked(read_toml(file), CHECKS, file=str(file)))


def save_lifter(lifter: Lifter, path: Path | None = None) -> Path:
    """Write the lifter's measures; whole or not at all.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        It cannot be written.
    """
    file = lifter_path() if path is None else path
    lines = ["# The lifter's body; everything is optional. Lengths in m, mass in kg."]
    for name in FIELDS:
        value = getattr(lifter, name)
        if value is not None:
            lines.append(f'{name} = "{value}"' if isinstance(value, str) else f"{name} = {value!r}")
    part = file.with_name(file.name + ".part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        part.write_text("\n".join(lines) + "\n", encoding="utf-8")
        os.replace(part, file)
    except OSError as error:
        raise InputError(
            f"cannot be written: {error.strerror or error}", "check the folder's permissions", file=str(file)
        ) from error
    return file


def length_m(text: str) -> float:
    """Read a length: ``1.75``, ``1.75m``, ``175cm`` or ``318mm``, in m.

    Raises
    ------
    UsageError
        Not a length.
    """
    word = text.strip().casefold().replace(",", ".")
    for unit, factor in (("mm", 0.001), ("cm", 0.01), ("m", 1.0), ("", 1.0)):
        if word.endswith(unit):
            try:
                return float(word.removesuffix(unit)) * factor
            except ValueError:
                break
    raise UsageError(f"expected a length such as 1.75, 175cm or 318mm, got {text!r}")
