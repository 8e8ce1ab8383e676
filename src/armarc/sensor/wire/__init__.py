"""The wrist profile: what its bytes mean. The normative page is ``firmware_notes/wrist-profile.md``."""

from armarc.sensor.wire.control import (
    ClockReading,
    SensorSettings,
    SensorState,
    configure_command,
    decode_clock,
    decode_state,
    start_command,
    stop_command,
)
from armarc.sensor.wire.identifiers import PacketError
from armarc.sensor.wire.packet import (
    CLIPPED,
    FIRST,
    LOW_BATTERY,
    OVERFLOW,
    DataPacket,
    decode_packet,
)

__all__ = [
    "CLIPPED",
    "FIRST",
    "LOW_BATTERY",
    "OVERFLOW",
    "ClockReading",
    "DataPacket",
    "PacketError",
    "SensorSettings",
    "SensorState",
    "configure_command",
    "decode_clock",
    "decode_packet",
    "decode_state",
    "start_command",
    "stop_command",
]
