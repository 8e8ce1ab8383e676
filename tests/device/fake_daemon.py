"""A stand-in for the Linux Bluetooth daemon on a private D-Bus: what bleak's Linux backend talks to, minus the
radio.

`PrivateBus` runs a `dbus-daemon`; `FakeDaemon` owns ``org.bluez`` there and answers for one adapter and the
`Peripheral` objects added to it. Raw messages, because the tests need state per caller and odd errors.
"""

from __future__ import annotations

import asyncio
import itertools
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

OBJECTS = "org.freedesktop.DBus.ObjectManager"
PROPERTIES = "org.freedesktop.DBus.Properties"
ADAPTER = "org.bluez.Adapter1"
DEVICE = "org.bluez.Device1"
SERVICE = "org.bluez.GattService1"
CHARACTERISTIC = "org.bluez.GattCharacteristic1"
DESCRIPTOR = "org.bluez.GattDescriptor1"
CLIENT_CONFIGURATION = "00002902-0000-1000-8000-00805f9b34fb"

BUS_CONFIGURATION = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>session</type><listen>unix:path={socket}</listen><auth>EXTERNAL</auth>
<policy context="default">
<allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/></policy></busconfig>"""


class PrivateBus:
    """A `dbus-daemon` on a socket of its own."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="private-bus-"))
        configuration = self._folder / "bus.conf"
        configuration.write_text(BUS_CONFIGURATION.format(socket=self._folder / "bus"))
        self._process = subprocess.Popen(
            ["dbus-daemon", f"--config-file={configuration}", "--nofork", "--nopidfile", "--print-address"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self._process.stdout is not None
        self.address = self._process.stdout.readline().strip()
        if not self.address:
            raise RuntimeError("the dbus-daemon did not start")

    def kill(self) -> None:
        """The bus dies."""
        self._process.kill()
        self._process.wait()

    def close(self) -> None:
        if self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(5)
            except subprocess.TimeoutExpired:  # a busy machine
                self.kill()
        assert self._process.stdout is not None
        self._process.stdout.close()
        shutil.rmtree(self._folder, ignore_errors=True)


class Refusal(Exception):
    """What a method call is answered with."""

    def __init__(self, name: str, text: str = "") -> None:
        super().__init__(name, text)
        self.name, self.text = name, text


@dataclass(eq=False)
class Characteristic:
    """One GATT characteristic; `read` and `write` may raise `Refusal`."""

    uuid: str
    flags: list[str]
    value: bytes = b""
    read: Callable[[], bytes] | None = None
    write: Callable[[bytes], None] | None = None
    handle: int = 0
    path: str = ""
    subscribers: set[str] = field(default_factory=set)

    @property
    def notifies(self) -> bool:
        return bool({"notify", "indicate"} & set(self.flags))


class Peripheral:
    """A device with GATT services."""

    def __init__(
        self,
        *,
        name: str,
        address: str,
        services: list[tuple[str, list[Characteristic]]],
        advertises: list[str],
        att_mtu: int = 247,
    ) -> None:
        self.name, self.address, self.att_mtu = name, address, att_mtu
        self.services, self.advertises = services, advertises
        self.connected = self.exists = self.exported = False
        self.in_range = True
        self.connect_delay_s = 0.0
        self.refuse_connect: list[Refusal] = []
        self.path = ""
        self.daemon: FakeDaemon
        self._signal_sent: asyncio.Future[Any] | None = None
        self._giving_up: asyncio.Event | None = None
        self._rssi = -60
        handles = itertools.count(0x10)
        self._service_handles = []
        for _, characteristics in services:
            self._service_handles.append(next(handles))
            for one in characteristics:
                one.handle = next(handles)
                next(handles)  # the value's own handle
                if one.notifies:
                    next(handles)  # the descriptor

    def find(self, uuid: str) -> Characteristic:
        return next(one for _, many in self.services for one in many if one.uuid == uuid)

    def notify(self, uuid: str, data: bytes) -> bool:
        """One notification; False when nobody listens or the way is blocked."""
        one = self.find(uuid)
        assert len(data) <= self.att_mtu - 3, f"{len(data)} bytes do not fit ATT_MTU {self.att_mtu}"
        if not self.connected or not one.subscribers:
            return False
        if self._signal_sent is not None and not self._signal_sent.done():
            return False
        one.value = data
        for _ in one.subscribers:  # the daemon sends one signal for each subscribed program
            self._signal_sent = self.daemon.changed(one.path, CHARACTERISTIC, {"Value": Variant("ay", data)})
        return True

    def lose_link(self) -> None:
        """Out of range or switched off."""
        self.in_range = False
        if self.connected:
            self.daemon.drop(self)

    def return_(self) -> None:
        self.in_range = True

    def vanish(self) -> None:
        """The daemon forgets the device without ever saying that it is not connected any more."""
        self.connected = False
        self.daemon.forget(self)

    def on_connected(self) -> None:
        """For subclasses."""

    def on_disconnected(self) -> None:
        """For subclasses."""

    def properties(self) -> dict[str, Variant]:
        out = {
            "Address": Variant("s", self.address),
            "AddressType": Variant("s", "random"),
            "Alias": Variant("s", self.name or self.address.replace(":", "-")),
            "Adapter": Variant("o", self.daemon.adapter),
            "Paired": Variant("b", False),
            "Bonded": Variant("b", False),
            "Trusted": Variant("b", False),
            "Blocked": Variant("b", False),
            "LegacyPairing": Variant("b", False),
            "Connected": Variant("b", self.connected),
            "ServicesResolved": Variant("b", self.connected),
            "UUIDs": Variant("as", self.advertises),
        }
        if self.name:
            out["Name"] = Variant("s", self.name)
        if self.in_range:
            out["RSSI"] = Variant("n", self._rssi)
        return out

    def objects(self) -> dict[str, dict[str, dict[str, Variant]]]:
        out: dict[str, dict[str, dict[str, Variant]]] = {}
        for handle, (uuid, many) in zip(self._service_handles, self.services, strict=True):
            service = f"{self.path}/service{handle:04x}"
            out[service] = {
                SERVICE: {
                    "UUID": Variant("s", uuid),
                    "Primary": Variant("b", True),
                    "Device": Variant("o", self.path),
                    "Includes": Variant("ao", []),
                }
            }
            for one in many:
                one.path = f"{service}/char{one.handle:04x}"
                out[one.path] = {
                    CHARACTERISTIC: {
                        "UUID": Variant("s", one.uuid),
                        "Service": Variant("o", service),
                        "Value": Variant("ay", one.value),
                        "Flags": Variant("as", one.flags),
                        "MTU": Variant("q", self.att_mtu),
                        "Notifying": Variant("b", bool(one.subscribers)),
                    }
                }
                if one.notifies:
                    out[f"{one.path}/desc{one.handle + 2:04x}"] = {
                        DESCRIPTOR: {
                            "UUID": Variant("s", CLIENT_CONFIGURATION),
                            "Characteristic": Variant("o", one.path),
                            "Value": Variant("ay", b""),
                        }
                    }
        return out

    def advertise(self) -> None:
        self._rssi = -59 if self._rssi == -60 else -60  # the daemon tells only changes
        if self.exists:
            self.daemon.changed(self.path, DEVICE, {"RSSI": Variant("n", self._rssi)})
        else:
            self.exists = True
            body = [self.path, {DEVICE: self.properties()}]
            self.daemon.signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", body)


class FakeDaemon:
    """Owner of ``org.bluez`` on a bus.

    Parameters
    ----------
    keep_devices : bool
        False: devices are forgotten as soon as the scan ends.
    adapter_present, powered, roles
        State of the one adapter.
    """

    def __init__(
        self,
        address: str,
        *,
        keep_devices: bool = True,
        adapter_present: bool = True,
        powered: bool = True,
        roles: tuple[str, ...] = ("central", "peripheral"),
    ) -> None:
        self.adapter = "/org/bluez/hci0"
        self.powered = powered
        self.fail_next: dict[str, Refusal] = {}
        self.calls: list[str] = []
        self._address, self._roles = address, roles
        self._keep_devices, self._adapter_present = keep_devices, adapter_present
        self._peripherals: list[Peripheral] = []
        self._scanners: set[str] = set()
        self._tasks: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> FakeDaemon:
        self._bus = await MessageBus(bus_address=self._address, bus_type=BusType.SYSTEM).connect()
        self._bus.add_message_handler(self._answer)
        match = Message(
            destination="org.freedesktop.DBus",
            path="/org/freedesktop/DBus",
            interface="org.freedesktop.DBus",
            member="AddMatch",
            signature="s",
            body=["type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged'"],
        )
        await self._bus.call(match)
        await self._bus.request_name("org.bluez")
        return self

    async def __aexit__(self, *_: object) -> None:
        for one in self._peripherals:
            one.connected = one.exists = one.exported = False
            for _, many in one.services:
                for characteristic in many:
                    characteristic.subscribers.clear()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.sleep(0.05)  # a message half sent would be sent on by whoever gets the socket's number
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._bus.disconnect()
        try:
            await self._bus.wait_for_disconnect()
        except Exception:  # the bus may have been killed by the test
            return

    def add(self, one: Peripheral) -> None:
        one.daemon = self
        one._signal_sent = None
        one.path = f"{self.adapter}/dev_{one.address.replace(':', '_')}"
        self._peripherals.append(one)

    def drop(self, one: Peripheral) -> None:
        """The link is lost and the daemon says so. Subscriptions of living programs stay armed."""
        one.connected = False
        self.changed(one.path, DEVICE, {"ServicesResolved": Variant("b", False)})
        self.changed(one.path, DEVICE, {"Connected": Variant("b", False)})
        one.on_disconnected()

    def forget(self, one: Peripheral) -> None:
        if not one.exists:
            return
        if one.exported:
            one.exported = False
            for path, interfaces in one.objects().items():
                self.signal("/", OBJECTS, "InterfacesRemoved", "oas", [path, list(interfaces)])
            for _, many in one.services:
                for characteristic in many:
                    characteristic.subscribers.clear()
        one.exists = False
        self.signal("/", OBJECTS, "InterfacesRemoved", "oas", [one.path, [DEVICE, PROPERTIES]])

    def set_powered(self, on: bool) -> None:
        self.powered = on
        for one in self._peripherals:
            if one.connected and not on:
                self.drop(one)
        self.changed(self.adapter, ADAPTER, {"Powered": Variant("b", on)})

    def signal(
        self, path: str, interface: str, member: str, signature: str, body: list[Any]
    ) -> asyncio.Future[Any]:
        message = Message(
            message_type=MessageType.SIGNAL,
            path=path,
            interface=interface,
            member=member,
            signature=signature,
            body=body,
        )
        return self._bus.send(message)

    def changed(
        self, path: str, interface: str, values: dict[str, Variant], gone: tuple[str, ...] = ()
    ) -> asyncio.Future[Any]:
        body = [interface, values, list(gone)]
        return self.signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", body)

    def _objects(self) -> dict[str, Any]:
        out: dict[str, Any] = {"/org/bluez": {"org.bluez.AgentManager1": {}}}
        if self._adapter_present:
            out[self.adapter] = {
                ADAPTER: {
                    "Address": Variant("s", "00:11:22:33:44:55"),
                    "Name": Variant("s", "invented"),
                    "Alias": Variant("s", "invented"),
                    "Powered": Variant("b", self.powered),
                    "Discovering": Variant("b", bool(self._scanners)),
                    "UUIDs": Variant("as", []),
                    "Roles": Variant("as", list(self._roles)),
                }
            }
        for one in self._peripherals:
            if one.exists:
                out[one.path] = {DEVICE: one.properties()}
                if one.exported:
                    out.update(one.objects())
        return out

    def _answer(self, message: Message) -> Message | bool | None:
        if message.message_type == MessageType.SIGNAL and message.member == "NameOwnerChanged":
            name, _, owner = message.body
            if not owner:
                self._program_gone(name)
            return None
        if message.message_type != MessageType.METHOD_CALL or message.interface.endswith(".Peer"):
            return None
        self.calls.append(message.member)
        if message.member in ("Connect", "Disconnect") and message.interface == DEVICE:
            task = asyncio.ensure_future(self._later(message))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
            return True
        try:
            if message.member in self.fail_next:
                raise self.fail_next.pop(message.member)
            return self._dispatch(message)
        except Refusal as refusal:
            return Message.new_error(message, refusal.name, refusal.text)

    async def _later(self, message: Message) -> None:
        try:
            await self._answer_later(message)
        except Exception as fault:  # a fault of the fake must not look like a silent daemon
            self._bus.send(Message.new_error(message, "org.bluez.Error.Failed", f"fake daemon: {fault!r}"))

    async def _answer_later(self, message: Message) -> None:
        one = next((p for p in self._peripherals if p.exists and p.path == message.path), None)
        try:
            if message.member in self.fail_next:
                raise self.fail_next.pop(message.member)
            if one is None:
                raise Refusal("org.freedesktop.DBus.Error.UnknownObject", "no such device")
            await (self._connect(one) if message.member == "Connect" else self._disconnect(one))
        except Refusal as refusal:
            self._bus.send(Message.new_error(message, refusal.name, refusal.text))
        else:
            self._bus.send(Message.new_method_return(message))
            if message.member == "Connect" and one is not None:
                known = [uuid for uuid, _ in one.services]
                self.changed(
                    one.path, DEVICE, {"UUIDs": Variant("as", known), "ServicesResolved": Variant("b", True)}
                )
                one.on_connected()

    async def _connect(self, one: Peripheral) -> None:
        await asyncio.sleep(one.connect_delay_s)
        if one.refuse_connect:
            raise one.refuse_connect.pop(0)
        if not self.powered:
            raise Refusal("org.bluez.Error.NotReady", "Resource Not Ready")
        one._giving_up = asyncio.Event()
        while not one.in_range:  # the daemon goes on trying until it is told to stop
            if one._giving_up.is_set():
                raise Refusal("org.bluez.Error.Failed", "Software caused connection abort")
            await asyncio.sleep(0.02)
        one.connected = True
        self.changed(one.path, DEVICE, {"Connected": Variant("b", True)})
        if not one.exported:
            one.exported = True
            for path, interfaces in sorted(one.objects().items()):
                self.signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])

    async def _disconnect(self, one: Peripheral) -> None:
        if one._giving_up is not None:
            one._giving_up.set()
        if one.connected:
            self.drop(one)

    def _program_gone(self, name: str) -> None:
        """A program left the bus: its scan and subscriptions end, its connection does not."""
        self._scanners.discard(name)
        for one in self._peripherals:
            for _, many in one.services:
                for characteristic in many:
                    characteristic.subscribers.discard(name)

    def _dispatch(self, message: Message) -> Message:
        if message.member == "GetManagedObjects":
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [self._objects()])
        if message.path == self.adapter and message.interface == ADAPTER:
            return self._adapter_call(message)
        for one in self._peripherals:
            if one.exists and one.exported and message.path.startswith(one.path + "/"):
                if not one.connected:
                    raise Refusal("org.bluez.Error.Failed", "Not connected")
                for _, many in one.services:
                    for characteristic in many:
                        if characteristic.path == message.path:
                            return self._characteristic_call(message, characteristic)
        raise Refusal("org.freedesktop.DBus.Error.UnknownObject", f"{message.member}: no such object")

    def _adapter_call(self, message: Message) -> Message:
        if message.member == "StartDiscovery":
            if not self.powered:
                raise Refusal("org.bluez.Error.NotReady", "Resource Not Ready")
            if message.sender in self._scanners:
                raise Refusal("org.bluez.Error.InProgress", "Operation already in progress")
            self._scanners.add(message.sender)
            if len(self._scanners) == 1:
                task = asyncio.ensure_future(self._advertise())
                self._tasks.add(task)
                task.add_done_callback(self._tasks.discard)
        elif message.member == "StopDiscovery":
            if message.sender not in self._scanners:
                raise Refusal("org.bluez.Error.Failed", "No discovery started")
            self._scanners.discard(message.sender)
            for one in self._peripherals:
                if one.exists and not one.connected and not self._keep_devices:
                    self.forget(one)
        return Message.new_method_return(message)

    async def _advertise(self) -> None:
        while self._scanners:
            for one in self._peripherals:
                if one.in_range and not one.connected:
                    one.advertise()
            await asyncio.sleep(0.1)

    def _characteristic_call(self, message: Message, one: Characteristic) -> Message:
        if message.member == "StartNotify":
            if not one.notifies:
                raise Refusal("org.bluez.Error.NotSupported", "Operation is not supported")
            one.subscribers.add(message.sender)
        elif message.member == "StopNotify":
            one.subscribers.discard(message.sender)
        elif message.member == "ReadValue":
            if "read" not in one.flags:
                raise Refusal("org.bluez.Error.NotPermitted", "Read not permitted")
            value = one.read() if one.read is not None else one.value
            self.changed(one.path, CHARACTERISTIC, {"Value": Variant("ay", value)})  # reads are echoed
            return Message.new_method_return(message, "ay", [value])
        elif message.member == "WriteValue":
            if "write" not in one.flags:
                raise Refusal("org.bluez.Error.NotPermitted", "Write not permitted")
            if one.write is not None:
                one.write(bytes(message.body[0]))
        else:
            raise Refusal("org.freedesktop.DBus.Error.UnknownMethod", message.member)
        return Message.new_method_return(message)
