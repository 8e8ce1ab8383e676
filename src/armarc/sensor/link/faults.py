"""Every way Bluetooth fails, in words that help.

The backends of bleak raise its own exceptions, those of the operating system (`OSError` when there is no
system bus), time-outs, and on Linux those of the D-Bus library. `sensor_error` turns each into a
`SensorError`; a test goes through bleak's list and fails on one that is not known here.
"""

from __future__ import annotations

import asyncio
import errno
from typing import Final

from armarc.errors import SensorError

_ADAPTER: Final = {
    "NO_BLUETOOTH": (
        "this machine has no Bluetooth adapter",
        "plug one in, or enable it in the firmware settings",
    ),
    "NO_BLE_CENTRAL_ROLE": (
        "the Bluetooth adapter cannot connect to low-energy sensors",
        "use an adapter for Bluetooth 4.0 or newer",
    ),
    "POWERED_OFF": ("Bluetooth is switched off", "switch it on in the system settings and try again"),
    "DENIED_BY_USER": (
        "this program was not allowed to use Bluetooth",
        "allow it for the terminal in the system's privacy settings",
    ),
    "DENIED_BY_SYSTEM": (
        "the system's policy does not allow this program to use Bluetooth",
        "ask whoever administers this machine",
    ),
    "DENIED_BY_UNKNOWN": (
        "the use of Bluetooth was refused",
        "check the system's privacy settings for the terminal",
    ),
    "UNKNOWN": ("Bluetooth is not available", "switch it off and on again, or restart its system service"),
}

_DBUS: Final = {
    "org.freedesktop.DBus.Error.ServiceUnknown": (
        "the system's Bluetooth service is not running",
        "start it (on most systems: systemctl start bluetooth) and try again",
    ),
    "org.freedesktop.DBus.Error.NameHasNoOwner": (
        "the system's Bluetooth service is not running",
        "start it (on most systems: systemctl start bluetooth) and try again",
    ),
    "org.freedesktop.DBus.Error.NoReply": (
        "the system's Bluetooth service stopped answering",
        "restart it (on most systems: systemctl restart bluetooth)",
    ),
    "org.freedesktop.DBus.Error.Disconnected": (
        "the connection to the system's Bluetooth service broke",
        "try again; restart the service if it stays",
    ),
    "org.freedesktop.DBus.Error.AccessDenied": (
        "permission to use Bluetooth was refused",
        "add this user to the group that may use it (often 'bluetooth') and log in again",
    ),
    "org.freedesktop.DBus.Error.UnknownObject": (
        "the system has forgotten the sensor",
        "wake the sensor so that it is seen again",
    ),
    "org.freedesktop.DBus.Error.UnknownMethod": (
        "the system has forgotten the sensor",
        "wake the sensor so that it is seen again",
    ),
    "org.bluez.Error.NotReady": ("Bluetooth is switched off", "switch it on and try again"),
    "org.bluez.Error.NotAuthorized": ("the sensor refused access", "pair it in the system settings first"),
    "org.bluez.Error.NotPermitted": (
        "the sensor refused the request",
        "pair it in the system settings first",
    ),
    "org.bluez.Error.AuthenticationFailed": ("pairing failed", "remove the sensor in the system settings"),
    "org.bluez.Error.AuthenticationRejected": ("pairing was refused", "pair it in the system settings first"),
    "org.bluez.Error.AuthenticationCanceled": ("pairing was cancelled", "try again"),
    "org.bluez.Error.AuthenticationTimeout": ("pairing took too long", "try again"),
    "org.bluez.Error.ConnectionAttemptFailed": (
        "the sensor did not answer",
        "bring it closer; check that no other device is connected to it",
    ),
    "org.bluez.Error.InProgress": ("another program is using the Bluetooth adapter", "wait, or close it"),
    "org.bluez.Error.AlreadyConnected": ("the sensor is connected already", "close the other program"),
    "org.bluez.Error.DoesNotExist": ("the system has forgotten the sensor", "wake it and try again"),
    "org.bluez.Error.NotConnected": ("the link broke", "bring the sensor closer"),
    "org.bluez.Error.NotSupported": ("the sensor cannot do that", "check its firmware version"),
    "org.bluez.Error.NotAvailable": ("the sensor cannot do that now", "restart the sensor"),
    "org.bluez.Error.InvalidArguments": ("the sensor refused the value", "check its firmware version"),
    "org.bluez.Error.Failed": ("the link broke or could not be made", "bring the sensor closer; try again"),
}

_PAIRING_CODES: Final = {0x05, 0x08, 0x0C, 0x0F}
_REFUSED_CODES: Final = {0x02, 0x03, 0x06, 0x0D, 0x13, 0xFC, 0xFD, 0xFF}


