"""From the stream of events to files that survive a crash."""

from armarc.sensor.capture.files import CaptureFiles, FilePlan, check_targets
from armarc.sensor.capture.run import CaptureReport, FileReport, capture

__all__ = ["CaptureFiles", "CaptureReport", "FilePlan", "FileReport", "capture", "check_targets"]
