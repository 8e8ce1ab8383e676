"""Makes the inventions beside this file importable from every folder of tests, and keeps tests off the user's own
configuration."""

import pytest

from armarc.folders import CONFIG_VARIABLE


@pytest.fixture(autouse=True, scope="session")
def own_configuration(tmp_path_factory):
    """No test reads or writes what the person at this machine has saved."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(CONFIG_VARIABLE, str(tmp_path_factory.mktemp("configuration")))
        yield
