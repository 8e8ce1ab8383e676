"""Ctrl-C between a recording that has been measured and the place where it is kept."""

from __future__ import annotations

import signal
import threading

import pytest

from armarc.archive.interrupts import asked_to_end_as_interrupted, interrupted_afterwards


def test_a_system_that_asks_to_end_is_heard_as_ctrl_c_is():
    kept, handler = [], signal.getsignal(signal.SIGTERM)

    def run():
        with asked_to_end_as_interrupted(), interrupted_afterwards():
            signal.raise_signal(signal.SIGTERM)
            kept.append("measured")

    with pytest.raises(KeyboardInterrupt):
        run()
    assert kept == ["measured"]
    assert signal.getsignal(signal.SIGTERM) is handler


def test_the_block_ends_first():
    kept = []

    def block():
        with interrupted_afterwards():
            signal.raise_signal(signal.SIGINT)
            kept.append("measured")

    with pytest.raises(KeyboardInterrupt):
        block()
    assert kept == ["measured"]


def test_it_goes_to_whoever_handled_it_before():
    came = []
    before = signal.signal(signal.SIGINT, lambda *_: came.append("theirs"))
    try:
        with interrupted_afterwards():
            signal.raise_signal(signal.SIGINT)
            assert came == []
        assert came == ["theirs"]
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        with interrupted_afterwards():
            signal.raise_signal(signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


def test_an_outcome_on_its_way_to_the_caller_arrives():
    def outcomes():
        for number in range(3):
            with interrupted_afterwards():
                if number == 1:
                    signal.raise_signal(signal.SIGINT)
                yield number

    got = []
    with pytest.raises(KeyboardInterrupt):
        got.extend(outcomes())
    assert got == [0, 1]


def test_an_error_of_the_block_is_what_is_raised():
    handler = signal.getsignal(signal.SIGINT)

    def block():
        with interrupted_afterwards():
            signal.raise_signal(signal.SIGINT)
            raise ValueError("disk")

    with pytest.raises(ValueError, match="disk"):
        block()
    assert signal.getsignal(signal.SIGINT) is handler


def test_other_threads_are_left_alone():
    handler, seen = signal.getsignal(signal.SIGINT), []

    def block():
        with interrupted_afterwards():
            seen.append(signal.getsignal(signal.SIGINT))

    thread = threading.Thread(target=block)
    thread.start()
    thread.join()
    assert seen == [handler]
