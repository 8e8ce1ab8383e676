"""What a packet that cannot be read raises."""

from __future__ import annotations

from armarc.errors import SensorError


class PacketError(SensorError):
    """Bytes from a sensor that do not follow the layout they should."""
