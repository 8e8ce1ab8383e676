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
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from functools import cache
from pathlib import Path

SERVER = """
import gc, json, os, select, signal, socket, sys
import armarc.cli.app, armarc.cli.commands, armarc.cli.record, armarc.cli.live, armarc.live.session
import armarc.recording, armarc.sensor.capture, armarc.sensor.link
import bleak, bleak.backends.bluezdbus.client, bleak.backends.bluezdbus.scanner, numpy
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
    sys.argv = ["armarc", *asked["words"]]
    break
from armarc.cli import main
main()
"""
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


async def begin(words: list[str], environment: dict[str, str]) -> Warm:
    """Begin ``armarc WORDS …``."""
    with _ONE:
        place = _place()
    link = socket.socket(socket.AF_UNIX)
    link.connect(place)
    (out, to_out), (err, to_err) = os.pipe(), os.pipe()
    nothing = os.open(os.devnull, os.O_RDONLY)
    asked = json.dumps({"words": words, "environment": environment}).encode()
    socket.send_fds(link, [asked], [nothing, to_out, to_err])
    for own in (nothing, to_out, to_err):
        os.close(own)
    said, answer = await asyncio.open_connection(sock=link)
    return Warm(said, answer, int(await said.readline()), (out, err))
