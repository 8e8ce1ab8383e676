"""The Pythons of this machine that armarc promises to run on. Run as a program it prints the names of the tests."""

from __future__ import annotations

import functools
import shutil
import subprocess
from pathlib import Path

LOWEST_MINOR, HIGHEST_MINOR = 11, 14
LOWEST_VERSIONS = "lowest-versions"
PATIENCE_S = 180
"""A Python that is asked behind a busy suite may wait for long."""


@functools.cache
def pythons() -> dict[str, str]:
    """Path of every Python found, by a name such as ``python3.12``."""
    found = {}
    for minor in range(LOWEST_MINOR, HIGHEST_MINOR + 1):
        name = f"python3.{minor}"
        places = [
            shutil.which(name) or "",
            *sorted(Path.home().glob(f".pyenv/versions/3.{minor}.*/bin/{name}")),
        ]
        for place in map(str, places):
            if place and _runs(place, minor):
                found[name] = place
                break
    return found


def _runs(place: str, minor: int) -> bool:
    # A name on the path may be a shim that leads nowhere.
    asked = [place, "-c", "import sys, venv; print(sys.version_info[1])"]
    try:
        done = subprocess.run(asked, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.stdout.strip() == str(minor)


if __name__ == "__main__":
    print(LOWEST_VERSIONS, *reversed(pythons()), "wheel", sep="\n")
