"""Known bytes of the wrist profile, both ways."""

import math

import numpy as np
import pytest

from armarc.errors import SensorError
from armarc.sensor.wire import (
    CLIPPED,
    FIRST,
    ClockReading,
    DataPacket,
    PacketError,
    SensorSettings,
    SensorState,
    configure_command,
    decode_clock,
    decode_packet,
    decode_state,
    start_command,
    stop_command,
)
from armarc.sensor.wire import identifiers as ids
from sensor_side import decode_command, encode_clock, encode_packet, encode_state, frames_that_fit


def test_data_packet_bytes() -> None:
    packet = DataPacket(
        index=0x1234,
        time_us=0x89ABCDEF,
        counts=np.array([[1, -1, 4096, 32767, -32768, 0]], np.int16),
        flags=6,
    )
    data = encode_packet(packet)
    assert data.hex() == "160134 12 ef cd ab 89 0100 ffff 0010 ff7f 0080 0000".replace(" ", "")
    back = decode_packet(data)
    assert (back.index, back.time_us, back.flags) == (0x1234, 0x89ABCDEF, CLIPPED | FIRST)
    np.testing.assert_array_equal(back.counts, packet.counts)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "at least 8 bytes, got 0"),
        (bytes([0x20, 1]) + bytes(18), "version 2"),
        (bytes([0x10, 0]) + bytes(6), "announces 0 frames"),
        (bytes([0x10, 2]) + bytes(18), "announces 2 frames should have 32 bytes"),
        (bytes([0x10, 43]) + bytes(6 + 43 * 12), "1 to 42 frames"),
        (bytes([0x10, 1]) + bytes(19), "got 21"),
    ],
)
def test_wrong_packets_say_what_is_wrong(data: bytes, said: str) -> None:
    with pytest.raises(PacketError, match=said):
        decode_packet(data)


def test_frames_that_fit_the_usual_mtus() -> None:
    # Payload is ATT_MTU - 3 (Bluetooth Core Specification, Vol 3, Part F), at most 512 bytes of value.
    assert [frames_that_fit(mtu) for mtu in (22, 23, 185, 247, 517, 65535)] == [0, 1, 14, 19, 42, 42]


def test_commands() -> None:
    settings = SensorSettings(
        rate_hz=104.0, accelerometer_range_g=16, gyroscope_range_deg_s=2000, frames_per_packet=5
    )
    assert configure_command(settings).hex(" ") == "01 10 04 10 d0 07 05"
    assert decode_command(configure_command(settings)) == (1, settings)
    assert decode_command(start_command()) == (2, None)
    assert decode_command(stop_command()) == (3, None)
    for wrong in (b"", b"\x04", b"\x02\x00", b"\x01" + bytes(5)):
        with pytest.raises(PacketError):
            decode_command(wrong)


def test_state_and_scales() -> None:
    state = SensorState(
        streaming=True,
        rate_hz=208.0,
        accelerometer_range_g=8,
        gyroscope_range_deg_s=1000,
        frames_per_packet=5,
        filter_hz=50.0,
        queue_frames=400,
        dropped_frames=7,
    )
    data = encode_state(state)
    assert data.hex(" ") == "01 01 20 08 08 05 e8 03 f4 01 90 01 07 00 00 00 00 00 00 00"
    assert decode_state(data) == state
    assert decode_state(data + b"later") == state
    assert 4096 * state.accelerometer_scale_m_s2 == pytest.approx(9.80665)
    assert 16384 * state.gyroscope_scale_rad_s == pytest.approx(math.radians(500))


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"\x02" + bytes(15), "version 2"),
        (b"\x01" + bytes(3), "got 4"),
        (b"\x01" + bytes(15), "0"),
    ],
)
def test_wrong_state(data: bytes, said: str) -> None:
    with pytest.raises(SensorError, match=said):
        decode_state(data)


def test_clock() -> None:
    reading = ClockReading(boot=0xDEADBEEF, uptime_us=10**13, next_frame=2**40 + 1)
    data = encode_clock(reading)
    assert len(data) == 20
    assert data[:4].hex() == "efbeadde"
    assert decode_clock(data) == reading
    with pytest.raises(PacketError):
        decode_clock(data[:19])


def test_standard_numbers() -> None:
    # Bluetooth SIG Assigned Numbers: Battery Service 0x180F, Battery Level 0x2A19, Device Information 0x180A,
    # Serial Number String 0x2A25, Firmware Revision String 0x2A26; bleak's own table is the second witness.
    from bleak.uuids import uuidstr_to_str

    assert uuidstr_to_str(ids.BATTERY_SERVICE) == "Battery Service"
    assert uuidstr_to_str(ids.BATTERY_LEVEL) == "Battery Level"
    assert uuidstr_to_str(ids.DEVICE_INFORMATION_SERVICE) == "Device Information"
    assert uuidstr_to_str(ids.MANUFACTURER_NAME) == "Manufacturer Name String"
    assert uuidstr_to_str(ids.MODEL_NUMBER) == "Model Number String"
    assert uuidstr_to_str(ids.SERIAL_NUMBER) == "Serial Number String"
    assert uuidstr_to_str(ids.FIRMWARE_REVISION) == "Firmware Revision String"
    assert uuidstr_to_str(ids.HARDWARE_REVISION) == "Hardware Revision String"
    assert uuidstr_to_str(ids.SOFTWARE_REVISION) == "Software Revision String"


def test_own_uuids_are_random_ones_not_assigned() -> None:
    import uuid

    own = [ids.WRIST_SERVICE, ids.WRIST_DATA, ids.WRIST_CONTROL, ids.WRIST_CLOCK]
    assert len(set(own)) == 4
    assert all(uuid.UUID(text).version == 4 and text == text.lower() for text in own)
