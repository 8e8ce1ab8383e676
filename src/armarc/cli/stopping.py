"""Ctrl-C and its relatives, as a running capture or live session hears them."""

from __future__ import annotations

import signal
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import asyncio

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
