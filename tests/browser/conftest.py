"""What tests of a phone's page share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from live_chrome import Chrome
from phone_link import FLAGS


@pytest.fixture
def page() -> Iterator[Chrome]:
    """A browser that takes the program's own certificate."""
    with Chrome(flags=FLAGS) as chrome:
        yield chrome
