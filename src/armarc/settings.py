"""The lifter's settings file: what need not be typed every time.

A command-line option beats the recording's own metadata, which beats this file, which beats the
exercise's entry.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from armarc.computer import config_folder
from armarc.exercises import DEFAULT_EXERCISE, Exercise
from armarc.options import OPTIONS, MeasuringOptions
from armarc.quantities import KG_PER_LB, parse_load, parse_pair
from armarc.strict_toml import Check, Unfit, checked, one_of, read_toml

__all__ = [
    "FILE_NAME",
    "KG_PER_LB",
    "TEMPLATE",
    "Effective",
    "Settings",
    "effective",
    "load_settings",
    "parse_load",
    "parse_pair",
    "settings_path",
]

FILE_NAME = "armarc.toml"
GRAVITY_SIGNS = ("reaction", "gravity")


def _axes(value: object) -> str:
    parts = [part.strip().lower() for part in value.split(",")] if isinstance(value, str) else []
    known = len(parts) == 3 and all(re.fullmatch("[+-]?[xyz]", part) for part in parts)
    if not known or len({part[-1] for part in parts}) != 3:
        raise Unfit('three different axes such as "+y,-x,+z"')
    return ",".join(parts)


READING: dict[str, Check] = {"axes": _axes, "gravity_sign": one_of(GRAVITY_SIGNS)}
"""Keys that say how the axes of a file lie."""

CHECKS: dict[str, Check] = {
    option.outside: option.check for option in OPTIONS.values() if option.check is not None
} | READING
"""Keys of the settings file and what their values must be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the lifter set; nothing where nothing was set.

    ``axes`` and ``gravity_sign`` say how the axes of files lie; ``file`` is where the values came from, None when
    there is no settings file.
    """

    options: MeasuringOptions = field(default_factory=MeasuringOptions)
    axes: str | None = None
    gravity_sign: str | None = None
    file: Path | None = None

    def reading(self) -> dict[str, str]:
        """Options of reading a file that were set."""
        found = {key: getattr(self, key) for key in READING}
        return {key: value for key, value in found.items() if value is not None}

    def record(self) -> dict[str, Any]:
        """What was set, by key, in the units of the file."""
        return self.options.record() | self.reading()


@dataclass(frozen=True, slots=True, kw_only=True)
class Effective:
    """One setting as it takes effect.

    ``origin`` is ``"settings"``, ``"exercise"``, ``"armarc"`` or ``"unset"``.
    """

    key: str
    value: object
    origin: str


def settings_path(folder: Path | None = None) -> Path:
    """Path of the settings file; it need not exist."""
    return (config_folder() if folder is None else folder) / FILE_NAME


def load_settings(folder: Path | None = None) -> Settings:
    """Load the settings file.

    Parameters
    ----------
    folder : Path or None
        Folder of the file; None for the configuration folder.

    Returns
    -------
    Settings
        All None when there is no file.

    Raises
    ------
    InputError, FormatError
        The file cannot be read or has a faulty key; names the file, the key, what was expected and found.
    """
    path = settings_path(folder)
    if not path.exists():
        return Settings()
    found = checked(read_toml(path), CHECKS, file=str(path))
    how = {key: found.pop(key) for key in READING if key in found}
    return Settings(options=MeasuringOptions.of(found), **how, file=path)


def effective(settings: Settings, exercise: Exercise) -> list[Effective]:
    """What a recording without metadata is measured with when no option is given.

    Parameters
    ----------
    settings : Settings
    exercise : Exercise
        The entry `settings.exercise` names, or the default one.
    """
    from armarc.exercises import exercise_record

    entry, said = exercise_record(exercise), settings.record()
    built_in = {option.outside: option.default for option in OPTIONS.values()} | {
        "exercise": DEFAULT_EXERCISE
    }
    rows = []
    for key in CHECKS:
        places = (("settings", said), ("exercise", entry), ("armarc", built_in))
        origin = next((name for name, values in places if values.get(key) is not None), "unset")
        value = dict(places).get(origin, {}).get(key)
        rows.append(Effective(key=key, value=value, origin=origin))
    return rows


TEMPLATE = """\
# armarc settings. Save as armarc.toml in the folder that `armarc settings --path` prints.
# Everything is optional; take the # away from what you want to set.
# Order: command-line option, the recording's own header, this file, the exercise's entry.

# exercise = "lateral-raise"       # what is meant when none is named; `armarc exercises` lists them
# side = "right"                   # arm that wears the sensor: "right" or "left"
# load_kg = 8                      # load in the hand, kg

# These go for every exercise; for a single one write an own entry (`armarc exercises --template`).
# The band and the loaded range are common practice, without a source.
# band_deg_s = [45, 70]            # target band of the start velocity, °/s
# gate_deg = [10, 20]              # start gate: rise above the bottom of the rep, degrees
# loaded_range_deg = [30, 60]      # where the load should meet the muscle, degrees
# smallest_rom_deg = 30            # anything smaller is not a rep, degrees
# swung_cm = 3                     # more body swing than this is flagged (our own working limit, no source)
# dropped_pct = 50                 # less of the static moment held while lowering is flagged (the same)
# rest_s = 10                      # a pause at the bottom this long ends the set, seconds

# sensor_place = "wrist"           # "wrist" or "upper arm", for exercises that want it elsewhere, too
# strap = "back"                   # place on the wrist: "back", "inside", "thumb" or "little-finger"
# hand_axis = "+x"                 # sensor axis that points to the hand: "+x", "-x", … "-z"
# axes = "+y,-x,+z"                # the file's axes that are the sensor's x, y and z
# gravity_sign = "reaction"        # what the accelerometer reads at rest: "reaction" (up) or "gravity" (down)
# reach_cm = 52                    # from the shoulder joint to the sensor, cm
# sensor_height_cm = 3.5           # from the middle of the arm to the sensor, cm

# fusion = "smoother"              # as the option --fusion takes it
# mounting = "auto"                # "auto", "twist", "lever_arm" or "hanging"
"""
"""Commented settings file."""
