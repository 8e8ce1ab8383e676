"""Ctrl-C that waits until what has been measured is where it is kept; a machine that shuts down asks the same."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def interrupted_afterwards() -> Iterator[None]:
    """Put an interrupt off until the block has ended.

    In the main thread, whose interrupt it is; in any other this does nothing. A block that ends with an error raises
    that error, and the interrupt is none any more.

    Raises
    ------
    KeyboardInterrupt
        After the block, when an interrupt came within it and nobody else handles it.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came = False

    def note(*_: object) -> None:
        nonlocal came
        came = True

    before = signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if came:
        signal.raise_signal(signal.SIGINT)


@contextmanager
def asked_to_end_as_interrupted() -> Iterator[None]:
    """Take SIGTERM, by which systems and schedulers of clusters ask a program to end, as Ctrl-C within the block.

    In the main thread; in any other this does nothing.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, lambda *_: signal.raise_signal(signal.SIGINT))
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
