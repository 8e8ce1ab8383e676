"""Makes the inventions beside this file importable from every folder of tests, and keeps tests off the user's own
configuration."""

import os
import sys
from functools import cache

import pytest
import typer.testing
from hypothesis import settings
from typer.main import get_command

from armarc.computer import CONFIG_VARIABLE, one_thread

# The programs that tests start, and the workers, find armarc and the tests compiled, as they are on everybody's
# machine: compiling them anew is up to a third of a start, and two thirds of collecting the tests.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# As the program does: threads that wait for each other cost an eighth of all time where two workers share two cores.
one_thread(os.environ)

# What waits for half a minute or more is begun first, so that no worker ends alone with one of them.
LONG = (
    "device",
    "browser/test_phone_page.py",
    "browser/test_live_page.py",
    "browser/test_phone_screens.py",
    "chaos/test_crowd_at_the_page.py",
    "chaos/test_two_phones.py",
    "chaos/test_strange_phones.py",
    "chaos/test_live_keeps_sets.py",
)

# The same examples in every run: a run tells of the code, not of its luck. Others: --hypothesis-profile=default.
settings.register_profile("same", derandomize=True)
settings.load_profile("same")


@pytest.fixture(autouse=True, scope="session")
def commands_built_once():
    """A program's commands are built once, as in a process of its own, and not for every call: a third of all time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typer.testing, "_get_command", cache(get_command), raising=False)
        yield


@pytest.fixture(autouse=True, scope="session")
def own_configuration(tmp_path_factory):
    """No test reads or writes what the person at this machine has saved."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(CONFIG_VARIABLE, str(tmp_path_factory.mktemp("configuration")))
        yield


@pytest.hookimpl(optionalhook=True, tryfirst=True)
def pytest_xdist_make_scheduler(config, log):
    """``--dist loadfile`` keeps a file on one worker, and the stories of all fake Bluetooth daemons, too."""
    if config.getvalue("dist") != "loadfile":
        return None
    from workers import Together

    return Together(config, log)


def _turn(item):
    """Place of a test's file among those that are begun first; behind them all others as they were."""
    folder, name = item.path.parent.name, item.path.name
    place = folder if folder == "device" else f"{folder}/{name}"
    return LONG.index(place) if place in LONG else len(LONG)


def pytest_collection_modifyitems(config, items):
    """Slow tests run when they are asked for."""
    for item in items:
        if item.path.parent.name == "device":  # all stories are told in the name of the first one
            item.add_marker(pytest.mark.timeout(600))
    items.sort(key=_turn)
    asked = config.getoption("-m") or ""
    if "slow" in asked or "grid" in asked:
        return
    for item in items:
        if item.get_closest_marker("slow"):
            item.add_marker(pytest.mark.skip(reason="slow; run with -m 'slow or not slow'"))
