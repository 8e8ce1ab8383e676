"""Speaking the wrist profile over a connection."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.dialect import Batch, Opened, Timing
from armarc.sensor.wire.control import (
    REFUSED_VALUE,
    SensorSettings,
    SensorState,
    configure_command,
    decode_clock,
    decode_state,
    start_command,
    stop_command,
)
from armarc.sensor.wire.identifiers import WRIST_CLOCK, WRIST_CONTROL, WRIST_DATA, WRIST_SERVICE
from armarc.sensor.wire.packet import (
    CLIPPED,
    FIRST,
    INDEX_MODULUS,
    LOW_BATTERY,
    OVERFLOW,
    TIME_MODULUS_US,
    decode_packet,
)
from armarc.sensor.wire.throughput import batch_frames

if TYPE_CHECKING:
    from bleak import BleakClient


class WristDialect:
    """The wrist profile, version 1 (``firmware_notes/wrist-profile.md``)."""

    name = "wrist profile 1"
    service_uuid = WRIST_SERVICE
    data_uuid = WRIST_DATA

    def advertised_by(self, name: str, service_uuids: list[str]) -> bool:
        """A wrist sensor advertises the service."""
        return WRIST_SERVICE in service_uuids

    async def open(self, client: BleakClient, settings: SensorSettings, known_boot: int | None) -> Opened:
        """Read clock and state; stop and configure, unless the sensor is still streaming for this capture.

        The number of the next frame is read once more afterwards: what is older was sampled with other settings.
        """
        clock = decode_clock(bytes(await client.read_gatt_char(WRIST_CLOCK)))
        state = decode_state(bytes(await client.read_gatt_char(WRIST_CONTROL)))
        notes: tuple[str, ...] = ()
        running = state.streaming and clock.boot == known_boot
        if not running:
            if state.streaming:
                await client.write_gatt_char(WRIST_CONTROL, stop_command(), response=True)
            state, notes = await self._configure(client, settings)
            clock = decode_clock(bytes(await client.read_gatt_char(WRIST_CLOCK)))
        return Opened(
            timing=Timing(
                rate_hz=state.rate_hz, index_modulus=INDEX_MODULUS, time_modulus_s=TIME_MODULUS_US * 1e-6
            ),
            decode=decoder(state),
            boot=clock.boot,
            running=running,
            fresh_index=clock.next_frame % INDEX_MODULUS,
            queue_frames=state.queue_frames,
            accelerometer_range_m_s2=state.accelerometer_range_g * STANDARD_GRAVITY_M_S2,
            gyroscope_range_rad_s=math.radians(state.gyroscope_range_deg_s),
            filter_hz=state.filter_hz or None,
            notes=notes,
        )

    async def _configure(
        self, client: BleakClient, settings: SensorSettings
    ) -> tuple[SensorState, tuple[str, ...]]:
        from bleak.exc import BleakGATTProtocolError

        if settings.frames_per_packet == 0:
            settings = dataclasses.replace(settings, frames_per_packet=batch_frames(settings.rate_hz))
        refused = False
        try:
            await client.write_gatt_char(WRIST_CONTROL, configure_command(settings), response=True)
        except BleakGATTProtocolError as error:
            if int(error.code) != REFUSED_VALUE:
                raise
            refused = True
        state = decode_state(bytes(await client.read_gatt_char(WRIST_CONTROL)))
        got = (state.rate_hz, state.accelerometer_range_g, state.gyroscope_range_deg_s)
        asked = (settings.rate_hz, settings.accelerometer_range_g, settings.gyroscope_range_deg_s)
        if got == asked:
            return state, ()
        words = "refused" if refused else "cannot do"
        note = (
            f"the sensor {words} {asked[0]:g} Hz, ±{asked[1]} g, ±{asked[2]} °/s; it runs at "
            f"{got[0]:g} Hz, ±{got[1]} g, ±{got[2]} °/s"
        )
        return state, (note,)

    async def start(self, client: BleakClient) -> None:
        """Write the start command."""
        await client.write_gatt_char(WRIST_CONTROL, start_command(), response=True)

    async def stop(self, client: BleakClient) -> None:
        """Write the stop command."""
        await client.write_gatt_char(WRIST_CONTROL, stop_command(), response=True)


def decoder(state: SensorState) -> Callable[[bytes], Batch]:
    """Decoder of data packets into SI units with the ranges of a state."""
    acc, gyr = state.accelerometer_scale_m_s2, state.gyroscope_scale_rad_s

    def decode(data: bytes) -> Batch:
        packet = decode_packet(data)
        return Batch(
            specific_force_m_s2=np.multiply(packet.counts[:, :3], acc, dtype=np.float64),
            angular_velocity_rad_s=np.multiply(packet.counts[:, 3:], gyr, dtype=np.float64),
            index=packet.index,
            device_time_s=packet.time_us * 1e-6,
            clipped=bool(packet.flags & CLIPPED),
            overflow=bool(packet.flags & OVERFLOW),
            first=bool(packet.flags & FIRST),
            low_battery=bool(packet.flags & LOW_BATTERY),
        )

    return decode
