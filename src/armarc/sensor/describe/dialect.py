"""A description as a way of speaking."""

from __future__ import annotations

import functools
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

from armarc.sensor.describe.layout import Command, Description, decode_described
from armarc.sensor.dialect import Opened
from armarc.sensor.wire.control import SensorSettings

if TYPE_CHECKING:
    from bleak import BleakClient


class DescribedDialect:
    """Streams a sensor by its `Description`; its settings are what they are."""

    def __init__(self, description: Description) -> None:
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
    def data_uuid(self) -> str:
        """Characteristic that notifies."""
        return self.description.characteristic

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
        """Nothing to learn: all of it is in the description."""
        wanted = self.description
        return Opened(
            timing=wanted.timing,
            decode=functools.partial(decode_described, wanted),
            accelerometer_range_m_s2=wanted.acceleration.range_si,
            gyroscope_range_rad_s=wanted.angular_velocity.range_si,
        )

    async def start(self, client: BleakClient) -> None:
        """Write the start commands."""
        await self._write(client, self.description.start)

    async def stop(self, client: BleakClient) -> None:
        """Write the stop commands."""
        await self._write(client, self.description.stop)

    async def temperature_c(self, client: BleakClient) -> float | None:
        """Descriptions know of none."""
        return None

    @staticmethod
    async def _write(client: BleakClient, commands: tuple[Command, ...]) -> None:
        for one in commands:
            await client.write_gatt_char(one.characteristic, one.data, response=one.response)
