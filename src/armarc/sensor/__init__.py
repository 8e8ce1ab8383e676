"""The device: packets, Bluetooth link, device descriptions, capture without loss.

`stream` is the one road from sensors to samples; `capture.capture` writes what it yields into files that
survive a crash.

Names are loaded when first used: most commands need none of them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.sensor.capture import CaptureReport, FilePlan
    from armarc.sensor.describe import DescribedDialect, Description, load_description, load_descriptions
    from armarc.sensor.dialect import Batch
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

_HOMES = {
    "Batch": "dialect",
    "Battery": "events",
    "CaptureReport": "capture",
    "DescribedDialect": "describe",
    "Description": "describe",
    "Ended": "events",
    "Event": "events",
    "FilePlan": "capture",
    "Frames": "events",
    "LinkLost": "events",
    "LinkUp": "events",
    "Loss": "events",
    "PacketError": "wire",
    "Remembered": "remembered",
    "SensorFacts": "events",
    "SensorSettings": "wire",
    "StreamOptions": "link",
    "Trouble": "events",
    "load_description": "describe",
    "load_descriptions": "describe",
    "load_known": "remembered",
    "stream": "link",
}

__all__ = [
    "Batch",
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
    "load_description",
    "load_descriptions",
    "load_known",
    "stream",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"armarc.sensor.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
