"""What is kept in the configuration folder and goes into every measurement: settings, bodies, bands, sensors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from armarc.choices import Choices, choose, header_options
from armarc.exercises import Exercise
from armarc.known_sensor import SensorShelf, open_shelf
from armarc.load.lifter import Lifter
from armarc.load.lifter_file import Lifters, load_lifters
from armarc.options import MeasuringOptions
from armarc.own_bands import OwnBands, load_own_bands
from armarc.recording import Metadata, Recording
from armarc.settings import Settings, load_settings


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
