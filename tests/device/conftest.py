"""A private bus and the command line on it; the tests skip where there is no bus or no Bluetooth library."""

from __future__ import annotations

import asyncio
import shutil
import sys
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

pytest.importorskip("bleak", reason="the Bluetooth library is not installed")
pytest.importorskip("dbus_fast", reason="dbus-fast is not installed (Linux only)")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "slow: left out of a plain run; -m 'slow or not slow' runs everything")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if "slow" in (config.getoption("-m") or ""):
        return
    for item in items:
        if item.get_closest_marker("slow"):
            item.add_marker(pytest.mark.skip(reason="slow; run with -m 'slow or not slow'"))


@pytest.fixture
def private_bus() -> Iterator[Any]:
    if shutil.which("dbus-daemon") is None:
        pytest.skip("no dbus-daemon on this machine (Debian package dbus-daemon)")
    from fake_daemon import PrivateBus

    bus = PrivateBus()
    yield bus
    bus.close()


@pytest.fixture
def bench(private_bus: Any, tmp_path: Path) -> Any:
    from program import Bench

    return Bench(private_bus.address, tmp_path)


@pytest.fixture
def run() -> Callable[[Awaitable[None]], None]:
    """Run a test's coroutine with a limit."""

    def runner(story: Awaitable[None], within_s: float = 60.0) -> None:
        async def limited() -> None:
            async with asyncio.timeout(within_s):
                await story

        asyncio.run(limited())

    return runner
