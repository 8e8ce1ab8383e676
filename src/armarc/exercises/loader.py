"""Loads the catalogue: the entries that come with armarc and the lifter's own."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import fields, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from armarc.computer import config_folder
from armarc.errors import FormatError, InputError, UsageError
from armarc.exercises.types import COORDINATES, SENSOR_PLACES, Band, Exercise
from armarc.strict_toml import (
    Check,
    checked,
    number,
    one_of,
    or_none,
    parse_toml,
    read_toml,
    rising_pair,
    suggestion,
    text,
    text_list,
)

DEFAULT_EXERCISE = "lateral-raise"
"""Key of the exercise that is meant when none is named."""

RESISTANCES = ("dumbbell", "cable", "machine", "band", "any")

ENTRY_CHECKS: dict[str, Check] = {
    "name": text(longest=80),
    "based_on": text(longest=80),
    "sensor_place": one_of(SENSOR_PLACES),
    "coordinate": one_of(COORDINATES),
    "gate_deg": rising_pair(0, 90, "degrees", "[10, 20]"),
    "band_deg_s": or_none(rising_pair(0, 1000, "°/s", "[45, 70]")),
    "loaded_range_deg": or_none(rising_pair(-180, 360, "degrees", "[30, 60]")),
    "smallest_rom_deg": number(5, 180, "degrees"),
    "swung_cm": number(0, 30, "cm"),
    "dropped_pct": number(-300, 100, "%"),
    "plane_deg": or_none(number(-90, 180, "degrees")),
    "rest_s": number(1, 600, "seconds"),
    "caution": text(empty=True),
    "resistance": one_of(RESISTANCES),
    "aliases": text_list(),
    "note": text(empty=True),
}
"""Keys of a catalogue entry and what their values must be."""


def exercises_folder() -> Path:
    """Folder of the lifter's own entries; it need not exist."""
    return config_folder() / "exercises"


def load_catalogue(folder: Path | None = None) -> dict[str, Exercise]:
    """Load every exercise armarc knows.

    Parameters
    ----------
    folder : Path or None
        Folder with the lifter's own ``*.toml``; None for the one in the configuration folder. A missing
        folder means no own entries. An own entry with a known key changes the keys it names and keeps the
        rest; ``based_on`` starts a new key from another entry.

    Returns
    -------
    dict of str to Exercise
        By key, in the catalogue's order, own new entries last.

    Raises
    ------
    InputError, FormatError
        An own file that cannot be read or has a faulty entry; names the file, the key, what was expected and
        what was found.
    """
    catalogue = dict(_built_in())
    own = exercises_folder() if folder is None else folder
    if not own.is_dir():
        if own.exists():
            raise InputError(
                "is not a folder", "own exercises live in a folder of .toml files", file=str(own)
            )
        return catalogue
    try:
        paths = sorted(own.glob("*.toml"))
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", file=str(own)) from error
    seen: dict[str, str] = {}
    for path in paths:
        for key, table in _tables(read_toml(path), str(path)).items():
            if key in seen:
                raise FormatError(
                    f"this exercise is already in {seen[key]}",
                    "keep one of the two",
                    file=str(path),
                    column=key,
                )
            seen[key] = str(path)
            catalogue[key] = _entry(key, table, catalogue, str(path), path.name)
    _check_aliases(catalogue, seen)
    return catalogue


def find_exercise(name: str, catalogue: Mapping[str, Exercise] | None = None) -> Exercise:
    """Find an exercise by its key, its name or one of its other names.

    Parameters
    ----------
    name : str
        Case, hyphens, underscores and a plural s do not matter.
    catalogue : mapping or None
        As from `load_catalogue`, which is called when it is None.

    Raises
    ------
    UsageError
        No such exercise; the hint names the closest ones.
    """
    known = load_catalogue() if catalogue is None else catalogue
    wanted = _plain(name)
    # Own entries come last and win, so that a lifter's own word means the lifter's own entry.
    by_name: dict[str, Exercise] = {}
    for exercise in known.values():
        for word in (*exercise.aliases, exercise.name):
            by_name[_plain(word)] = exercise
    by_name.update({_plain(key): exercise for key, exercise in known.items()})
    if wanted in by_name:
        return by_name[wanted]
    close = difflib.get_close_matches(wanted, by_name, n=6, cutoff=0.6)
    keys = list(dict.fromkeys(by_name[word].key for word in close))[:3] or _sharing_a_word(wanted, known)
    hint = f"did you mean {' or '.join(keys)}? " if keys else ""
    listed = "`armarc exercises` lists them all"
    if not keys:
        listed += (
            ", `armarc exercises --template` begins one of your own, and 'unknown' measures any movement"
        )
    raise UsageError(f"no exercise is called {name!r}", hint + listed)


