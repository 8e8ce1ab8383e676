"""A private bus and the command line on it; the tests skip where there is no bus or no Bluetooth library."""

from __future__ import annotations

import asyncio
import inspect
import shutil
import sys
from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

pytest.importorskip("bleak", reason="the Bluetooth library is not installed")
pytest.importorskip("dbus_fast", reason="dbus-fast is not installed (Linux only)")


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


AT_ONCE = 8


async def _limited(story: Awaitable[None], within_s: float) -> None:
    async with asyncio.timeout(within_s):
        await story


@pytest.fixture(scope="session")
def told(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The stories of all tests that are not slow, told several at a time: they mostly wait.

    Each has a bus, a daemon and a folder of its own. A test then only reports how its story ended.
    """
    if shutil.which("dbus-daemon") is None:
        pytest.skip("no dbus-daemon on this machine (Debian package dbus-daemon)")
    from fake_daemon import PrivateBus
    from program import Bench

    outcomes: dict[str, Any] = {}

    def tell(item: pytest.Function) -> None:
        bus = PrivateBus()
        stories: list[tuple[Awaitable[None], float]] = []
        given = {
            "private_bus": bus,
            "bench": Bench(bus.address, tmp_path_factory.mktemp("story")),
            "run": lambda story, within_s=90.0: stories.append((story, within_s)),
            **(item.callspec.params if hasattr(item, "callspec") else {}),
        }
        wanted = inspect.signature(item.function).parameters
        try:
            item.function(**{name: given[name] for name in wanted})
            for story, within_s in stories:
                asyncio.run(_limited(story, within_s))
            outcomes[item.nodeid] = None
        except BaseException as error:
            outcomes[item.nodeid] = error
        finally:
            bus.close()

    # An event loop each: within one, a connection that ends late takes the reader off whoever got its socket's number.
    with ThreadPoolExecutor(AT_ONCE) as at_once:
        list(at_once.map(tell, _together(request.session.items)))
    return outcomes


def _together(items: list[pytest.Item]) -> list[pytest.Function]:
    return [
        item
        for item in items
        if isinstance(item, pytest.Function)
        and "run" in item.fixturenames
        and Path(__file__).parent == item.path.parent
        and not item.get_closest_marker("slow")
    ]


@pytest.fixture
def run(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Run a test's story with a limit; those that are not slow have been told together."""
    if request.node in _together(request.session.items):
        outcomes = request.getfixturevalue("told")

        def report(story: Any, within_s: float = 90.0) -> None:
            story.close()
            if outcomes[request.node.nodeid] is not None:
                raise outcomes[request.node.nodeid]

        return report
    return lambda story, within_s=90.0: asyncio.run(_limited(story, within_s))
