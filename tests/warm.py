"""Programs that begin where one that has loaded its libraries stands, each still a process of its own.

Loading them is most of what a short story costs. One process has loaded them and waits; for every program it makes a
copy of itself (`os.fork`) with the streams, the words and the environment of that program, which then goes the whole
way from the command line on.
"""

from __future__ import annotations

import asyncio
import atexit
import contextlib
import json
import os
import select
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

SERVER = """
import gc, json, os, select, signal, socket, sys
import armarc.cli.app, armarc.cli.commands, armarc.cli.record, armarc.cli.live, armarc.live.session
import armarc.api, armarc.log, armarc.pipeline, armarc.recording, armarc.sensor.capture, armarc.sensor.link
import contextlib, numpy, scipy.signal, scipy.spatial, sqlalchemy
with contextlib.suppress(ImportError):
    import bleak, bleak.backends.bluezdbus.client, bleak.backends.bluezdbus.scanner
with contextlib.suppress(ImportError):
    import cryptography, starlette, uvicorn, websockets
gc.freeze()
listener = socket.socket(socket.AF_UNIX)
listener.bind(sys.argv[1])
listener.listen(64)
print("waits", flush=True)
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
while True:
    ready, _, _ = select.select([listener, 0], [], [])
    if 0 in ready:  # whoever started it has gone
        os._exit(0)
    link, _ = listener.accept()
    if os.fork():
        link.close()
        continue
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    asked, streams, _, _ = socket.recv_fds(link, 1 << 20, 3)
    program = os.fork()
    if program:
        for stream in (*streams, 1, 2):
            os.close(stream)
        link.sendall(b"%d\\n" % program)
        link.sendall(b"%d\\n" % os.waitpid(program, 0)[1])
        os._exit(0)
    asked = json.loads(asked)
    for number, stream in enumerate(streams):
        os.dup2(stream, number)
    os.closerange(3, 256)
    os.environ.clear()
    os.environ.update(asked["environment"])
    os.chdir(asked["folder"])
    sys.argv = ["armarc", *asked["words"]]
    break
from armarc.cli import main
main()
"""
HERE = sys.platform == "linux"
"""Elsewhere a copy of a process that has loaded so much is not to be trusted, or cannot be made."""
_ONE = threading.Lock()


@cache
def _place() -> str:
    folder = tempfile.TemporaryDirectory(prefix="warm-")
    place = str(Path(folder.name) / "asked")
    # Pipes, since every program's streams are: Python looks once at what a stream can do.
    three = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    server = subprocess.Popen([sys.executable, "-c", SERVER, place], text=True, **three)
    assert server.stdin is not None
    assert server.stdout is not None
    assert server.stdout.readline() == "waits\n"

    def end() -> None:
        server.communicate()
        folder.cleanup()

    atexit.register(end)
    return place


class Warm:
    """A program under way, as `asyncio.subprocess.Process` has it."""

    def __init__(
        self, link: asyncio.StreamReader, answer: asyncio.StreamWriter, pid: int, pipes: tuple[int, int]
    ) -> None:
        self.pid = pid
        self.returncode: int | None = None
        self.stdout, self.stderr = asyncio.StreamReader(), asyncio.StreamReader()
        self._reading = [
            asyncio.create_task(_fill(reader, pipe))
            for reader, pipe in zip((self.stdout, self.stderr), pipes, strict=True)
        ]
        self._ended = asyncio.create_task(self._end(link, answer))

    async def _end(self, link: asyncio.StreamReader, answer: asyncio.StreamWriter) -> int:
        self.returncode = os.waitstatus_to_exitcode(int(await link.readline()))
        answer.close()
        await answer.wait_closed()
        await asyncio.gather(*self._reading)
        return self.returncode

    async def wait(self) -> int:
        return await asyncio.shield(self._ended)

    def send_signal(self, number: int) -> None:
        if self.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


async def _fill(reader: asyncio.StreamReader, pipe: int) -> None:
    """Hand over what comes through a pipe until its other end is closed, and close it."""
    loop, there = asyncio.get_running_loop(), asyncio.Event()
    os.set_blocking(pipe, False)
    loop.add_reader(pipe, there.set)
    try:
        while True:
            await there.wait()
            there.clear()
            with contextlib.suppress(BlockingIOError):
                while chunk := os.read(pipe, 65536):
                    reader.feed_data(chunk)
                return
    finally:
        reader.feed_eof()
        loop.remove_reader(pipe)
        os.close(pipe)


def _asked(words: list[str], environment: dict[str, str], streams: list[int]) -> socket.socket:
    with _ONE:
        place = _place()
    link = socket.socket(socket.AF_UNIX)
    link.connect(place)
    asked = json.dumps({"words": words, "environment": environment, "folder": os.getcwd()}).encode()
    socket.send_fds(link, [asked], streams)
    return link


async def begin(words: list[str], environment: dict[str, str]) -> Warm:
    """Begin ``armarc WORDS …``."""
    (out, to_out), (err, to_err) = os.pipe(), os.pipe()
    nothing = os.open(os.devnull, os.O_RDONLY)
    link = _asked(words, environment, [nothing, to_out, to_err])
    for own in (nothing, to_out, to_err):
        os.close(own)
    said, answer = await asyncio.open_connection(sock=link)
    return Warm(said, answer, int(await said.readline()), (out, err))


class WarmProcess:
    """The same as `subprocess.Popen` has it, with text through pipes on both streams."""

    def __init__(self, words: list[str], environment: dict[str, str]) -> None:
        (out, to_out), (err, to_err) = os.pipe(), os.pipe()
        nothing = os.open(os.devnull, os.O_RDONLY)
        self._link = _asked(words, environment, [nothing, to_out, to_err])
        for own in (nothing, to_out, to_err):
            os.close(own)
        self._said = self._link.makefile("rb")
        self.pid = int(self._said.readline())
        self.returncode: int | None = None
        self.stdout, self.stderr = (os.fdopen(pipe, encoding="utf-8") for pipe in (out, err))

    def poll(self) -> int | None:
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.wait(0.0)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        if self.returncode is None:
            if not select.select([self._link], [], [], timeout)[0]:
                raise subprocess.TimeoutExpired("armarc", timeout or 0.0)
            self.returncode = os.waitstatus_to_exitcode(int(self._said.readline()))
            self._said.close()
            self._link.close()
        return self.returncode

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


def run(words: list[str], environment: dict[str, str], timeout: float) -> subprocess.CompletedProcess[str]:
    """Run ``armarc WORDS …`` to its end."""
    process = WarmProcess(words, environment)
    with process.stdout, process.stderr, ThreadPoolExecutor(2) as readers:
        told = [readers.submit(stream.read) for stream in (process.stdout, process.stderr)]
        try:
            code = process.wait(timeout)
        except BaseException:
            process.kill()
            process.wait()
            raise
        return subprocess.CompletedProcess(["armarc", *words], code, told[0].result(), told[1].result())
