"""A description as a way of speaking."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from armarc.errors import SensorError
from armarc.recording import FloatArray
from armarc.sensor.describe.description import AXES, Command, Description
from armarc.sensor.describe.layout import decode_described, quantity_of, read_packet
from armarc.sensor.describe.own_decoder import load_decoder
from armarc.sensor.dialect import Batch, Opened
from armarc.sensor.wire.control import SensorSettings
from armarc.sensor.wire.identifiers import PacketError

if TYPE_CHECKING:
    from bleak import BleakClient

LONGEST_BRIDGE = 2.5
"""Periods of the slower stream that are bridged: one lost sample is, more are not."""
SAME_S = 1e-5
"""Times this close are one instant: coarser than rounding, finer than any sample."""
MOST_WAITING_S = 2.0
"""One stream that goes on without the other keeps this much."""


class _Stream:
    """Samples of one stream with their times, unwrapped."""

    def __init__(self, description: Description) -> None:
        self.description = description
        self.time_s: FloatArray = np.zeros(0)
        self.values: FloatArray = np.zeros((0, 3))
        self._before: tuple[float, int] | None = None
        self._newest_s: float | None = None

    def add(self, data: bytes, other_s: float | None) -> None:
        packet = read_packet(self.description, data)
        values = packet.specific_force_m_s2
        if values is None:
            values = packet.angular_velocity_rad_s
        if values is None or packet.device_time_s is None:
            raise PacketError("the packet holds no sample with a time")
        first_s = self._unwrapped(packet.device_time_s, other_s)
        newest_s = self._newest_s
        if newest_s is not None and first_s <= newest_s:
            if first_s > newest_s - MOST_WAITING_S:
                return  # had before
            self.time_s, self.values, self._before = np.zeros(0), np.zeros((0, 3)), None
        period_s = self._period_s(first_s)
        times = first_s + period_s * np.arange(packet.n)
        self._before, self._newest_s = (first_s, packet.n), float(times[-1])
        self.time_s = np.concatenate([self.time_s, times])
        self.values = np.concatenate([self.values, values])
        late = int(np.searchsorted(self.time_s, times[-1] - MOST_WAITING_S))
        self.drop(late)

    def drop(self, count: int) -> None:
        self.time_s, self.values = self.time_s[count:], self.values[count:]

    @property
    def newest_s(self) -> float | None:
        return self._newest_s

    def _unwrapped(self, raw_s: float, other_s: float | None) -> float:
        modulus_s = self.description.timing.time_modulus_s
        near_s = self._newest_s if self._newest_s is not None else other_s
        if near_s is None or modulus_s is None or not np.isfinite(modulus_s):
            return raw_s
        return raw_s + round((near_s - raw_s) / modulus_s) * modulus_s

    def _period_s(self, first_s: float) -> float:
        nominal_s = 1 / self.description.rate_hz
        if self._before is None:
            return nominal_s
        before_s, n = self._before
        measured_s = (first_s - before_s) / n
        return measured_s if 0.8 < measured_s / nominal_s < 1.25 else nominal_s


class JoinedDecoder:
    """Packets of either stream in, batches on the faster one's times out."""

    def __init__(self, description: Description) -> None:
        assert description.joined_with is not None
        alone = replace(description, joined_with=None)  # with the clock of its own packets
        self._streams = (_Stream(alone), _Stream(description.joined_with))
        fast = 0 if description.rate_hz >= description.joined_with.rate_hz else 1
        self._fast, self._slow = self._streams[fast], self._streams[1 - fast]

    def __call__(self, data: bytes, source: int = 0) -> tuple[Batch, ...]:
        """Samples for which both streams are there now.

        Raises
        ------
        PacketError
            The packet does not follow its description.
        """
        self._streams[source].add(data, self._streams[1 - source].newest_s)
        return self._ready()

    def _ready(self) -> tuple[Batch, ...]:
        fast, slow = self._fast, self._slow
        if len(slow.time_s) < 2:
            return ()
        count = int(np.searchsorted(fast.time_s, slow.time_s[-1] + SAME_S))
        time_s, values = fast.time_s[:count], fast.values[:count]
        fast.drop(count)
        after = np.clip(np.searchsorted(slow.time_s, time_s - SAME_S), 1, len(slow.time_s) - 1)
        bridge = slow.time_s[after] - slow.time_s[after - 1]
        usable = (time_s >= slow.time_s[0] - SAME_S) & (bridge <= LONGEST_BRIDGE / slow.description.rate_hz)
        between = np.stack([np.interp(time_s, slow.time_s, slow.values[:, k]) for k in range(3)], axis=1)
        out = []
        for run in _runs(time_s, usable, 1.5 / fast.description.rate_hz):
            pair = (values[run], between[run])
            if fast.description.has_acceleration:
                force, rate = pair
            else:
                rate, force = pair
            out.append(
                Batch(
                    specific_force_m_s2=force,
                    angular_velocity_rad_s=rate,
                    device_time_s=float(time_s[run][0]),
                )
            )
        if count:
            # The slower stream's last sample before the next of the faster one is needed for one more bridge.
            slow.drop(max(0, int(np.searchsorted(slow.time_s, time_s[-1])) - 1))
        return tuple(out)


