"""Prints the lowest versions the package promises to work with, as constraints for pip.

``numpy>=2.0`` becomes ``numpy==2.0.*``: the newest repair of the lowest release, which is what an old machine has.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

WORKING = ("web", "phone", "sound", "archive", "cluster", "postgres")
"""Extras that people use; the tools of the tests may be new."""


def constraints(pyproject: Path) -> list[str]:
    """One line per package that armarc itself needs."""
    project = tomllib.loads(pyproject.read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *(one for extra in WORKING for one in extras[extra])]
    found = {}
    for line in wanted:
        name, lowest = re.fullmatch(r"([\w-]+)(?:\[[\w,]+\])?>=([\d.]+)(?:,<[\d.]+)?", line).groups()
        found[name] = f"{name}=={lowest if '.' in lowest else lowest + '.0'}.*"
    return sorted(found.values())


if __name__ == "__main__":
    print("\n".join(constraints(Path(__file__).parents[1] / "pyproject.toml")))
