"""Speaking the wrist profile over a connection."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np

from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.dialect import Batch, Opened, Timing
from armarc.sensor.wire.control import (
    ACCELEROMETER_RANGES_G,
    GYROSCOPE_RANGES_DEG_S,
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
    batch_frames,
    decode_packet,
)

if TYPE_CHECKING:
    from bleak import BleakClient


class WristDialect:
    """The wrist profile, version 1 (``firmware_notes/wrist-profile.md``)."""

    name = "wrist profile 1"
    service_uuid = WRIST_SERVICE
    data_uuids = (WRIST_DATA,)

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
            state, notes = await self._configure(client, settings, state)
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
            temperature_c=state.temperature_c,
            notes=notes,
        )

    async def _configure(
        self, client: BleakClient, settings: SensorSettings, before: SensorState
    ) -> tuple[SensorState, tuple[str, ...]]:
        """Ask for the settings; a range the sensor does not have must not cost the rate and the other range."""
        from bleak.exc import BleakGATTProtocolError

        if settings.frames_per_packet == 0:
            settings = dataclasses.replace(settings, frames_per_packet=batch_frames(settings.rate_hz))
        refused = True
        for one in attempts(settings, before):
            try:
                await client.write_gatt_char(WRIST_CONTROL, configure_command(one), response=True)
            except BleakGATTProtocolError as error:
                if int(error.code) != REFUSED_VALUE:
                    raise
            else:
                refused = False
                break
        state = decode_state(bytes(await client.read_gatt_char(WRIST_CONTROL)))
        return state, _shortfall(settings, state, refused)

    async def start(self, client: BleakClient) -> None:
        """Write the start command."""
        await client.write_gatt_char(WRIST_CONTROL, start_command(), response=True)

    async def stop(self, client: BleakClient) -> None:
        """Write the stop command."""
        await client.write_gatt_char(WRIST_CONTROL, stop_command(), response=True)

    async def temperature_c(self, client: BleakClient) -> float | None:
        """Read the state once more."""
        return decode_state(bytes(await client.read_gatt_char(WRIST_CONTROL))).temperature_c


def attempts(asked: SensorSettings, state: SensorState) -> Iterator[SensorSettings]:
    """What to ask a sensor for, one after the other, until it does not refuse.

    Ranges as asked first, then wider ones, which cost only resolution, the nearest first; narrower ones, which
    clip, last. Where the sensor lists its ranges nothing else is asked for.
    """
    acc = _ladder(
        asked.accelerometer_range_g,
        state.accelerometer_ranges_g,
        {*ACCELEROMETER_RANGES_G, state.accelerometer_range_g},
    )
    gyr = _ladder(
        asked.gyroscope_range_deg_s,
        state.gyroscope_ranges_deg_s,
        {*GYROSCOPE_RANGES_DEG_S, state.gyroscope_range_deg_s},
    )
    pairs = [(i + j, i, j) for i in range(len(acc)) for j in range(len(gyr))]
    for _, i, j in sorted(pairs):
        yield dataclasses.replace(asked, accelerometer_range_g=acc[i], gyroscope_range_deg_s=gyr[j])


def _ladder(asked: int, listed: tuple[int, ...], usual: set[int]) -> list[int]:
    known = set(listed) or {asked, *usual}
    return sorted(known, key=lambda one: (one < asked, abs(one - asked)))


def _shortfall(asked: SensorSettings, got: SensorState, refused: bool) -> tuple[str, ...]:
    """What is worse than asked; a wider range is not, as its scale is known."""
    enough = (
        got.rate_hz == asked.rate_hz
        and got.accelerometer_range_g >= asked.accelerometer_range_g
        and got.gyroscope_range_deg_s >= asked.gyroscope_range_deg_s
    )
    if enough:
        return ()
    words = "refuses every setting, also" if refused else "cannot do"
    return (
        f"the sensor {words} {asked.rate_hz:g} Hz, ±{asked.accelerometer_range_g} g, "
        f"±{asked.gyroscope_range_deg_s} °/s; it runs at {got.rate_hz:g} Hz, ±{got.accelerometer_range_g} g, "
        f"±{got.gyroscope_range_deg_s} °/s",
    )


def decoder(state: SensorState) -> Callable[[bytes, int], tuple[Batch, ...]]:
    """Decoder of data packets into SI units with the ranges of a state."""
    acc, gyr = state.accelerometer_scale_m_s2, state.gyroscope_scale_rad_s

    def decode(data: bytes, source: int = 0) -> tuple[Batch, ...]:
        packet = decode_packet(data)
        batch = Batch(
            specific_force_m_s2=np.multiply(packet.counts[:, :3], acc, dtype=np.float64),
            angular_velocity_rad_s=np.multiply(packet.counts[:, 3:], gyr, dtype=np.float64),
            index=packet.index,
            device_time_s=packet.time_us * 1e-6,
            clipped=bool(packet.flags & CLIPPED),
            overflow=bool(packet.flags & OVERFLOW),
            first=bool(packet.flags & FIRST),
            low_battery=bool(packet.flags & LOW_BATTERY),
        )
        return (batch,)

    return decode
