"""The device: packets, Bluetooth link, device descriptions, capture without loss.

`stream` is the one road from sensors to samples; `capture` writes what it yields into files that survive a crash.
"""

from armarc.sensor.capture import CaptureReport, FilePlan, capture
from armarc.sensor.describe import DescribedDialect, Description, load_description, load_descriptions
from armarc.sensor.events import (
    Battery,
    Ended,
    Event,
    Frames,
    LinkLost,
    LinkUp,
    Loss,
    SensorFacts,
    Trouble,
)
from armarc.sensor.link import StreamOptions, stream
from armarc.sensor.remembered import Remembered, load_known
from armarc.sensor.wire import PacketError, SensorSettings

__all__ = [
    "Battery",
    "CaptureReport",
    "DescribedDialect",
    "Description",
    "Ended",
    "Event",
    "FilePlan",
    "Frames",
    "LinkLost",
    "LinkUp",
    "Loss",
    "PacketError",
    "Remembered",
    "SensorFacts",
    "SensorSettings",
    "StreamOptions",
    "Trouble",
    "capture",
    "load_description",
    "load_descriptions",
    "load_known",
    "stream",
]
