"""An invented wrist sensor: samples on a clock of its own, holds frames in a queue, speaks the wrist profile.

Frame k carries `frame_counts(k)`, so that a test can tell which frames arrived, exactly.
"""

from __future__ import annotations

import asyncio
import random
import time
from collections import deque

import numpy as np
from dbus_fast import Variant
from fake_daemon import Characteristic, Peripheral, Refusal
from numpy.typing import NDArray

from armarc.sensor.wire import FIRST, LOW_BATTERY, OVERFLOW, ClockReading, DataPacket, SensorState
from armarc.sensor.wire import identifiers as ids
from sensor_side import decode_command, encode_clock, encode_packet, encode_state, frames_that_fit

PACKETS_HZ = 1500.0


def frame_counts(k: int) -> NDArray[np.int16]:
    """Six values that spell the frame's number in base 1000, plus something like gravity on z."""
    return np.array([k % 1000, k // 1000 % 1000, 4096, k % 7, k % 11, k % 13], np.int16)


def frame_numbers(specific_force_m_s2: NDArray[np.float64], range_g: int = 8) -> NDArray[np.int64]:
    """The other way round, from what a capture stored."""
    counts = np.rint(specific_force_m_s2[:, :2] * 32768 / (range_g * 9.80665)).astype(np.int64)
    return np.asarray(counts[:, 0] + 1000 * counts[:, 1], dtype=np.int64)


class FakeSensor(Peripheral):
    """Parameters
    ----------
    frames_per_packet : int
        0 does as the host asks.
    rates_hz : tuple
        What it can do; the nearest to what is asked is taken.
    drift_ppm : float
        Error of its clock.
    acc_ranges_g : tuple
        Accelerometer ranges it has.
    takes_wider : bool
        Takes the next wider range instead of refusing one it does not have, and lists what it has.
    reported_gyr : dict
        Full scale it reports for a nominal gyroscope range, where its sensitivity is not range / 32768.
    queue_frames : int
        Kept while the link is down, the newest.
    careless : bool
        A configure command leaves the queue as it is, a packet may hold frames from before and after a start, and
        the first flag goes with whatever is sent next.
    """

    def __init__(
        self,
        *,
        name: str = "wrist-1",
        address: str = "C0:FF:EE:00:00:01",
        serial: str = "A-0001",
        att_mtu: int = 247,
        frames_per_packet: int = 1,
        rates_hz: tuple[float, ...] = (100.0, 200.0, 400.0),
        drift_ppm: float = 30.0,
        queue_frames: int = 800,
        battery_pct: int = 87,
        version: int = 1,
        careless: bool = False,
        acc_ranges_g: tuple[int, ...] = (4, 8, 16),
        gyr_ranges_deg_s: tuple[int, ...] = (250, 500, 1000, 2000),
        takes_wider: bool = False,
        reported_gyr: dict[int, int] | None = None,
        power_up: tuple[float, int, int] = (200.0, 8, 1000),
        temperature_c: float | None = None,
    ) -> None:
        self._data = Characteristic(ids.WRIST_DATA, ["notify"])
        self._battery = Characteristic(ids.BATTERY_LEVEL, ["read", "notify"], bytes([battery_pct]))
        control = Characteristic(
            ids.WRIST_CONTROL, ["read", "write"], read=self._read_state, write=self._command
        )
        super().__init__(
            name=name,
            address=address,
            att_mtu=att_mtu,
            advertises=[ids.WRIST_SERVICE],
            services=[
                (
                    ids.DEVICE_INFORMATION_SERVICE,
                    [
                        Characteristic(ids.SERIAL_NUMBER, ["read"], serial.encode()),
                        Characteristic(ids.FIRMWARE_REVISION, ["read"], b"0.3 (invented)"),
                    ],
                ),
                (ids.BATTERY_SERVICE, [self._battery]),
                (
                    ids.WRIST_SERVICE,
                    [
                        self._data,
                        control,
                        Characteristic(ids.WRIST_CLOCK, ["read"], read=lambda: encode_clock(self.clock())),
                    ],
                ),
            ],
        )
        self.mute = False
        self.repeat = 1
        self.garbage: list[bytes] = []
        self.low_battery = False
        self.dropped = 0
        self.refused: list[bytes] = []
        self.first_of_session = 0
        self._careless = careless
        self._acc_ranges_g, self._gyr_ranges_deg_s = acc_ranges_g, gyr_ranges_deg_s
        self._takes_wider, self._reported_gyr = takes_wider, reported_gyr or {}
        self.temperature_c = temperature_c
        self.sent_packets = 0
        self._version, self._rates_hz, self.drift = version, rates_hz, drift_ppm * 1e-6
        self._forced_frames, self._queue_frames = frames_per_packet, queue_frames
        self._frames = frames_per_packet or 5
        self._rate_hz, self._acc_g, self._gyr_deg_s = power_up
        self._task: asyncio.Task[None] | None = None
        self.power_up()

    def frame(self, k: int) -> NDArray[np.int16]:
        """What it measures at its frame k."""
        return frame_counts(k)

    def power_up(self) -> None:
        """Everything starts from nothing."""
        self._boot = random.getrandbits(32)
        self._booted_s = time.monotonic()
        self._uptime_at_boot_us = random.randrange(1_000_000)
        self._next_frame = self.newest_sent = 0
        self._streaming = False
        self._overflow = self._first = False
        self._queue: deque[tuple[int, int]] = deque()

    def clock(self) -> ClockReading:
        return ClockReading(boot=self._boot, uptime_us=self._now_us(), next_frame=self._next_frame)

    def set_battery(self, percent: int) -> None:
        self._battery.value = bytes([percent])
        self.notify(ids.BATTERY_LEVEL, bytes([percent]))

    async def __aenter__(self) -> FakeSensor:
        self._task = asyncio.create_task(self._live())
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._task is not None
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)

    def _now_us(self) -> int:
        run_s = (time.monotonic() - self._booted_s) * (1 + self.drift)
        return self._uptime_at_boot_us + int(run_s * 1e6)

    def _read_state(self) -> bytes:
        state = SensorState(
            streaming=self._streaming,
            rate_hz=self._rate_hz,
            accelerometer_range_g=self._acc_g,
            gyroscope_range_deg_s=self._gyr_deg_s,
            frames_per_packet=self._frames,
            filter_hz=50.0,
            queue_frames=self._queue_frames,
            dropped_frames=self.dropped,
            temperature_c=self.temperature_c,
            accelerometer_ranges_g=self._acc_ranges_g if self._takes_wider else (),
            gyroscope_ranges_deg_s=self._gyr_ranges_deg_s if self._takes_wider else (),
        )
        whole = bytes([self._version]) + encode_state(state)[1:]
        return whole if self._takes_wider or self.temperature_c is not None else whole[:16]

    def _command(self, data: bytes) -> None:
        opcode, settings = decode_command(data)
        if settings is not None:
            if self._streaming:
                self._refuse(data, 0x81)
            wanted = settings.accelerometer_range_g, settings.gyroscope_range_deg_s
            have = self._acc_ranges_g, self._gyr_ranges_deg_s
            if self._takes_wider:
                wanted = tuple(
                    min((one for one in ranges if one >= asked), default=max(ranges))
                    for asked, ranges in zip(wanted, have, strict=True)
                )
            if any(asked not in ranges for asked, ranges in zip(wanted, have, strict=True)):
                self._refuse(data, 0x80)
            if not self._careless:
                self._queue.clear()
                self._overflow = False
            self._rate_hz = min(self._rates_hz, key=lambda rate: abs(rate - settings.rate_hz))
            self._acc_g = wanted[0]
            self._gyr_deg_s = self._reported_gyr.get(wanted[1], wanted[1])
            fit = frames_that_fit(self.att_mtu)
            self._frames = min(fit, self._forced_frames or settings.frames_per_packet or fit)
        elif opcode == 2 and self._streaming:
            pass
        elif opcode == 2:
            self._streaming = self._first = True
            self.first_of_session = self._next_frame
            self._sampled_to_us: float = self._now_us()
            self.started_s = time.monotonic()
        else:
            self._streaming = False

    def _refuse(self, data: bytes, code: int) -> None:
        self.refused.append(data)
        raise Refusal("org.bluez.Error.Failed", f"Operation failed with ATT error: 0x{code:02x}")

    async def _live(self) -> None:
        sent_s = time.monotonic()
        while True:
            if self._streaming:
                self._sample()
            # About as fast as a radio link sends what was held back, however seldom a busy machine comes round.
            now_s = time.monotonic()
            self._send(max(3, round(PACKETS_HZ * (now_s - sent_s))))
            sent_s = now_s
            # A radio's connection comes round every 7.5 ms at best; who does not stream only listens.
            await asyncio.sleep(0.005 if self._streaming else 0.02)

    def _sample(self) -> None:
        period_us = 1e6 / self._rate_hz
        now_us = self._now_us()
        while self._sampled_to_us + period_us <= now_us:
            self._sampled_to_us += period_us
            self._queue.append((self._next_frame, int(self._sampled_to_us)))
            self._next_frame += 1
            if len(self._queue) > self._queue_frames:
                self._queue.popleft()
                self.dropped += 1
                self._overflow = True

    def _send(self, at_most: int) -> None:
        if self.mute or not self.connected:
            return
        while self.garbage and self.notify(ids.WRIST_DATA, self.garbage[0]):
            self.garbage.pop(0)
        for _ in range(at_most):
            if len(self._queue) < self._frames and not (self._queue and not self._streaming):
                return
            n = min(self._frames, len(self._queue))
            frames = [self._queue[k] for k in range(n)]
            first = self._first
            if not self._careless:
                old = sum(1 for k, _ in frames if k < self.first_of_session)
                n, frames, first = (old, frames[:old], False) if old else (n, frames, first)
            flags = OVERFLOW * self._overflow + FIRST * first + LOW_BATTERY * self.low_battery
            packet = DataPacket(
                index=frames[0][0] % 65536,
                time_us=frames[0][1] % 2**32,
                counts=np.array([self.frame(k) for k, _ in frames]),
                flags=flags,
            )
            if not self.notify(ids.WRIST_DATA, encode_packet(packet)):
                return
            for _ in range(self.repeat - 1):
                self.daemon.changed(
                    self._data.path,
                    "org.bluez.GattCharacteristic1",
                    {"Value": Variant("ay", self._data.value)},
                )
            self._overflow, self._first = False, self._first and not first
            self.sent_packets += 1
            self.newest_sent = frames[-1][0]
            for _ in range(n):
                self._queue.popleft()
