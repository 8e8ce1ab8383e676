"""Keys of the terminal while the live screen is shown, and Ctrl-C and its relatives, as a running capture or live
session hears them.
"""

from __future__ import annotations

import asyncio
import codecs
import contextlib
import os
import signal
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.live.session import LiveSession


LONGEST_READ = 256
LOOK_EVERY_S = 0.05
"""How often a console of Windows, which the loop cannot wait for, is asked for keys."""


@contextlib.contextmanager
def keyboard(session: LiveSession) -> Iterator[None]:
    """Take keys for a session until the end of the ``with``; the terminal is as it was afterwards.

    Ctrl-C stays what it is. Without a terminal to read from nothing is taken.
    """
    take = _taker(session)
    for keys in (_terminal_keys, _console_keys):
        with contextlib.suppress(ImportError, OSError, ValueError):
            taking = keys(take)
            break
    else:
        yield
        return
    with taking:
        session.scoreboard.keys = True
        yield


def _taker(session: LiveSession) -> Callable[[str], None]:
    """What is done with keys as they come."""
    from armarc.errors import UsageError
    from armarc.live.keys import Pad

    pad, scoreboard = Pad(), session.scoreboard

    def take(text: str) -> None:
        nonlocal pad
        for key in text:
            pad, order = pad.press(
                key,
                session.desk.next_task,
                lifters=session.lifters,
                exercises=session.exercises,
                after_set=bool(session.desk.done) and not session.desk.lifting,
            )
            scoreboard.typing = pad.words()
            if order is not None:
                try:
                    session.order(order)
                except UsageError as error:
                    scoreboard.typing = error.message
        session.refresh()

    return take


def _terminal_keys(take: Callable[[str], None]) -> contextlib.AbstractContextManager[None]:
    """Keys of a terminal of Linux or macOS; raises OSError or ValueError where there is none."""
    import termios
    import tty

    fd = sys.stdin.fileno()
    try:
        before = termios.tcgetattr(fd)
    except termios.error as error:
        raise OSError(str(error)) from error
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    loop = asyncio.get_running_loop()

    def read() -> None:
        data = os.read(fd, LONGEST_READ)
        if not data:
            loop.remove_reader(fd)
        if data[:1] == b"\x1b" and len(data) > 1:
            return  # an arrow or another key that sends several characters
        take(decoder.decode(data))

    @contextlib.contextmanager
    def taking() -> Iterator[None]:
        tty.setcbreak(fd)
        loop.add_reader(fd, read)
        try:
            yield
        finally:
            loop.remove_reader(fd)
            termios.tcsetattr(fd, termios.TCSADRAIN, before)

    return taking()


def _console_keys(take: Callable[[str], None]) -> contextlib.AbstractContextManager[None]:
    """Keys of a console of Windows; raises ImportError or OSError where there is none."""
    console: Any = import_module("msvcrt")
    if not sys.stdin.isatty():
        raise OSError("no console")

    async def look() -> None:
        while True:
            while console.kbhit():
                key = console.getwch()
                if key in ("\x00", "\xe0"):
                    console.getwch()  # an arrow or another key that sends two characters
                    continue
                take(key)
            await asyncio.sleep(LOOK_EVERY_S)

    @contextlib.contextmanager
    def taking() -> Iterator[None]:
        looking = asyncio.get_running_loop().create_task(look())
        try:
            yield
        finally:
            looking.cancel()

    return taking()


_NAMES = ("SIGINT", "SIGTERM", "SIGBREAK")
"""The last one is Windows': Ctrl-Break, and the window that is closed."""


def call_when_asked_to_stop(
    loop: asyncio.AbstractEventLoop, ask: Callable[[], None], *, hang_up: bool = False
) -> None:
    """Call `ask` in the loop whenever the person or the system asks the program to end.

    Parameters
    ----------
    hang_up : bool
        Also when the terminal goes away (SIGHUP).
    """
    names = (*_NAMES, "SIGHUP") if hang_up else _NAMES
    for number in [getattr(signal, name) for name in names if hasattr(signal, name)]:
        try:
            loop.add_signal_handler(number, ask)
        except NotImplementedError:  # the loop of Windows has none
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(ask))
