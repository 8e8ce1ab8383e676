"""The command line as a program of its own, on the private bus."""

from __future__ import annotations

import asyncio
import codecs
import os
import signal
import sys
from pathlib import Path


class Program:
    """One run of the command line."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self._process = process
        assert process.stderr is not None
        assert process.stdout is not None
        self.talk = self.data = ""
        self._reading = [
            asyncio.create_task(self._read("talk", process.stderr)),
            asyncio.create_task(self._read("data", process.stdout)),
        ]

    async def _read(self, what: str, stream: asyncio.StreamReader) -> None:
        decoder = codecs.getincrementaldecoder("utf-8")()
        while chunk := await stream.read(4096):
            setattr(self, what, getattr(self, what) + decoder.decode(chunk))

    async def says(self, words: str, within_s: float = 30.0) -> None:
        """Wait until it has said something on stderr."""
        for _ in range(int(within_s / 0.02)):
            if words in self.talk:
                return
            await asyncio.sleep(0.02)
        raise AssertionError(f"it never said {words!r}, but:\n{self.talk}")

    async def prints(self, words: str, times: int = 1) -> None:
        """Wait until it has printed something on stdout so many times; the story's own limit holds."""
        while self.data.count(words) < times:
            assert self._process.returncode is None, f"it ended before it printed {words!r}:\n{self.talk}"
            await asyncio.sleep(0.02)

    def interrupt(self) -> None:
        self._process.send_signal(signal.SIGINT)

    def kill(self) -> None:
        self._process.kill()

    async def end(self, within_s: float = 40.0) -> tuple[int, str]:
        """Exit code and stdout."""
        try:
            async with asyncio.timeout(within_s):
                code = await self._process.wait()
        except TimeoutError:
            self._process.kill()
            await self._process.wait()
            raise AssertionError(f"it did not end in {within_s} s:\n{self.talk}") from None
        await asyncio.gather(*self._reading)
        return code, self.data


class Bench:
    """Starts programs against the private bus."""

    def __init__(self, address: str, folder: Path) -> None:
        self.address, self.folder = address, folder
        self.config = folder / "config"

    async def armarc(self, *words: str | Path, launcher: tuple[str, ...] = ()) -> Program:
        environment = os.environ | {
            "DBUS_SYSTEM_BUS_ADDRESS": self.address,
            "ARMARC_CONFIG_DIR": str(self.config),
            "ARMARC_DATA_DIR": str(self.folder / "data"),
            "NO_COLOR": "1",
        }
        command = [*launcher, sys.executable, "-m", "armarc", *map(str, words)]
        process = await asyncio.create_subprocess_exec(
            *command,
            env=environment,
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
        )
        return Program(process)
