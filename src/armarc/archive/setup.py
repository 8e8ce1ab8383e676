"""What a whole archive is measured with, settled once so that every worker does the same."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from armarc import __version__
from armarc.choices import Choices, choose
from armarc.errors import UsageError
from armarc.exercises import Exercise
from armarc.exercises.records import exercise_record
from armarc.known_sensor import SensorShelf
from armarc.recording import Metadata
from armarc.settings import FUSIONS, HAND_AXES, MOUNTINGS, STRAPS, Settings

_PAIRS = {"band_deg_s": "band_rad_s", "gate_deg": "gate_rad", "loaded_range_deg": "loaded_range_rad"}
_LENGTHS = {"reach_cm": "reach_m", "sensor_height_cm": "sensor_height_m"}
_WORDS = {
    "fusion": FUSIONS,
    "mounting": (*MOUNTINGS, "stated"),
    "strap": STRAPS,
    "hand_axis": HAND_AXES,
    "reference": ("front-raise",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Options of measuring, options of reading, the settings file and the exercises in force.

    Parameters
    ----------
    options : dict
        As `armarc.process` takes them, without ``settings``; angles in degrees, lengths in cm.
    reading : dict
        As `armarc.read_csv` takes them, without ``gyroscope_path``.
    settings : Settings
    catalogue : dict of str to Exercise
    sensors : SensorShelf
        Calibrations and mounts, read once, so that workers on other machines know them.
    settings_sha256 : str
        Hash of `record`.
    """

    options: dict[str, Any] = field(default_factory=dict)
    reading: dict[str, Any] = field(default_factory=dict)
    settings: Settings = field(default_factory=Settings)
    catalogue: dict[str, Exercise]
    sensors: SensorShelf = field(default_factory=SensorShelf)
    settings_sha256: str = field(init=False)

    def __post_init__(self) -> None:
        text = json.dumps(self.record(), sort_keys=True, ensure_ascii=False)
        sha256 = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
        object.__setattr__(self, "settings_sha256", sha256)

    def choices(self, metadata: Metadata) -> Choices:
        """What a recording with this header is measured with."""
        words = dict(self.options)
        for name, target in _PAIRS.items():
            if name in words:
                low, high = words.pop(name)
                words[target] = (math.radians(low), math.radians(high))
        for name, target in _LENGTHS.items():
            if name in words:
                words[target] = words.pop(name) / 100
        return choose(metadata, self.settings, catalogue=self.catalogue, **words)

    def reading_options(self) -> dict[str, Any]:
        """Options of reading, completed from the settings file."""
        saved = {"axes": self.settings.axes, "gravity_sign": self.settings.gravity_sign}
        return {key: value for key, value in saved.items() if value is not None} | self.reading

    def record(self) -> dict[str, Any]:
        """Everything that decides a result besides the recording and the program, JSON-ready."""
        settings = {k: v for k, v in asdict(self.settings).items() if k != "file" and v is not None}
        exercises = [{**exercise_record(one), "source": ""} for one in self.catalogue.values()]
        record = {
            "options": self.options,
            "reading": self.reading,
            "settings": settings,
            "exercises": exercises,
            "sensors": self.sensors.record(),
        }
        out: dict[str, Any] = json.loads(json.dumps(record, default=str))
        return out

    @property
    def run(self) -> str:
        """Name of the partition: the same for the same program version and settings."""
        # A letter first, so that no reader takes the name for a number.
        return "r" + hashlib.sha256(f"{__version__} {self.settings_sha256}".encode()).hexdigest()[:12]


def make_setup(
    options: Mapping[str, Any] | None = None,
    reading: Mapping[str, Any] | None = None,
    settings: Settings | None = None,
    catalogue: Mapping[str, Exercise] | None = None,
    sensors: SensorShelf | None = None,
) -> Setup:
    """Settle and check what an archive is measured with, before any file is touched.

    Parameters
    ----------
    options, reading : mapping or None
        As `Setup` holds them; None values are dropped.
    settings : Settings or None
    catalogue : mapping or None
        None takes the built-in exercises and the user's own.
    sensors : SensorShelf or None
        None takes no calibration; ``armarc archive process`` gives those of the configuration folder.

    Raises
    ------
    UsageError
        An option that makes no sense.
    """
    from armarc.exercises import load_catalogue
    from armarc.recording.sensor_axes import axis_matrix
    from armarc.recording.units import as_pairs, stated_units

    setup = Setup(
        options={key: value for key, value in (options or {}).items() if value is not None},
        reading={key: value for key, value in (reading or {}).items() if value is not None},
        settings=settings or Settings(),
        catalogue=dict(load_catalogue() if catalogue is None else catalogue),
        sensors=sensors or SensorShelf(),
    )
    for name, words in _WORDS.items():
        value = setup.options.get(name)
        if value is not None and value not in words:
            raise UsageError(f"{value!r} is no {name.replace('_', ' ')}", f"choose from: {', '.join(words)}")
    read = setup.reading_options()
    as_pairs(read.get("columns"), "columns")
    stated_units(read.get("units"))
    axis_matrix(read.get("axes"))
    if read.get("gravity_sign") not in (None, "reaction", "gravity"):
        raise UsageError(f"there is no gravity sign {read['gravity_sign']!r}", "use reaction or gravity")
    setup.choices(Metadata())
    return setup
