"""Holds on to one sensor: finds it, listens, and finds it again."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field

from armarc.errors import SensorError
from armarc.sensor.dialect import Batch, Dialect
from armarc.sensor.events import Battery, Ended, Event, LinkLost, LinkUp, SensorFacts, Trouble
from armarc.sensor.link.connection import Connection, Leftover, LinkBroken, NoLink, connect
from armarc.sensor.link.find import Wish, found
from armarc.sensor.link.wrist import WristDialect
from armarc.sensor.remembered import Remembered, recall
from armarc.sensor.timing import Timeline
from armarc.sensor.wire.control import SensorSettings
from armarc.sensor.wire.identifiers import PacketError

FIRST_TRIES = 5
GARBAGE = 20
LOW_BATTERY_PCT = 15
EMPTY_BATTERY_PCT = 5
MUTE_LINKS = 3
DRAIN_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamOptions:
    """How hard to try.

    Parameters
    ----------
    settings : SensorSettings
        What is asked of a sensor that speaks the wrist profile.
    find_s : float, s
        How long to look for a sensor at the beginning.
    silence_s : float, s
        Without a packet for this long the link counts as broken, whatever the system says.
    give_up_s : float, s
        A sensor lost for this long is given up.
    known : tuple of Remembered
        Nicknames.
    descriptions : tuple of Dialect
        Other ways of speaking, in addition to the wrist profile.
    """

    settings: SensorSettings = field(default_factory=SensorSettings)
    find_s: float = 15.0
    silence_s: float = 2.0
    give_up_s: float = 120.0
    known: tuple[Remembered, ...] = ()
    descriptions: tuple[Dialect, ...] = ()


class Listener:
    """Holds on to one sensor."""

    def __init__(
        self,
        number: int,
        text: str,
        options: StreamOptions,
        emit: Callable[[Event], None],
        radio: asyncio.Lock,
        clock: Callable[[], float],
        halt: asyncio.Event,
    ) -> None:
        self.ever_up = False
        self.number = number
        self._options = options
        self._wish = Wish(text=text, remembered=recall(options.known, text) if text else None)
        self._dialects: tuple[Dialect, ...] = (WristDialect(), *options.descriptions)
        self._emit = emit
        self._radio = radio
        self._clock = clock
        self._halt = halt
        self._connection: Connection | None = None
        self._timeline: Timeline | None = None
        self._leftover: Leftover | None = None
        self._boot: int | None = None
        self._facts: SensorFacts | None = None
        self._not_these: set[str] = set()
        self._links = 0
        self._tries = 0
        self._address = ""
        self._told = ""
        self._bad = 0
        self._battery_pct: int | None = None
        self._low = False
        self._temperature_c: float | None = None
        self._last_data_s = clock()

    def wake(self) -> None:
        """Make a waiting connection look at the stop event."""
        if self._connection is not None:
            self._connection.wake()

    async def run(self) -> None:
        """Until stopped or given up."""
        try:
            await self._keep_linked()
        finally:
            self._release()
            timeline = self._timeline
            self._emit(
                Ended(
                    sensor=self.number,
                    time_s=self._clock(),
                    frames=timeline.frames if timeline else 0,
                    missing_frames=timeline.missing_frames if timeline else 0,
                    duplicate_frames=timeline.duplicate_frames if timeline else 0,
                    bad_packets=self._bad,
                    reconnects=max(0, self._links - 1),
                    drift_ppm=timeline.drift_ppm if timeline else None,
                    temperature_c=self._temperature_c,
                )
            )

    async def _keep_linked(self) -> None:
        while not self._halt.is_set():
            try:
                connection = await self._unless_halted(self._link())
            except SensorError as error:
                self._tries += 1
                if not self._worth_another_try(error):
                    raise self._last_word(error) from error
                if error.message != self._told:
                    self._told = error.message
                    self._emit(Trouble(sensor=self.number, time_s=self._clock(), message=error.message))
                await self._pause(min(2.0, 0.1 * 2**self._tries))
                continue
            if connection is None:
                return
            try:
                await self._listen(connection)
                return
            except LinkBroken as broken:
                self._tries = 0
                self._told = ""
                self._release()
                reason = self._reason(str(broken))
                self._emit(LinkLost(sensor=self.number, time_s=self._clock(), reason=reason))
                self._give_up_on_silence(reason)
            finally:
                self._connection = None
                await connection.hang_up()

    def _worth_another_try(self, error: SensorError) -> bool:
        if self.ever_up:
            return self._clock() - self._last_data_s <= self._options.give_up_s
        return isinstance(error, WrongSensor) or (isinstance(error, NoLink) and self._tries < FIRST_TRIES)

    def _last_word(self, error: SensorError) -> SensorError:
        if not self.ever_up:
            return error
        return SensorError(
            f"{self._who()} was lost and did not come back in {self._options.give_up_s:g} s; last: "
            f"{error.message}",
            error.hint,
        )

    def _give_up_on_silence(self, reason: str) -> None:
        silent_s = self._clock() - self._last_data_s
        mute = self._timeline is None or self._timeline.frames == 0
        if (mute and self._links >= MUTE_LINKS) or silent_s > self._options.give_up_s:
            raise SensorError(
                f"{self._who()} can be connected but sends nothing usable ({reason})",
                "restart the sensor; charge it; check that its firmware follows the profile or description",
            )

    async def _unless_halted(self, link: Coroutine[object, object, Connection]) -> Connection | None:
        """The connection, or None (and no connection left behind) when the stop came first."""
        linking = asyncio.create_task(link)
        halting = asyncio.create_task(self._halt.wait())
        try:
            await asyncio.wait({linking, halting}, return_when=asyncio.FIRST_COMPLETED)
            if linking.done() and not self._halt.is_set():
                return linking.result()
            return None
        finally:
            halting.cancel()
            if not linking.done() or self._halt.is_set():
                linking.cancel()
                (late,) = await asyncio.gather(linking, return_exceptions=True)
                if isinstance(late, Connection):
                    await late.hang_up()

    async def _link(self) -> Connection:
        """Scan anew, connect with a new client; one sensor at a time."""
        again = self.ever_up
        wish = self._wish
        if self._address and not wish.text:
            wish = Wish(text=self._address)
        looking = found(
            wish,
            self._dialects,
            4.0 if again else self._options.find_s,
            known=self._options.known,
            not_these=tuple(self._not_these),
            hold_scan=self._tries % 2 == 1,
            held=self._tries == 0,
        )
        async with self._radio, looking as seen:
            self._address = seen.address
            connection = await connect(
                seen,
                self._dialects,
                self._options.settings,
                clock=self._clock,
                known_boot=self._boot,
                facts=self._facts if self._facts and self._facts.address == seen.address else None,
                check=self._check,
            )
        self._connection = connection
        self._up(connection, again)
        return connection

    def _check(self, facts: SensorFacts) -> None:
        wanted = self._facts or self._wish.remembered
        if wanted is not None and wanted.serial and facts.serial and wanted.serial != facts.serial:
            self._not_these.add(facts.address)
            raise WrongSensor(
                f"{facts.name or facts.address} has serial number {facts.serial}, not {wanted.serial}",
                "another sensor has the same name; looking on",
            )

    def _up(self, connection: Connection, again: bool) -> None:
        opened = connection.opened
        if self._timeline is None:
            self._timeline = Timeline(self.number, opened.timing)
        else:
            same = opened.boot is None or opened.boot == self._boot
            self._timeline.resume(opened.timing, same_clock=same)
        self._leftover = Leftover(opened)
        self._boot = opened.boot
        self._facts = connection.facts
        self._links += 1
        self.ever_up = True
        now_s = self._clock()
        self._emit(LinkUp(sensor=self.number, time_s=now_s, facts=connection.facts, again=again))
        if connection.facts.battery_pct is not None and not again:
            self._battery(connection.facts.battery_pct)
        for note in opened.notes:
            self._emit(Trouble(sensor=self.number, time_s=now_s, message=note))

    async def _listen(self, connection: Connection) -> None:
        good = bad = 0
        while not self._halt.is_set():
            item = await connection.next(self._options.silence_s)
            if isinstance(item, int):
                self._battery(item)
            elif item is not None:
                if self._take(connection, *item):
                    good += 1
                else:
                    bad += 1
                if bad >= GARBAGE and good == 0:
                    raise LinkBroken(f"nothing but unreadable packets came, {bad} of them")
        await self._drain(connection)

    async def _drain(self, connection: Connection) -> None:
        """Stop the sensor and take in what is still on its way, until nothing comes any more."""
        with contextlib.suppress(Exception):
            async with asyncio.timeout(1.0):
                await connection.dialect.stop(connection.client)
                self._temperature_c = await connection.dialect.temperature_c(connection.client)
        with contextlib.suppress(LinkBroken, TimeoutError):
            async with asyncio.timeout(DRAIN_S):
                while True:
                    item = await connection.next(0.15)
                    if isinstance(item, tuple):
                        self._take(connection, *item)

    def _take(self, connection: Connection, arrival_s: float, data: bytes, source: int) -> bool:
        try:
            batches = connection.opened.decode(data, source)
        except PacketError as error:
            self._bad += 1
            if self._bad in (1, 10) or self._bad % 1000 == 0:
                self._emit(
                    Trouble(
                        sensor=self.number,
                        time_s=arrival_s,
                        message=f"unreadable packet ({self._bad} so far): {error.message}",
                    )
                )
            return False
        self._last_data_s = arrival_s
        for batch in batches:
            self._place(batch, arrival_s)
        return True

    def _place(self, batch: Batch, arrival_s: float) -> None:
        assert self._timeline is not None
        assert self._leftover is not None
        fresh = self._leftover.admit(batch)
        if fresh is None:
            return
        if fresh is not batch and self._leftover.frames:
            self._emit(Trouble(sensor=self.number, time_s=arrival_s, message=self._leftover.words))
        for event in self._timeline.add(fresh, arrival_s):
            self._emit(event)
        if fresh.low_battery and not self._low:
            self._low = True
            self._emit(Battery(sensor=self.number, time_s=arrival_s, percent=self._battery_pct, low=True))

    def _battery(self, percent: int) -> None:
        if not 0 <= percent <= 100 or percent == self._battery_pct:
            return
        self._battery_pct = percent
        self._emit(
            Battery(
                sensor=self.number,
                time_s=self._clock(),
                percent=percent,
                low=self._low or percent <= LOW_BATTERY_PCT,
            )
        )

    def _release(self) -> None:
        if self._timeline is not None:
            for event in self._timeline.finish():
                self._emit(event)

    def _reason(self, text: str) -> str:
        if self._low or (self._battery_pct is not None and self._battery_pct <= EMPTY_BATTERY_PCT):
            return f"{text}; its battery may be empty"
        return text

    def _who(self) -> str:
        if self._facts is not None and (self._facts.name or self._facts.address):
            return self._facts.name or self._facts.address
        return str(self._wish)

    async def _pause(self, seconds: float) -> None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._halt.wait()


class WrongSensor(SensorError):
    """A sensor with the right name and the wrong serial number."""
