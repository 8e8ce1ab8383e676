"""Makes the inventions beside this file importable from every folder of tests, and keeps tests off the user's own
configuration."""

import os

import pytest
from hypothesis import settings

from armarc.computer import CONFIG_VARIABLE

# The programs that tests start, and the workers, find armarc compiled, as it is on everybody's machine: compiling it
# anew is up to a third of a start.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# The same examples in every run: a run tells of the code, not of its luck. Others: --hypothesis-profile=default.
settings.register_profile("same", derandomize=True)
settings.load_profile("same")


@pytest.fixture(autouse=True, scope="session")
def own_configuration(tmp_path_factory):
    """No test reads or writes what the person at this machine has saved."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(CONFIG_VARIABLE, str(tmp_path_factory.mktemp("configuration")))
        yield


def pytest_collection_modifyitems(config, items):
    """Slow tests run when they are asked for.

    With ``--dist loadgroup`` a file stays on one worker, and so do all files with a fake Bluetooth daemon, whose
    stories are told together.
    """
    for item in items:
        where = item.path.parent if item.path.parent.name == "device" else item.path
        if where is not item.path:  # all stories are told in the name of the first one
            item.add_marker(pytest.mark.timeout(600))
        item.add_marker(pytest.mark.xdist_group(str(where.relative_to(config.rootpath))))
    asked = config.getoption("-m") or ""
    if "slow" in asked or "grid" in asked:
        return
    for item in items:
        if item.get_closest_marker("slow"):
            item.add_marker(pytest.mark.skip(reason="slow; run with -m 'slow or not slow'"))
