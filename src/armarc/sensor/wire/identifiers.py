"""UUIDs of the wrist profile and of the standard services it uses.

The 128-bit base was drawn at random (RFC 9562 version 4). The 16-bit numbers are from the Bluetooth SIG
*Assigned Numbers* document, sections "Services by UUID" and "Characteristics by UUID"; they are widened with
the Bluetooth base UUID 00000000-0000-1000-8000-00805F9B34FB (Core Specification, Vol 3, Part B).
"""

from __future__ import annotations

from typing import Final

from armarc.errors import SensorError

_BASE: Final = "bd039f{:02x}-ba1d-4591-ad5f-fbc8763e87b3"

WRIST_SERVICE: Final = _BASE.format(0x00)
WRIST_DATA: Final = _BASE.format(0x01)
WRIST_CONTROL: Final = _BASE.format(0x02)
WRIST_CLOCK: Final = _BASE.format(0x03)


def assigned(number: int) -> str:
    """The 128-bit form of a 16-bit assigned number."""
    return f"{number:08x}-0000-1000-8000-00805f9b34fb"


BATTERY_SERVICE: Final = assigned(0x180F)
BATTERY_LEVEL: Final = assigned(0x2A19)
DEVICE_INFORMATION_SERVICE: Final = assigned(0x180A)
MANUFACTURER_NAME: Final = assigned(0x2A29)
MODEL_NUMBER: Final = assigned(0x2A24)
SERIAL_NUMBER: Final = assigned(0x2A25)
FIRMWARE_REVISION: Final = assigned(0x2A26)
HARDWARE_REVISION: Final = assigned(0x2A27)
SOFTWARE_REVISION: Final = assigned(0x2A28)


class PacketError(SensorError):
    """Bytes from a sensor that do not follow the layout they should."""
