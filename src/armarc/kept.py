"""What is kept in the configuration folder and goes into every measurement: settings, bodies, bands, sensors."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from armarc.choices import Choices, choose, header_options
from armarc.computer import config_folder
from armarc.errors import FormatError
from armarc.exercises import Band, Exercise
from armarc.files import write_kept
from armarc.known_sensor import SensorShelf, open_shelf
from armarc.load.lifter import Lifter, Lifters, load_lifters
from armarc.options import MeasuringOptions
from armarc.quantities import DEFAULT_LIFTER, clean_name, spelled_as
from armarc.recording import Metadata, Recording
from armarc.settings import Settings, load_settings
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
        return self.bands.get((self._known(lifter or DEFAULT_LIFTER), exercise))

    def with_(self, lifter: str, exercise: str, band: Band | None) -> OwnBands:
        """The same with one band kept, or with None forgotten."""
        place = (self._known(lifter), exercise)
        others = {key: kept for key, kept in self.bands.items() if key != place}
        return OwnBands(bands=others if band is None else {**others, place: band})

    def _known(self, lifter: str) -> str:
        return spelled_as(lifter, (name for name, _ in self.bands))


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """Settings, lifters, calibrations and mounts; as it stands, nothing of all that.

    Parameters
    ----------
    settings : Settings
    lifters : Lifters
    bands : OwnBands
        Taken for their lifter and exercise where no band is stated.
    sensors : SensorShelf

    Examples
    --------
    >>> import armarc
    >>> recording = armarc.read_csv("recordings/strict-raise.csv", kept=armarc.Kept())
    >>> band = armarc.MeasuringOptions.of({"band_deg_s": (40, 60)})
    >>> recording, choices = armarc.Kept().settle(recording, band)
    >>> choices.exercise.key
    'lateral-raise'
    """

    settings: Settings = field(default_factory=Settings)
    lifters: Lifters = field(default_factory=Lifters)
    bands: OwnBands = field(default_factory=OwnBands)
    sensors: SensorShelf = field(default_factory=SensorShelf)

    def reading(self, stated: Mapping[str, Any]) -> dict[str, Any]:
        """Options of reading a file: those stated, completed from the settings; None states nothing."""
        said = {key: value for key, value in stated.items() if value is not None}
        return {**self.settings.reading(), **said}

    def settle(
        self,
        recording: Recording,
        options: MeasuringOptions,
        catalogue: Mapping[str, Exercise] | None = None,
    ) -> tuple[Recording, Choices]:
        """The recording as its calibrated sensor would have written it, and what it is measured with.

        Raises
        ------
        UsageError
            For options that make no sense.
        """
        choices = self.choices(recording.metadata, options, catalogue)
        sensor = self.sensors.look_up(recording.metadata, choices.side)
        return sensor.corrected(recording), replace(choices, **sensor.options())

    def choices(
        self,
        metadata: Metadata,
        options: MeasuringOptions,
        catalogue: Mapping[str, Exercise] | None = None,
    ) -> Choices:
        """What a recording with this header is measured with, but for what is kept of its sensor.

        Raises
        ------
        UsageError
            For options that make no sense.
        """
        said = header_options(metadata).lifter if options.lifter is None else options.lifter
        body = said if isinstance(said, Lifter) else self.lifters.find(said)
        chosen = replace(choose(metadata, options, settings=self.settings, catalogue=catalogue), lifter=body)
        own = self.bands.find(body.name, chosen.exercise.key)
        if own is None or options.band_rad_s is not None:
            return chosen
        return replace(chosen, exercise=replace(chosen.exercise, band=own))


def open_kept(folder: Path | None = None) -> Kept:
    """Read the configuration folder.

    Raises
    ------
    InputError
        A file in it cannot be read or is damaged; it is named.

    Parameters
    ----------
    folder : Path or None
        None takes the user's own (``armarc about`` says where).

    Examples
    --------
    >>> import armarc, pathlib
    >>> armarc.open_kept(pathlib.Path("recordings")) == armarc.NOTHING_KEPT  # nothing is kept there
    True
    """
    return Kept(
        settings=load_settings(folder),
        lifters=load_lifters(folder),
        bands=load_own_bands(folder),
        sensors=open_shelf(folder),
    )
