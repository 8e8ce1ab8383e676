"""The Bluetooth side: finding sensors, holding on to them, one stream of events."""

from armarc.sensor.link.stream import StreamOptions, stream

__all__ = ["StreamOptions", "stream"]