def _sharing_a_word(wanted: str, known: Mapping[str, Exercise]) -> list[str]:
    """Keys of the exercises whose names, else whose notes, hold most words of what was asked for; at most four."""
    asked = {word for word in wanted.split("-") if len(word) > 2}
    names = {key: (key, e.name, *e.aliases) for key, e in known.items()}
    notes = {key: (e.resistance, e.note) for key, e in known.items()}
    for texts in (names, notes):
        shared = {key: len(asked & set(_plain(" ".join(said)).split("-"))) for key, said in texts.items()}
        most = max(shared.values(), default=0)
        if most:
            return [key for key, count in shared.items() if count == most][:4]
    return []


@cache
def _built_in() -> dict[str, Exercise]:
    catalogue: dict[str, Exercise] = {}
    for file in ("raises.toml", "rear_and_rotation.toml", "rows_and_presses.toml"):
        raw = files("armarc.exercises").joinpath("catalogue", file).read_bytes()
        for key, table in _tables(parse_toml(raw, file), file).items():
            catalogue[key] = _entry(key, table, catalogue, file, "armarc")
    catalogue["unknown"] = catalogue.pop("unknown")
    return catalogue


def _tables(document: Mapping[str, object], file: str) -> dict[str, Mapping[str, object]]:
    out: dict[str, Mapping[str, object]] = {}
    for key, table in document.items():
        if not isinstance(table, dict):
            raise FormatError(
                "stands outside an entry", "start each exercise with its key in brackets: [my-raise]",
                file=file, column=key,
            )  # fmt: skip
        if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", key):
            raise FormatError(
                f"expected a key of small letters, digits and hyphens, got {key!r}",
                f"for example [{_plain(key) or 'my-raise'}]", file=file, column=key,
            )  # fmt: skip
        out[key] = table
    return out


def _entry(
    key: str, table: Mapping[str, object], catalogue: Mapping[str, Exercise], file: str, source: str
) -> Exercise:
    values = checked(table, ENTRY_CHECKS, file=file, name=key)
    base_key = values.pop("based_on", None)
    base = catalogue.get(key)
    if base_key is not None:
        if base_key not in catalogue:
            raise FormatError(
                f"expected the key of an exercise, got {base_key!r}", suggestion(base_key, catalogue),
                file=file, column=f"{key}.based_on",
            )  # fmt: skip
        # The other names stay with the entry they were given to.
        base = replace(catalogue[base_key], aliases=())
    if base is None:
        if "name" not in values:
            raise FormatError(
                "a new exercise needs a name", 'add  name = "..."', file=file, column=f"{key}.name"
            )
        base = Exercise(key=key, name=values["name"])
    return replace(base, key=key, source=source, **_in_si(values))


_HUNDREDTHS = {"swung_cm": "swung_m", "dropped_pct": "dropped_share"}


def _in_si(values: Mapping[str, Any]) -> dict[str, Any]:
    out: dict[str, object] = {}
    for key, value in values.items():
        if key == "band_deg_s":
            out["band"] = None if value is None else Band(math.radians(value[0]), math.radians(value[1]))
        elif key.endswith("_deg"):
            name = key.removesuffix("_deg") + "_rad"
            pair = isinstance(value, tuple)
            out[name] = (
                tuple(map(math.radians, value)) if pair else None if value is None else math.radians(value)
            )
        elif key in _HUNDREDTHS:
            out[_HUNDREDTHS[key]] = value / 100
        else:
            out[key] = value
    assert out.keys() <= {field.name for field in fields(Exercise)}
    return out


def _check_aliases(catalogue: Mapping[str, Exercise], own: Mapping[str, str]) -> None:
    taken: dict[str, str] = {}
    keys = {_plain(key): key for key in catalogue}
    for key, file in own.items():
        for alias in catalogue[key].aliases:
            word = _plain(alias)
            other = keys.get(word) if keys.get(word) != key else None
            other = other or (taken[word] if taken.get(word, key) != key else None)
            if other:
                raise FormatError(
                    f"the name {alias!r} already means {other}", "choose another one",
                    file=file, column=f"{key}.aliases",
                )  # fmt: skip
            taken[word] = key


def _plain(name: str) -> str:
    words = re.sub(r"[\W_]+", " ", name.casefold()).split()
    return "-".join(
        word[:-1] if len(word) > 3 and word.endswith("s") and word[-2] != "s" else word for word in words
    )
