"""Who is in reach."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from armarc.errors import SensorError, UsageError
from armarc.sensor.dialect import Dialect
from armarc.sensor.link.faults import sensor_error
from armarc.sensor.remembered import Remembered

if TYPE_CHECKING:
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

TICK_S = 0.1
AMBIGUITY_S = 1.5
"""After the first sensor, how long to look for a second one before the first is taken for the only one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One device in reach.

    Parameters
    ----------
    device : BLEDevice
        What bleak connects to.
    name, address : str
    rssi_dbm : int or None
        Signal strength; None for a device that is connected to this machine already.
    dialect : Dialect or None
        How it speaks, as far as its advertisement tells.
    """

    device: BLEDevice
    name: str
    address: str
    rssi_dbm: int | None
    dialect: Dialect | None


def prepare_platform() -> None:
    """Undo what keeps bleak's callbacks from arriving in a command-line program on Windows."""
    if sys.platform == "win32":
        from bleak.backends.winrt.util import uninitialize_sta

        uninitialize_sta()


async def sightings(dialects: Sequence[Dialect], *, held: bool = True) -> AsyncGenerator[Seen | None, None]:
    """Devices as they are seen, again and again, until the iterator is closed; None now and then when nothing
    is seen, so that whoever listens can look at the time.

    A sensor that this machine still holds (after a program was killed) does not advertise; it comes first,
    unless `held` is False: after the system's service has died, what is remembered as held is not.

    Raises
    ------
    SensorError
        No adapter, switched off, not allowed …
    """
    from bleak import BleakScanner

    try:
        for device in await _held(dialects) if held else []:
            name = device.name or ""
            for dialect in dialects:
                # It is connected and has the service; the advertised name decides between descriptions.
                if dialect.advertised_by(name, [dialect.service_uuid]):
                    yield Seen(
                        device=device, name=name, address=device.address, rssi_dbm=None, dialect=dialect
                    )
                    break
        heard: asyncio.Queue[tuple[BLEDevice, AdvertisementData]] = asyncio.Queue()
        async with BleakScanner(lambda device, said: heard.put_nowait((device, said))):
            while True:
                try:
                    async with asyncio.timeout(TICK_S):
                        device, said = await heard.get()
                except TimeoutError:
                    yield None
                    continue
                name = said.local_name or device.name or ""
                services = [text.lower() for text in said.service_uuids]
                speaks = next((d for d in dialects if d.advertised_by(name, services)), None)
                yield Seen(
                    device=device, name=name, address=device.address, rssi_dbm=said.rssi, dialect=speaks
                )
    except (SensorError, UsageError):
        raise
    except Exception as error:
        raise sensor_error(error, "looking for sensors") from error


async def _held(dialects: Sequence[Dialect]) -> list[BLEDevice]:
    from bleak import BleakAdapter

    uuids = sorted({dialect.service_uuid for dialect in dialects})
    with contextlib.suppress(NotImplementedError):
        adapter = await BleakAdapter.get()
        return await adapter.get_connected_devices(uuids)
    return []


async def look_around(dialects: Sequence[Dialect], seconds: float) -> list[Seen]:
    """Everything seen within `seconds`, strongest first, each device once."""
    found: dict[str, Seen] = {}
    ends_s = time.monotonic() + seconds
    async with contextlib.aclosing(sightings(dialects)) as seen:
        async for one in seen:
            if time.monotonic() >= ends_s:
                break
            before = found.get(one.address) if one is not None else None
            if one is not None and (before is None or before.dialect is None or one.dialect is not None):
                found[one.address] = one
    return sorted(found.values(), key=lambda one: -(one.rssi_dbm if one.rssi_dbm is not None else 0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """Which sensor is wanted.

    Parameters
    ----------
    text : str
        Nickname, advertised name or address; empty for "the one that is here".
    remembered : Remembered or None
        What the text stands for.
    """

    text: str = ""
    remembered: Remembered | None = None

    def fits(self, seen: Seen) -> bool:
        """Whether a device may be the one (a serial number is compared after connecting)."""
        if self.remembered is not None:
            if seen.address.casefold() == self.remembered.address.casefold():
                return True
            return bool(self.remembered.serial) and seen.name == self.remembered.name
        if self.text:
            return self.text.casefold() in (seen.name.casefold(), seen.address.casefold())
        return seen.dialect is not None

    def __str__(self) -> str:
        return f"sensor {self.text!r}" if self.text else "a sensor"


@contextlib.asynccontextmanager
async def found(
    wish: Wish,
    dialects: Sequence[Dialect],
    seconds: float,
    *,
    known: Sequence[Remembered] = (),
    not_these: Sequence[str] = (),
    hold_scan: bool = False,
    held: bool = True,
) -> AsyncGenerator[Seen, None]:
    """Look for one sensor and hand it to the body of an ``async with``.

    Parameters
    ----------
    hold_scan : bool
        Connections succeed best when the scan has ended before, which is what happens otherwise; but a
        system may forget a device with the end of the scan, and then it has to go on during the body.
    held : bool
        Whether a sensor that this machine is connected to already counts as seen.
    known : sequence of Remembered
        Without a stated wish, one of these is taken before a stranger.
    not_these : sequence of str
        Addresses that turned out to be another sensor.

    Raises
    ------
    SensorError
        It was not seen, or Bluetooth failed.
    UsageError
        No sensor was stated and several are here.
    """
    async with contextlib.aclosing(sightings(dialects, held=held)) as seen:
        one = await _choose(seen, wish, seconds, known, not_these)
        if hold_scan:
            yield one
    if not hold_scan:
        yield one


async def _choose(
    seen: AsyncGenerator[Seen | None, None],
    wish: Wish,
    seconds: float,
    known: Sequence[Remembered],
    not_these: Sequence[str],
) -> Seen:
    others: set[str] = set()
    candidates: dict[str, Seen] = {}
    ends_s = time.monotonic() + seconds
    decided_s = ends_s
    mine = {one.address.casefold() for one in known}
    async for one in seen:
        if time.monotonic() >= min(ends_s, decided_s):
            break
        if one is None:
            continue
        if one.address in not_these or not wish.fits(one):
            others.add(one.name or one.address)
            continue
        if wish.text or mine == {one.address.casefold()}:
            return one
        if not candidates:
            decided_s = time.monotonic() + AMBIGUITY_S
        candidates[one.address] = one
    familiar = [one for one in candidates.values() if one.address.casefold() in mine]
    pool = familiar or list(candidates.values())
    if len(pool) == 1:
        return pool[0]
    if pool:
        names = ", ".join(sorted(f"{one.name or 'unnamed'} ({one.address})" for one in pool))
        raise UsageError(
            f"{len(pool)} sensors are in reach: {names}", "say which with --sensor NAME or ADDRESS"
        )
    raise _not_found(wish, others, seconds)


def _not_found(wish: Wish, others: set[str], seconds: float) -> SensorError:
    around = (
        f"{len(others)} other Bluetooth device{'s were' if len(others) != 1 else ' was'} seen"
        if others
        else "no Bluetooth device at all was seen"
    )
    return SensorError(
        f"{wish} was not seen in {seconds:g} s; {around}",
        "wake it (move it or press its button), bring it closer, charge it, and close any other program "
        "that is connected to it; `armarc sensor scan --all` lists what is in reach",
    )
