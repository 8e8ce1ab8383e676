"""How to add what an extra of the package needs, said for the way this copy was installed."""

from __future__ import annotations

import re
import sys
from pathlib import Path


def how_to_add(extra: str) -> str:
    """The command that adds the packages of an extra to this copy.

    The packages are named themselves, with their floors: armarc may have come from a file or a folder, and then no
    index knows it. A copy in an environment of its own (`pipx`, `uv tool`) is reached by that tool alone.

    Parameters
    ----------
    extra : str
        Name of the extra, as in the package's metadata: ``web``, ``sound``, ``archive``, …
    """
    wanted = " ".join(f'"{one}"' if re.search(r"[<>=;\[ ]", one) else one for one in _packages(extra))
    place = Path(sys.prefix)
    if (place / "pipx_metadata.json").exists():
        return f"add it with: pipx inject armarc {wanted}"
    if (place / "uv-receipt.toml").exists():
        return f"add it with: uv pip install --python {_quoted(sys.executable)} {wanted}"
    return f"add it with: {_quoted(sys.executable)} -m pip install {wanted}"


def _packages(extra: str) -> list[str]:
    from importlib.metadata import PackageNotFoundError, requires

    try:
        lines = requires("armarc") or []
    except PackageNotFoundError:
        lines = []  # run from the sources, never installed
    mine = re.compile(rf"""^([^;]+?)\s*;.*\bextra\s*==\s*['"]{re.escape(extra)}['"]""")
    found = [match[1].replace(" ", "") for line in lines if (match := mine.match(line))]
    return found or [f"armarc[{extra}]"]


def _quoted(path: str) -> str:
    return f'"{path}"' if " " in path else path
