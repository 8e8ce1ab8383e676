"""One connection, from the first request to the last; what the sensor still held from an earlier one is kept out."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from armarc.errors import SensorError
from armarc.sensor.dialect import Batch, Dialect, Opened
from armarc.sensor.events import SensorFacts
from armarc.sensor.link.faults import sensor_error
from armarc.sensor.link.find import Seen
from armarc.sensor.wire import identifiers as ids
from armarc.sensor.wire.control import SensorSettings
from armarc.sensor.wire.packet import MAX_FRAMES

if TYPE_CHECKING:
    from bleak import BleakClient


log = logging.getLogger(__name__)

CONNECT_S = 20.0
"""Longest a connection may take. bleak's own limit (10 s) covers less than all of `connect`."""
HANG_UP_S = 5.0
REQUEST_S = 5.0
BATTERY_EVERY_S = 60.0


class LinkBroken(Exception):
    """The link is gone; the argument says how it was noticed."""


def host_clock() -> float:
    """Seconds on a clock that never jumps and, where the system has one, goes on while the machine sleeps."""
    boot_time = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot_time is None else time.clock_gettime(boot_time)


class NoLink(SensorError):
    """A connection that could not be made or broke while it was being set up: worth another try."""


class Connection:
    """A connected sensor that streams.

    Callbacks only put things into a queue: bleak logs what they raise and goes on.
    """

    def __init__(self, client: BleakClient, seen: Seen, clock: Callable[[], float]) -> None:
        self.client = client
        self.seen = seen
        self.dialect: Dialect
        self.opened: Opened
        self.facts: SensorFacts
        self._clock = clock
        self._arrived: asyncio.Queue[tuple[float, bytes, int] | int | str] = asyncio.Queue()
        self._poll: asyncio.Task[None] | None = None

    def gone(self) -> None:
        """Tell the reader that the link is down (bleak calls this for our own disconnect, too)."""
        self._arrived.put_nowait("the link broke")

    def wake(self) -> None:
        """Tell the reader to look up, because it is to stop."""
        self._arrived.put_nowait("")

    def on_data(self, source: int) -> Callable[[object, bytearray], None]:
        """What hears the notifications of one of the data characteristics."""

        def hear(_: object, data: bytearray) -> None:
            self._arrived.put_nowait((self._clock(), bytes(data), source))

        return hear

    def on_battery(self, _: object, data: bytearray) -> None:
        if data:
            self._arrived.put_nowait(int(data[0]))

    async def next(self, silence_s: float) -> tuple[float, bytes, int] | int | None:
        """The next packet with its arrival time and its characteristic's place, a battery level, or None when woken.

        Raises
        ------
        LinkBroken
            The link went down, or nothing came for `silence_s`.
        """
        try:
            async with asyncio.timeout(silence_s):
                item = await self._arrived.get()
        except TimeoutError:
            raise LinkBroken(f"nothing came for {silence_s:g} s") from None
        if isinstance(item, str):
            if item:
                raise LinkBroken(item)
            return None
        return item

    async def follow_battery(self) -> None:
        """Subscribe to the battery level, or read it now and then where it does not notify."""
        found = self.client.services.get_characteristic(ids.BATTERY_LEVEL)
        if found is None:
            return
        if {"notify", "indicate"} & set(found.properties):
            with contextlib.suppress(Exception):
                await self.client.start_notify(found, self.on_battery)
                return
        self._poll = asyncio.create_task(self._read_battery_again())

    async def _read_battery_again(self) -> None:
        while True:
            await asyncio.sleep(BATTERY_EVERY_S)
            with contextlib.suppress(Exception):
                self.on_battery(None, await self.client.read_gatt_char(ids.BATTERY_LEVEL))

    async def hang_up(self) -> None:
        """Disconnect for good. A client that is only dropped would make the next one see everything twice."""
        if self._poll is not None:
            self._poll.cancel()
        await hang_up(self.client)


async def hang_up(client: BleakClient) -> None:
    """Disconnect and swallow what goes wrong: the link may be gone already."""
    try:
        async with asyncio.timeout(HANG_UP_S):
            await client.disconnect()
    except Exception as error:
        log.debug("disconnecting: %r", error)


async def connect(
    seen: Seen,
    dialects: Sequence[Dialect],
    settings: SensorSettings,
    *,
    clock: Callable[[], float],
    known_boot: int | None = None,
    facts: SensorFacts | None = None,
    check: Callable[[SensorFacts], None] | None = None,
) -> Connection:
    """Connect, learn how the sensor speaks and start it.

    Parameters
    ----------
    seen : Seen
        From a scan that has just ended.
    known_boot : int or None
        From an earlier connection of this capture.
    facts : SensorFacts or None
        From an earlier connection: not asked for again.
    check : callable or None
        May refuse the sensor by raising, after its serial number is known.

    Raises
    ------
    NoLink
        The connection failed.
    SensorError
        It was made, but to a sensor that cannot be used.
    """
    from bleak import BleakClient

    connection: Connection

    def on_disconnect(_: BleakClient) -> None:
        connection.gone()

    client = BleakClient(seen.device, disconnected_callback=on_disconnect)
    connection = Connection(client, seen, clock)
    doing = f"connecting to {seen.name or seen.address}"
    try:
        async with asyncio.timeout(CONNECT_S):
            await client.connect()
        doing = f"talking to {seen.name or seen.address}"
        async with asyncio.timeout(CONNECT_S):
            dialect = connection.dialect = spoken_by(client, seen, dialects)
            known = facts or await read_facts(client, seen, dialect)
            if check is not None:
                check(known)
            opened = connection.opened = await dialect.open(client, settings, known_boot)
            connection.facts = _with(known, dialect, opened)
            for source, uuid in enumerate(dialect.data_uuids):
                await client.start_notify(uuid, connection.on_data(source))
            if not opened.running:
                await dialect.start(client)
            await connection.follow_battery()
    except BaseException as error:
        await connection.hang_up()
        if isinstance(error, SensorError) or not isinstance(error, Exception):
            raise
        said = sensor_error(error, doing)
        raise NoLink(said.message, said.hint) from error
    return connection