def _runs(time_s: FloatArray, usable: FloatArray, longest_s: float) -> list[slice]:
    """Stretches of usable samples without a gap."""
    out: list[slice] = []
    start = None
    for k, fit in enumerate(usable):
        apart = k > 0 and time_s[k] - time_s[k - 1] > longest_s
        if start is not None and (not fit or apart):
            out.append(slice(start, k))
            start = None
        if fit and start is None:
            start = k
    if start is not None:
        out.append(slice(start, len(time_s)))
    return out


LONGEST_LINE = 1024
_LABEL = re.compile(r"^\s*[A-Za-z_]\w*\s*[:=]\s*")
"""Some print a name before each number."""


class LineDecoder:
    """Collects notifications into lines, and lines into samples.

    What comes before the first end of a line is left out: it may be the rest of one, and its first number with it.
    """

    def __init__(self, description: Description) -> None:
        self._description = description
        self._kept = b""
        self._begun = False

    def __call__(self, data: bytes, source: int = 0) -> tuple[Batch, ...]:
        """Samples whose lines are whole now.

        Raises
        ------
        PacketError
            None of the lines could be read, or a line never ends.
        """
        *lines, self._kept = re.split(rb"[\r\n]+", self._kept + data)
        if not self._begun and lines:
            self._begun = True
            lines = lines[1:]
        if len(self._kept) > LONGEST_LINE:
            self._kept = b""
            raise PacketError(f"a line of text goes on for more than {LONGEST_LINE} bytes")
        out: list[Batch] = []
        fault: PacketError | None = None
        for line in lines:
            try:
                batch = self._sample(line.decode("ascii", "replace").strip())
            except PacketError as error:
                fault = error
            else:
                out += [] if batch is None else [batch]
        if fault is not None and not out:
            raise fault
        return tuple(out)

    def _sample(self, line: str) -> Batch | None:
        wanted = self._description
        if not line:
            return None
        cells = line.split() if wanted.separator == " " else line.split(wanted.separator)
        for cell, one in zip(cells, wanted.sample, strict=False):
            if one.field == "constant" and cell.strip() != one.text:
                return None  # a line of another kind
        if len(cells) != len(wanted.sample):
            raise PacketError(
                f"expected {len(wanted.sample)} columns in a line, got {len(cells)}: {line[:60]!r}"
            )
        values: dict[str, float] = {}
        for cell, one in zip(cells, wanted.sample, strict=True):
            if one.field not in ("skip", "constant"):
                values[one.field] = _number(cell, line)
        columns = {name: np.array([value]) for name, value in values.items()}
        force = quantity_of(columns, AXES[:3], wanted.acceleration)
        rate = quantity_of(columns, AXES[3:], wanted.angular_velocity)
        if force is None or rate is None:
            raise PacketError("the line holds only one of acceleration and angular velocity")
        tick_s = next((one.tick_s for one in wanted.sample if one.field == "clock"), 0.0)
        return Batch(
            specific_force_m_s2=force,
            angular_velocity_rad_s=rate,
            index=int(values["sample_counter"]) if "sample_counter" in values else None,
            device_time_s=values["clock"] * tick_s if "clock" in values else None,
        )


def _number(cell: str, line: str) -> float:
    try:
        value = float(_LABEL.sub("", cell))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise PacketError(f"{cell.strip()[:20]!r} is no number in the line {line[:60]!r}")
    return value


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
