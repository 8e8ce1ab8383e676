"""From the stream of events to files that survive a crash."""

from armarc.sensor.capture.files import (
    CaptureFiles,
    CaptureReport,
    FilePlan,
    FileReport,
    capture,
    check_targets,
)

__all__ = ["CaptureFiles", "CaptureReport", "FilePlan", "FileReport", "capture", "check_targets"]