def sensor_error(error: BaseException, doing: str) -> SensorError:
    """Put a failure of the Bluetooth stack into words.

    Parameters
    ----------
    error : BaseException
    doing : str
        What was being done, for the start of the message: ``"looking for sensors"``.

    Returns
    -------
    SensorError
        With the original's text kept in the message where it says more.
    """
    if isinstance(error, SensorError):
        return error
    found = _explain(error)
    if found is None:
        return SensorError(
            f"{doing}: {type(error).__name__}: {error}", "try again; restart the sensor and Bluetooth"
        )
    what, hint = found
    return SensorError(f"{doing}: {what}", hint)


def is_known(error: BaseException) -> bool:
    """Whether `sensor_error` has words of its own for this failure."""
    return isinstance(error, SensorError) or _explain(error) is not None


def _explain(error: BaseException) -> tuple[str, str] | None:
    from bleak import exc

    if isinstance(error, exc.BleakBluetoothNotAvailableError):
        return _ADAPTER.get(error.reason.name)
    if isinstance(error, exc.BleakDeviceNotFoundError):
        return "the system has forgotten the sensor", "wake the sensor so that it is seen again"
    if isinstance(error, exc.BleakCharacteristicNotFoundError):
        return (
            f"the sensor has no characteristic {error.char_specifier}",
            "wrong device, or firmware of another version; after an update remove it in the system settings",
        )
    if isinstance(error, exc.BleakGATTProtocolError):
        return _att(int(error.code))
    if isinstance(error, exc.BleakDBusError):
        return _dbus(error.dbus_error, error.dbus_error_details or "")
    if isinstance(error, exc.BleakError):
        return _plain(str(error))
    if isinstance(error, asyncio.TimeoutError | TimeoutError):
        return (
            "the sensor did not answer in time",
            "bring it closer; check that nothing else is connected to it",
        )
    if isinstance(error, EOFError):
        return _DBUS["org.freedesktop.DBus.Error.Disconnected"]
    if isinstance(error, OSError):
        return _system(error)
    if type(error).__module__.partition(".")[0] == "dbus_fast":
        return _dbus_library(error)
    if isinstance(error, RuntimeError | AssertionError | AttributeError | KeyError):
        # What the backends do in the moment a link goes away under them.
        return "the link broke in the middle of a request", "try again; bring the sensor closer"
    return None


def _att(code: int) -> tuple[str, str]:
    if code in _PAIRING_CODES:
        return "the sensor wants to be paired first", "pair it in the system settings"
    if code == 0x80:
        return "the sensor cannot do the settings asked for", "ask for another rate or range"
    if code == 0x81:
        return "the sensor cannot do that in its present state", "restart the sensor"
    if code == 0x12:
        return "the system's memory of the sensor is out of date", "remove the sensor in the system settings"
    if code in _REFUSED_CODES:
        return (
            f"the sensor refused the request (ATT error 0x{code:02x})",
            "wrong device, or firmware of another version",
        )
    return f"the sensor reported ATT error 0x{code:02x}", "restart the sensor"


def _dbus(name: str, details: str) -> tuple[str, str]:
    if name in _DBUS:
        what, hint = _DBUS[name]
    else:
        what, hint = f"the system's Bluetooth service reported {name}", "try again; restart the service"
    return (f"{what} ({details})" if details and name == "org.bluez.Error.Failed" else what), hint


def _plain(text: str) -> tuple[str, str]:
    lowered = text.lower()
    if "bluez >=" in lowered:
        return "the system's Bluetooth service is too old", "it must be version 5.55 or newer"
    if "adapter" in lowered and "not found" in lowered:
        return _ADAPTER["NO_BLUETOOTH"]
    if any(part in lowered for part in ("turned off", "powered off", "not powered")):
        return _ADAPTER["POWERED_OFF"]
    if any(part in lowered for part in ("not connected", "disconnected", "service discovery", "not found")):
        return "the link broke", "bring the sensor closer"
    return f"the Bluetooth stack reported: {text}", "try again; restart the sensor and Bluetooth"


def _system(error: OSError) -> tuple[str, str]:
    if error.errno in (errno.EACCES, errno.EPERM) or isinstance(error, PermissionError):
        return _DBUS["org.freedesktop.DBus.Error.AccessDenied"]
    if error.errno in (errno.ENOENT, errno.ECONNREFUSED) or isinstance(error, FileNotFoundError):
        return (
            "there is no Bluetooth service on this machine",
            "install and start it; in a container, hand the system bus in",
        )
    return (
        f"the connection to the system's Bluetooth service broke ({error})",
        "try again; restart the service if it stays",
    )


def _dbus_library(error: BaseException) -> tuple[str, str]:
    name = type(error).__name__
    if name.startswith("Auth"):
        return _DBUS["org.freedesktop.DBus.Error.AccessDenied"]
    if name == "InvalidAddressError":
        return (
            "the address of the system bus makes no sense",
            "check the environment variable DBUS_SYSTEM_BUS_ADDRESS",
        )
    if name == "DBusError":
        return _dbus(str(getattr(error, "type", "")), str(getattr(error, "text", "")))
    return f"the system's Bluetooth service said something unexpected ({name})", "restart the service"
