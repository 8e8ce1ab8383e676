"""Every exception of the Bluetooth stack has words of its own; none becomes a bare class name."""

from __future__ import annotations

import inspect

import pytest

from armarc.errors import SensorError
from armarc.sensor.link.faults import is_known, sensor_error
from armarc.sensor.wire import PacketError

exc = pytest.importorskip("bleak.exc", reason="the Bluetooth library is not installed")

REASONS = list(exc.BleakBluetoothNotAvailableReason)
CODES = [*exc.BleakGATTProtocolErrorCode, *range(0x80, 0xA0), 0x77]
STANDARD = "ServiceUnknown NoReply AccessDenied Unheard"
DAEMON = (
    "AlreadyConnected AuthenticationCanceled AuthenticationFailed AuthenticationRejected AuthenticationTimeout "
    "ConnectionAttemptFailed DoesNotExist Failed InProgress InvalidArguments NotAuthorized NotAvailable "
    "NotConnected NotPermitted NotReady NotSupported"
)
DBUS = [f"org.freedesktop.DBus.Error.{name}" for name in STANDARD.split(" ")]
DBUS += [f"org.bluez.Error.{name}" for name in DAEMON.split(" ")]


def _samples() -> dict[type[Exception], list[Exception]]:
    return {
        exc.BleakError: [
            exc.BleakError(text) for text in ("Not connected", "adapter 'hci9' not found", "odd")
        ],
        exc.BleakBluetoothNotAvailableError: [
            exc.BleakBluetoothNotAvailableError("no", reason) for reason in REASONS
        ],
        exc.BleakCharacteristicNotFoundError: [exc.BleakCharacteristicNotFoundError("2a19")],
        exc.BleakDeviceNotFoundError: [exc.BleakDeviceNotFoundError("AA:BB", "gone")],
        exc.BleakDBusError: [exc.BleakDBusError(name, ["details"]) for name in DBUS]
        + [exc.BleakDBusError("org.bluez.Error.Failed", [])],
        exc.BleakGATTProtocolError: [exc.BleakGATTProtocolError(code) for code in CODES],
    }


def test_every_exception_of_the_library_is_mapped() -> None:
    there = {
        one
        for _, one in inspect.getmembers(exc, inspect.isclass)
        if issubclass(one, Exception) and one.__module__ == exc.__name__
    }
    assert there == set(_samples()), "a class is new or gone: give it words in armarc.sensor.link.faults"
    for errors in _samples().values():
        for error in errors:
            assert is_known(error), error
            said = sensor_error(error, "looking for sensors")
            assert said.message.startswith("looking for sensors: ")
            assert said.hint
            assert "Bleak" not in str(said)


def test_every_exception_of_the_bus_library_is_mapped() -> None:
    errors = pytest.importorskip("dbus_fast.errors")
    for _, one in inspect.getmembers(errors, inspect.isclass):
        if issubclass(one, Exception) and one.__module__ == errors.__name__:
            error = one.__new__(one)
            assert is_known(error), one


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (FileNotFoundError(2, "no such file"), "there is no Bluetooth service"),
        (PermissionError(13, "denied"), "permission to use Bluetooth was refused"),
        (ConnectionResetError(104, "reset"), "broke"),
        (TimeoutError(), "did not answer in time"),
        (EOFError(), "broke"),
        (RuntimeError("x"), "in the middle of a request"),
        (
            exc.BleakBluetoothNotAvailableError("", exc.BleakBluetoothNotAvailableReason.POWERED_OFF),
            "switched off",
        ),
        (
            exc.BleakBluetoothNotAvailableError("", exc.BleakBluetoothNotAvailableReason.NO_BLUETOOTH),
            "no Bluetooth",
        ),
        (exc.BleakGATTProtocolError(0x80), "cannot do the settings"),
        (exc.BleakGATTProtocolError(0x05), "paired first"),
    ],
)
def test_words(error: Exception, said: str) -> None:
    assert said in sensor_error(error, "connecting").message


def test_own_errors_pass_through() -> None:
    error = PacketError("short")
    assert sensor_error(error, "connecting") is error
    assert isinstance(error, SensorError)
    assert not is_known(ValueError("a fault in the program"))
