"""Which tests stay together on one worker of pytest-xdist."""

from __future__ import annotations

from pathlib import PurePosixPath

from xdist.scheduler import LoadFileScheduling


class Together(LoadFileScheduling):
    """A file's tests stay together, since they share what they have made; so do all stories of fake Bluetooth daemons.

    By the names of the tests and not by xdist's groups: pytest-xdist 3.8 writes those into a field of a test that
    pytest 9.2 no longer reads, without a word, and every worker told all the stories.
    """

    def _split_scope(self, nodeid: str) -> str:
        place = PurePosixPath(nodeid.split("::", 1)[0])
        return str(place.parent if place.parent.name == "device" else place)
