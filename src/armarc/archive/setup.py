"""What a whole archive is measured with, settled once so that every worker does the same."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from armarc import __version__
from armarc.choices import Choices
from armarc.errors import UsageError
from armarc.exercises import Exercise
from armarc.exercises.types import exercise_record
from armarc.kept import Kept
from armarc.options import OPTIONS, MeasuringOptions
from armarc.recording import Metadata, Recording


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Options of measuring, options of reading, what is kept and the exercises in force.

    Parameters
    ----------
    options : MeasuringOptions
    reading : dict
        As `armarc.recording.read_csv` takes them, without ``gyroscope_path``.
    catalogue : dict of str to Exercise
    kept : Kept
        Settings, calibrations and mounts, read once, so that workers on other machines know them.
    settings_sha256 : str
        Hash of `record`.
    """

    options: MeasuringOptions = field(default_factory=MeasuringOptions)
    reading: dict[str, object] = field(default_factory=dict)
    catalogue: dict[str, Exercise]
    kept: Kept = field(default_factory=Kept)
    settings_sha256: str = field(init=False)

    def __post_init__(self) -> None:
        text = json.dumps(self.record(), sort_keys=True, ensure_ascii=False)
        sha256 = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
        object.__setattr__(self, "settings_sha256", sha256)

    def settle(self, recording: Recording) -> tuple[Recording, Choices]:
        """A recording as its calibrated sensor would have written it, and what it is measured with."""
        return self.kept.settle(recording, self.options, self.catalogue)

    def record(self) -> dict[str, Any]:
        """Everything that decides a result besides the recording and the program, JSON-ready."""
        exercises = [{**exercise_record(one), "source": ""} for one in self.catalogue.values()]
        record = {
            "options": self.options.record(),
            "reading": self.reading,
            "settings": self.kept.settings.record(),
            "exercises": exercises,
            "sensors": self.kept.sensors.record(),
        }
        out: dict[str, object] = json.loads(json.dumps(record, default=str))
        return out

    @property
    def run(self) -> str:
        """Name of the partition: the same for the same program version and settings."""
        # A letter first, so that no reader takes the name for a number.
        return "r" + hashlib.sha256(f"{__version__} {self.settings_sha256}".encode()).hexdigest()[:12]


def make_setup(
    options: MeasuringOptions | None = None,
    reading: Mapping[str, object] | None = None,
    kept: Kept | None = None,
) -> Setup:
    """Settle and check what an archive is measured with, before any file is touched.

    Parameters
    ----------
    options : MeasuringOptions or None
    reading : mapping or None
        As `Setup` holds them; None values are dropped.
    kept : Kept or None
        None takes no settings and no calibration; ``armarc archive process`` gives those of the configuration folder.

    Raises
    ------
    UsageError
        An option that makes no sense.
    """
    from armarc.exercises import load_catalogue
    from armarc.recording.sensor_axes import axis_matrix
    from armarc.recording.units import as_pairs, stated_units

    setup = Setup(
        options=options or MeasuringOptions(),
        reading={key: value for key, value in (reading or {}).items() if value is not None},
        catalogue=dict(load_catalogue()),
        kept=kept or Kept(),
    )
    for name, value in setup.options.stated().items():
        words = OPTIONS[name].words
        if words and value not in words:
            raise UsageError(f"{value!r} is no {name.replace('_', ' ')}", f"choose from: {', '.join(words)}")
    read = setup.kept.reading(setup.reading)
    as_pairs(read.get("columns"), "columns")
    stated_units(read.get("units"))
    axis_matrix(read.get("axes"))
    if read.get("gravity_sign") not in (None, "reaction", "gravity"):
        raise UsageError(f"there is no gravity sign {read['gravity_sign']!r}", "use reaction or gravity")
    setup.kept.choices(Metadata(), setup.options, setup.catalogue)
    return setup
