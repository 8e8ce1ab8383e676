"""What is kept of a sensor, applied to its samples: calibration, how it sits, how far its scales may be off."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from armarc.motion.tolerance import Tolerance
from armarc.recording import FloatArray, Metadata, Recording
from armarc.sensor.calibration import (
    Calibration,
    apply_calibration,
    correct_samples,
    load_calibrations,
    tolerance_of,
)
from armarc.sensor.calibration.store import (
    StoredMount,
    entry_record,
    latest_calibration,
    latest_mount,
    load_mounts,
)
from armarc.sensor.calibration.types import MARK


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSensor:
    """What is known of one sensor on one side of the body; all None for a stranger."""

    calibration: Calibration | None = None
    mount: StoredMount | None = None

    @property
    def tolerance(self) -> Tolerance | None:
        """Scale errors left by the calibration."""
        return tolerance_of(self.calibration)

    def corrected(self, recording: Recording) -> Recording:
        """The recording as the calibrated sensor would have written it; one that was corrected stays as it is."""
        return apply_calibration(recording, self.calibration)

    def corrected_samples(self, force: FloatArray, omega: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The same for samples of specific force and angular velocity, shape (n, 3) each, as they come in."""
        return (force, omega) if self.calibration is None else correct_samples(self.calibration, force, omega)

    def head(self, metadata: Metadata) -> Metadata:
        """Metadata of samples that were corrected as they came in: never correct them again."""
        if self.calibration is None:
            return metadata
        return replace(metadata, other=metadata.other | {MARK: self.calibration.label})

    def options(self) -> dict[str, Any]:
        """What `armarc.process` and `choose` want to know of it."""
        return {"kept_mount": self.mount, "tolerance": self.tolerance}


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorShelf:
    """All calibrations and mounts that are kept, oldest first."""

    calibrations: tuple[Calibration, ...] = field(default=())
    mounts: tuple[StoredMount, ...] = field(default=())

    def look_up(self, metadata: Metadata, side: str) -> KnownSensor:
        """What is kept of the sensor a recording names."""
        return KnownSensor(
            calibration=latest_calibration(self.calibrations, metadata),
            mount=latest_mount(self.mounts, metadata, side),
        )

    def record(self) -> dict[str, Any]:
        """JSON-ready, for telling whether anything has changed."""
        return {
            "calibrations": [entry_record(one) for one in self.calibrations],
            "mounts": [entry_record(one) for one in self.mounts],
        }


def open_shelf(folder: Path | None = None) -> SensorShelf:
    """Read what is kept in the configuration folder.

    Raises
    ------
    InputError
        A file was damaged.
    """
    return SensorShelf(calibrations=load_calibrations(folder), mounts=load_mounts(folder))
