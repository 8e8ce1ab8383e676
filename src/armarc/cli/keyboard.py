"""Keys of the terminal while the live screen is shown (where a system has no such terminal, the page has the same),
and Ctrl-C and its relatives, as a running capture or live session hears them.
"""

from __future__ import annotations

import asyncio
import codecs
import contextlib
import os
import signal
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armarc.live.session import Session


LONGEST_READ = 256


@contextlib.contextmanager
def keyboard(session: Session) -> Iterator[None]:
    """Take keys for a session until the end of the ``with``; the terminal is as it was afterwards.

    Ctrl-C stays what it is. Without a terminal to read from nothing is taken.
    """
    try:
        import termios
        import tty
    except ImportError:
        yield
        return
    try:
        fd = sys.stdin.fileno()
        before = termios.tcgetattr(fd)
    except (OSError, ValueError, termios.error):
        yield
        return
    from armarc.errors import UsageError
    from armarc.live.keys import Pad

    loop, pad = asyncio.get_running_loop(), Pad()
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    board = session.board

    def take() -> None:
        nonlocal pad
        data = os.read(fd, LONGEST_READ)
        if not data:
            loop.remove_reader(fd)
        if data[:1] == b"\x1b" and len(data) > 1:
            return  # an arrow or another key that sends several characters
        for key in decoder.decode(data):
            pad, order = pad.press(
                key,
                session.desk.next_task,
                lifters=session.lifters,
                exercises=session.exercises,
                after_set=bool(session.desk.done) and not session.desk.lifting,
            )
            board.typing = pad.words()
            if order is not None:
                try:
                    session.order(order)
                except UsageError as error:
                    board.typing = error.message
        session.refresh()

    tty.setcbreak(fd)
    loop.add_reader(fd, take)
    board.keys = True
    try:
        yield
    finally:
        loop.remove_reader(fd)
        termios.tcsetattr(fd, termios.TCSADRAIN, before)


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
