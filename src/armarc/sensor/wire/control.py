"""The control and clock characteristics of the wrist profile.

Commands are written with response. A sensor refuses one with an application error of the ATT protocol
(0x80–0x9F, Core Specification, Vol 3, Part F): 0x80 value not possible, 0x81 not in this state.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from typing import Final

from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.wire.identifiers import PacketError
from armarc.sensor.wire.packet import VERSION

CONFIGURE: Final = 0x01
START: Final = 0x02
STOP: Final = 0x03

REFUSED_VALUE: Final = 0x80

_CONFIGURE = struct.Struct("<BHBHB")
ACCELEROMETER_RANGES_G: Final = (2, 4, 8, 16, 32, 64, 128)
GYROSCOPE_RANGES_DEG_S: Final = (125, 250, 500, 1000, 2000, 4000, 8000, 16000)
"""Nominal ranges, bit by bit as the state lists what a sensor can do."""
ZERO_CELSIUS_K: Final = 273.15

_STATE = struct.Struct("<BBHBBHHHI")
_STATE_MORE = struct.Struct("<HBB")
"""Appended later: temperature, accelerometer ranges, gyroscope ranges."""
_CLOCK = struct.Struct("<IQQ")


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSettings:
    """What is asked of a sensor.

    Parameters
    ----------
    rate_hz : float, Hz
        Carried in steps of 0.1 Hz.
    accelerometer_range_g : int, multiples of standard gravity
    gyroscope_range_deg_s : int, °/s
    frames_per_packet : int
        0 leaves it to the sensor.
    rate_is_asked : bool
        Somebody wants this very rate; a described sensor that has another refuses then.
    """

    rate_hz: float = 200.0
    accelerometer_range_g: int = 8
    gyroscope_range_deg_s: int = 1000
    frames_per_packet: int = 0
    rate_is_asked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorState:
    """What a sensor says it does (read from the control characteristic).

    Parameters
    ----------
    streaming : bool
    rate_hz : float, Hz
    accelerometer_range_g : int
    gyroscope_range_deg_s : int
    frames_per_packet : int
    filter_hz : float, Hz
        −3 dB frequency of the anti-alias filter.
    queue_frames : int
        How many frames the sensor can hold back while the radio is busy.
    dropped_frames : int
        Frames thrown away since the last start.
    temperature_c : float or None, °C
        Of the part itself; None when the sensor does not say.
    accelerometer_ranges_g, gyroscope_ranges_deg_s : tuple of int
        Nominal ranges it has; empty when it does not say.
    """

    streaming: bool
    rate_hz: float
    accelerometer_range_g: int
    gyroscope_range_deg_s: int
    frames_per_packet: int
    filter_hz: float
    queue_frames: int
    dropped_frames: int = 0
    temperature_c: float | None = None
    accelerometer_ranges_g: tuple[int, ...] = ()
    gyroscope_ranges_deg_s: tuple[int, ...] = ()

    @property
    def accelerometer_scale_m_s2(self) -> float:
        """m/s² per count."""
        return self.accelerometer_range_g * STANDARD_GRAVITY_M_S2 / 32768

    @property
    def gyroscope_scale_rad_s(self) -> float:
        """rad/s per count."""
        return math.radians(self.gyroscope_range_deg_s) / 32768


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockReading:
    """The sensor's clock, wide enough never to wrap.

    Parameters
    ----------
    boot : int
        Random number drawn at every power-up: a new one means that time and index started again.
    uptime_us : int, µs
        The data packets carry its low 32 bits.
    next_frame : int
        Number of the frame that will be sampled next; the data packets carry its low 16 bits.
    """

    boot: int
    uptime_us: int
    next_frame: int


def configure_command(settings: SensorSettings) -> bytes:
    """Seven bytes: opcode, rate in 0.1 Hz, ±g, ±°/s, frames per packet."""
    return _CONFIGURE.pack(
        CONFIGURE,
        round(settings.rate_hz * 10),
        settings.accelerometer_range_g,
        settings.gyroscope_range_deg_s,
        settings.frames_per_packet,
    )


def start_command() -> bytes:
    """Begin to sample and notify."""
    return bytes([START])


def stop_command() -> bytes:
    """Stop sampling; what is queued is still sent."""
    return bytes([STOP])


def decode_state(data: bytes) -> SensorState:
    """Read the control characteristic.

    Raises
    ------
    PacketError
        Too short, of another version, or with a rate or a range of zero. Longer values are accepted: later
        minor additions go to the end.
    """
    if not data:
        raise PacketError("the sensor's control value is empty", "restart the sensor")
    if data[0] != VERSION:
        raise PacketError(
            f"the sensor speaks version {data[0]} of the wrist profile, this armarc version {VERSION}",
            "update armarc or the sensor's firmware",
        )
    if len(data) < _STATE.size:
        raise PacketError(f"the sensor's control value should have {_STATE.size} bytes, got {len(data)}")
    _, streaming, rate, acc, frames, gyr, cutoff, queue, dropped = _STATE.unpack_from(data)
    if not (rate and acc and gyr):
        raise PacketError(
            f"the sensor reports impossible settings: {rate / 10} Hz, ±{acc} g, ±{gyr} °/s",
            "restart the sensor; if it stays, its firmware is at fault",
        )
    temperature_ck = acc_bits = gyr_bits = 0
    if len(data) >= _STATE.size + _STATE_MORE.size:
        temperature_ck, acc_bits, gyr_bits = _STATE_MORE.unpack_from(data, _STATE.size)
    return SensorState(
        streaming=bool(streaming),
        rate_hz=rate / 10,
        accelerometer_range_g=acc,
        gyroscope_range_deg_s=gyr,
        frames_per_packet=frames,
        filter_hz=cutoff / 10,
        queue_frames=queue,
        dropped_frames=dropped,
        temperature_c=round(temperature_ck / 100 - ZERO_CELSIUS_K, 2) if temperature_ck else None,
        accelerometer_ranges_g=_listed(acc_bits, ACCELEROMETER_RANGES_G),
        gyroscope_ranges_deg_s=_listed(gyr_bits, GYROSCOPE_RANGES_DEG_S),
    )


def _listed(bits: int, places: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(one for k, one in enumerate(places) if bits >> k & 1)


def decode_clock(data: bytes) -> ClockReading:
    """Read the clock characteristic.

    Raises
    ------
    PacketError
    """
    if len(data) < _CLOCK.size:
        raise PacketError(f"the sensor's clock value should have {_CLOCK.size} bytes, got {len(data)}")
    boot, uptime, frame = _CLOCK.unpack_from(data)
    return ClockReading(boot=boot, uptime_us=uptime, next_frame=frame)
