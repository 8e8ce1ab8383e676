"""Bands of the start velocity that are kept for a lifter: ``bands.toml`` in the configuration folder."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from armarc.errors import FormatError
from armarc.exercises import Band
from armarc.files import write_kept
from armarc.folders import config_folder
from armarc.quantities import DEFAULT_LIFTER, clean_name
from armarc.strict_toml import Check, checked, quoted, read_toml, rising_pair, text

CHECKS: dict[str, Check] = {
    "band_deg_s": rising_pair(0, 1000, "°/s", "[48, 66]"),
    "basis": text(longest=200, empty=True),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnBands:
    """Bands by lifter and exercise key; whoever is meant when nobody is named is `DEFAULT_LIFTER`."""

    bands: Mapping[tuple[str, str], Band] = field(default_factory=dict)

    def find(self, lifter: str | None, exercise: str) -> Band | None:
        """Band kept for a lifter at an exercise."""
        return self.bands.get((lifter or DEFAULT_LIFTER, exercise))

    def with_(self, lifter: str, exercise: str, band: Band | None) -> OwnBands:
        """The same with one band kept, or with None forgotten."""
        others = {key: kept for key, kept in self.bands.items() if key != (lifter, exercise)}
        return OwnBands(bands=others if band is None else {**others, (lifter, exercise): band})


def bands_path(folder: Path | None = None) -> Path:
    """Where the bands are kept; the file need not exist."""
    return (config_folder() if folder is None else folder) / "bands.toml"


def load_own_bands(folder: Path | None = None) -> OwnBands:
    """Read the bands of all lifters; none without a file.

    Raises
    ------
    InputError, FormatError
        The file cannot be read, or is not what `save_own_bands` writes.
    """
    file = bands_path(folder)
    if not file.exists():
        return OwnBands()
    bands: dict[tuple[str, str], Band] = {}
    for lifter, exercises in read_toml(file).items():
        for exercise, entry in exercises.items() if isinstance(exercises, dict) else [("", None)]:
            if not isinstance(entry, dict) or "band_deg_s" not in entry:
                raise FormatError(
                    "a band stands under a lifter and an exercise",
                    'write  [Anna.lateral-raise]  above  band_deg_s = [48, 66]',
                    file=str(file),
                )  # fmt: skip
            found = checked(entry, CHECKS, file=str(file), name=f"{lifter}.{exercise}")
            low, high = map(math.radians, found["band_deg_s"])
            name = clean_name(lifter, "lifter", empty=False)
            bands[(name, exercise)] = Band(low, high, found.get("basis", ""))
    return OwnBands(bands=bands)


def save_own_bands(own: OwnBands, folder: Path | None = None) -> Path:
    """Write the bands of all lifters; whole or not at all.

    Raises
    ------
    InputError
        It cannot be written.
    """
    file = bands_path(folder)
    lines = ["# Own bands of the start velocity, °/s, by lifter and exercise; `armarc band` writes them."]
    for (lifter, exercise), band in sorted(own.bands.items()):
        low, high = (round(math.degrees(edge), 3) for edge in (band.low_rad_s, band.high_rad_s))
        lines += ["", f"[{quoted(lifter)}.{quoted(exercise)}]", f"band_deg_s = [{low:g}, {high:g}]"]
        if band.basis:
            lines.append(f"basis = {quoted(band.basis)}")
    return write_kept(file, "\n".join(lines) + "\n")