def spoken_by(client: BleakClient, seen: Seen, dialects: Sequence[Dialect]) -> Dialect:
    """How a connected device speaks, by the services it really has.

    Raises
    ------
    SensorError
        In no known way.
    """
    present = {service.uuid.lower() for service in client.services}
    fitting = [d for d in dialects if d.service_uuid in present]
    for dialect in fitting:
        if dialect is seen.dialect:
            return dialect
    if fitting:
        return fitting[0]
    listed = ", ".join(sorted(present)) or "none"
    raise SensorError(
        f"{seen.name or seen.address} does not speak the wrist profile or any description (its services: "
        f"{listed})",
        "wrong device? otherwise describe it in a file: `armarc sensor describe --help`",
    )


async def read_facts(client: BleakClient, seen: Seen, dialect: Dialect) -> SensorFacts:
    """Device information and battery, as far as the sensor has them."""

    async def value(uuid: str) -> bytes:
        if client.services.get_characteristic(uuid) is None:
            return b""
        try:
            async with asyncio.timeout(REQUEST_S):
                return bytes(await client.read_gatt_char(uuid))
        except Exception as error:
            log.debug("reading %s: %r", uuid, error)
            return b""

    async def text(uuid: str) -> str:
        words = (await value(uuid)).decode("utf-8", "replace")
        return "".join(c for c in words if c.isprintable()).strip()

    battery = await value(ids.BATTERY_LEVEL)
    return SensorFacts(
        name=seen.name,
        address=seen.address,
        profile=dialect.name,
        rate_hz=0.0,
        serial=await text(ids.SERIAL_NUMBER),
        firmware=await text(ids.FIRMWARE_REVISION),
        battery_pct=battery[0] if battery and battery[0] <= 100 else None,
    )


def _with(facts: SensorFacts, dialect: Dialect, opened: Opened) -> SensorFacts:
    return replace(
        facts,
        profile=dialect.name,
        rate_hz=opened.timing.rate_hz,
        accelerometer_range_m_s2=opened.accelerometer_range_m_s2,
        gyroscope_range_rad_s=opened.gyroscope_range_rad_s,
        filter_hz=opened.filter_hz,
        temperature_c=opened.temperature_c,
    )


async def visit(seen: Seen, dialects: Sequence[Dialect]) -> SensorFacts:
    """Connect only to read who a sensor is.

    Raises
    ------
    SensorError
    """
    from bleak import BleakClient

    client = BleakClient(seen.device)
    try:
        async with asyncio.timeout(CONNECT_S):
            await client.connect()
            return await read_facts(client, seen, spoken_by(client, seen, dialects))
    except Exception as error:
        raise sensor_error(error, f"connecting to {seen.name or seen.address}") from error
    finally:
        await hang_up(client)


class Leftover:
    """Lets packets through from the first one that was sampled for this session on.

    A sensor whose last capture was killed may still hold frames of it, sampled with other ranges and at another
    rate: decoded with the new ones they would be wrong by a factor, and nothing in the packet would show it.
    A packet that begins with such a frame is left out whole, because the time of its later frames is not known.
    More old frames than queue and a packet can hold are none: then its numbers start again with every start, which
    `numbers_restart` tells.
    """

    def __init__(self, opened: Opened) -> None:
        self.frames = 0
        self.numbers_restart = False
        self._most = opened.queue_frames + MAX_FRAMES if opened.queue_frames else None
        self._modulus = opened.timing.index_modulus
        self._fresh = None if opened.running else opened.fresh_index

    def admit(self, batch: Batch) -> Batch | None:
        """The packet, marked as the first of its session where it is; None for one that is left over."""
        if self._fresh is None or self._modulus is None or batch.index is None:
            return batch
        ahead = (batch.index - self._fresh) % self._modulus
        if ahead >= self._modulus // 2:
            self.frames += len(batch.specific_force_m_s2)
            self.numbers_restart = self._most is not None and self.frames > self._most
            if not self.numbers_restart:
                return None
        self._fresh = None
        return replace(batch, first=True)

    @property
    def words(self) -> str:
        """What was left out, for people."""
        if self.numbers_restart:
            return (
                "its frame numbers start again with every start command, against the wrist profile: the first "
                f"{self.frames} samples were left out, as frames of an earlier session cannot be told from them"
            )
        return f"{self.frames} samples left over from an earlier session were left out"
