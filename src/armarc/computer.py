"""This computer: where armarc keeps its files, how to add what an extra needs, how to hold a port alone, and how many
threads the linear algebra has."""

from __future__ import annotations

import os
import re
import shlex
import socket
import sys
from collections.abc import MutableMapping
from pathlib import Path

CONFIG_VARIABLE = "ARMARC_CONFIG_DIR"
"""Environment variable that replaces the configuration folder."""
DATA_VARIABLE = "ARMARC_DATA_DIR"
"""Environment variable that replaces the data folder."""
THREAD_VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Environment variables that say how many threads linear algebra has; read once, while NumPy is loaded."""


def one_thread(environment: MutableMapping[str, str]) -> None:
    """Give linear algebra one thread where nobody said how many.

    Its matrices are small here: threads that wait for each other cost more than they save.
    """
    if not any(environment.get(name) for name in THREAD_VARIABLES):
        environment.update(dict.fromkeys(THREAD_VARIABLES, "1"))


def config_folder() -> Path:
    """Folder of the settings file and of the lifter's own exercises; it need not exist."""
    chosen = os.environ.get(CONFIG_VARIABLE, "").strip()
    if chosen:
        return Path(os.path.expanduser(chosen))
    import platformdirs

    return Path(platformdirs.user_config_dir("armarc", appauthor=False))


def data_folder() -> Path:
    """Folder of the training log, its recordings and what else armarc keeps by itself; it need not exist."""
    chosen = os.environ.get(DATA_VARIABLE, "").strip()
    if chosen:
        return Path(os.path.expanduser(chosen))
    import platformdirs

    return Path(platformdirs.user_data_dir("armarc", appauthor=False))


def hold_alone(listener: socket.socket) -> None:
    """Set what lets a program have a port again at once, and keeps any other from listening there as well.

    On Windows SO_REUSEADDR would let a second program take over the port of one that is listening; SO_EXCLUSIVEADDRUSE
    is what forbids it (Winsock documentation, "Using SO_REUSEADDR and SO_EXCLUSIVEADDRUSE", from memory). Elsewhere
    SO_REUSEADDR only skips the wait after a program has ended.
    """
    exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR if exclusive is None else exclusive, 1)


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
        return f"add it with: uv pip install --python {shell_word(sys.executable)} {wanted}"
    return f"add it with: {shell_word(sys.executable)} -m pip install {wanted}"


def _packages(extra: str) -> list[str]:
    from importlib.metadata import PackageNotFoundError, requires

    try:
        lines = requires("armarc") or []
    except PackageNotFoundError:
        lines = []  # run from the sources, never installed
    mine = re.compile(rf"""^([^;]+?)\s*;.*\bextra\s*==\s*['"]{re.escape(extra)}['"]""")
    found = [match[1].replace(" ", "") for line in lines if (match := mine.match(line))]
    return found or [f"armarc[{extra}]"]


def shell_word(word: str) -> str:
    """A word for the shells of every system: double quotes, unless something in it has a meaning inside them."""
    if re.fullmatch(r"[\w+./:=,@%-]+", word):
        return word
    return f'"{word}"' if word and not re.search(r'["$`\\!%]', word) else shlex.quote(word)
