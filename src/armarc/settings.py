"""The lifter's settings file: what need not be typed every time.

A command-line option beats the recording's own metadata, which beats this file, which beats the
exercise's entry.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from armarc.exercises import DEFAULT_EXERCISE, Exercise
from armarc.folders import config_folder
from armarc.options import MeasuringOptions
from armarc.quantities import HEAVIEST_LOAD_KG, KG_PER_LB, parse_load, parse_pair
from armarc.strict_toml import Check, Unfit, checked, number, one_of, read_toml, rising_pair, text

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
SIDES = ("right", "left")
MOUNTINGS = ("auto", "twist", "lever_arm", "hanging")
STRAPS = ("back", "inside", "thumb", "little-finger")
GRAVITY_SIGNS = ("reaction", "gravity")
FUSIONS = ("smoother", "madgwick", "mahony", "ekf", "aqua")
HAND_AXES = ("+x", "-x", "+y", "-y", "+z", "-z")


def _axes(value: Any) -> str:
    parts = [part.strip().lower() for part in value.split(",")] if isinstance(value, str) else []
    known = len(parts) == 3 and all(re.fullmatch("[+-]?[xyz]", part) for part in parts)
    if not known or len({part[-1] for part in parts}) != 3:
        raise Unfit('three different axes such as "+y,-x,+z"')
    return ",".join(parts)


CHECKS: dict[str, Check] = {
    "exercise": text(longest=80),
    "side": one_of(SIDES),
    "load_kg": number(0, HEAVIEST_LOAD_KG, "kg"),
    "band_deg_s": rising_pair(0, 1000, "°/s", "[45, 70]"),
    "gate_deg": rising_pair(0, 90, "degrees", "[10, 20]"),
    "loaded_range_deg": rising_pair(-180, 360, "degrees", "[30, 60]"),
    "smallest_rom_deg": number(5, 180, "degrees"),
    "swung_cm": number(0, 30, "cm"),
    "dropped_pct": number(-300, 100, "%"),
    "rest_s": number(1, 600, "seconds"),
    "fusion": one_of(FUSIONS),
    "mounting": one_of(MOUNTINGS),
    "strap": one_of(STRAPS),
    "hand_axis": one_of(HAND_AXES),
    "axes": _axes,
    "gravity_sign": one_of(GRAVITY_SIGNS),
    "reach_cm": number(15, 120, "cm"),
    "sensor_height_cm": number(0, 15, "cm"),
}
"""Keys of the settings file and what their values must be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the lifter set; None where nothing was set. Units are in the names.

    ``file`` is where the values came from, None when there is no settings file.
    """

    exercise: str | None = None
    side: str | None = None
    load_kg: float | None = None
    band_deg_s: tuple[float, float] | None = None
    gate_deg: tuple[float, float] | None = None
    loaded_range_deg: tuple[float, float] | None = None
    smallest_rom_deg: float | None = None
    swung_cm: float | None = None
    dropped_pct: float | None = None
    rest_s: float | None = None
    fusion: str | None = None
    mounting: str | None = None
    strap: str | None = None
    hand_axis: str | None = None
    axes: str | None = None
    gravity_sign: str | None = None
    reach_cm: float | None = None
    sensor_height_cm: float | None = None
    file: Path | None = None

    def options(self) -> MeasuringOptions:
        """What they say about measuring; how the file's axes lie is said to the reading."""
        names = {field.name for field in fields(self)} - {"axes", "gravity_sign", "file"}
        return MeasuringOptions.of({name: getattr(self, name) for name in names})


@dataclass(frozen=True, slots=True, kw_only=True)
class Effective:
    """One setting as it takes effect.

    ``origin`` is ``"settings"``, ``"exercise"``, ``"armarc"`` or ``"unset"``.
    """

    key: str
    value: Any
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
    return Settings(**checked(read_toml(path), CHECKS, file=str(path)), file=path)


def effective(settings: Settings, exercise: Exercise) -> list[Effective]:
    """What a recording without metadata is measured with when no option is given.

    Parameters
    ----------
    settings : Settings
    exercise : Exercise
        The entry `settings.exercise` names, or the default one.
    """
    from armarc.exercises import exercise_record

    entry = exercise_record(exercise)
    built_in = {"exercise": DEFAULT_EXERCISE, "mounting": "auto"}
    rows = []
    for field in fields(Settings):
        key = field.name
        if key == "file":
            continue
        value = getattr(settings, key)
        if value is not None:
            rows.append(Effective(key=key, value=_plain(value), origin="settings"))
        elif key in entry:
            rows.append(Effective(key=key, value=entry[key], origin="exercise"))
        elif key in built_in:
            rows.append(Effective(key=key, value=built_in[key], origin="armarc"))
        else:
            rows.append(Effective(key=key, value=None, origin="unset"))
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


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value
