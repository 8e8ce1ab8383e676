"""A description as a way of speaking."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

from armarc.errors import SensorError
from armarc.sensor.describe.description import Command, Description
from armarc.sensor.describe.joined import JoinedDecoder
from armarc.sensor.describe.layout import decode_described
from armarc.sensor.describe.lines import LineDecoder
from armarc.sensor.describe.own_decoder import load_decoder
from armarc.sensor.dialect import Batch, Opened
from armarc.sensor.wire.control import SensorSettings

if TYPE_CHECKING:
    from bleak import BleakClient


Decoder = Callable[[bytes, int], tuple[Batch, ...]]


def decoder_of(description: Description) -> Decoder:
    """A decoder for one connection: it may remember what came before.

    Raises
    ------
    FormatError
        The Python file the description names cannot be used.
    """
    if description.decoder:
        read: Decoder = load_decoder(Path(description.decoder))
    elif description.joined_with is not None:
        read = JoinedDecoder(description)
    elif description.format == "lines":
        read = LineDecoder(description)
    else:

        def read(data: bytes, source: int = 0) -> tuple[Batch, ...]:
            return (decode_described(description, data),)

    streams = (description, description.joined_with or description)

    def decode(data: bytes, source: int = 0) -> tuple[Batch, ...]:
        if any(one.fits(data) for one in streams[source].ignore):
            return ()
        return read(data, source)

    return decode


class DescribedDialect:
    """Streams a sensor by its `Description`; its settings are what they are."""

    def __init__(self, description: Description) -> None:
        decoder_of(description)  # a decoder that cannot be loaded is told now, not by radio
        self.description = description

    @property
    def name(self) -> str:
        """For people."""
        return f"description {self.description.name!r}"

    @property
    def service_uuid(self) -> str:
        """Service that holds the data characteristic."""
        return self.description.service

    @property
    def data_uuids(self) -> tuple[str, ...]:
        """Characteristics that notify."""
        one = self.description
        return (one.characteristic, *([one.joined_with.characteristic] if one.joined_with else ()))

    def advertised_by(self, name: str, service_uuids: list[str]) -> bool:
        """Name pattern and advertised service, as far as the description states them."""
        wanted = self.description
        if wanted.name_pattern and not fnmatchcase(name.casefold(), wanted.name_pattern.casefold()):
            return False
        if wanted.advertised:
            # A device that is connected already shows its real services instead of the advertised ones.
            return bool({wanted.advertised, wanted.service} & set(service_uuids))
        return bool(wanted.name_pattern) or wanted.service in service_uuids

    async def open(self, client: BleakClient, settings: SensorSettings, known_boot: int | None) -> Opened:
        """Nothing to learn: all of it is in the description. A rate that was asked for is told to the sensor."""
        wanted = self.description
        if settings.rate_is_asked and settings.rate_hz != wanted.rate_hz:
            wanted = await self._at_rate(client, settings.rate_hz)
        return Opened(
            timing=wanted.timing,
            decode=decoder_of(wanted),
            accelerometer_range_m_s2=wanted.acceleration.range_si,
            gyroscope_range_rad_s=wanted.angular_velocity.range_si,
        )

    async def _at_rate(self, client: BleakClient, rate_hz: float) -> Description:
        wanted = self.description
        for one in wanted.rates:
            if one.hz == rate_hz:
                await self._write(client, one.commands)
                return replace(wanted, rate_hz=rate_hz)
        can = ", ".join(f"{hz:g}" for hz in sorted({wanted.rate_hz, *(one.hz for one in wanted.rates)}))
        raise SensorError(
            f"the description {wanted.name!r} knows of {can} Hz, not of {rate_hz:g}",
            "leave --rate out, or add the rate and what switches to it under rates in the description",
        )

    async def start(self, client: BleakClient) -> None:
        """Write the start commands."""
        for one in self._streams():
            await self._write(client, one.start)

    async def stop(self, client: BleakClient) -> None:
        """Write the stop commands."""
        for one in self._streams():
            await self._write(client, one.stop)

    def _streams(self) -> tuple[Description, ...]:
        one = self.description
        return (one,) if one.joined_with is None else (one, one.joined_with)

    async def temperature_c(self, client: BleakClient) -> float | None:
        """Descriptions know of none."""
        return None

    @staticmethod
    async def _write(client: BleakClient, commands: tuple[Command, ...]) -> None:
        for one in commands:
            await client.write_gatt_char(one.characteristic, one.data, response=one.response)
