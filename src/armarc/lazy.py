"""Names of a package that are loaded when first used, so that importing it is quick."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def on_first_use(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """The ``__getattr__`` of a package (PEP 562).

    Parameters
    ----------
    package : str
        Its name.
    homes : mapping of str to str
        By module of the package, the names that come from it, with spaces between them.
    """
    home_of = {name: f"{package}.{module}" for module, names in homes.items() for name in names.split()}

    def load(name: str) -> Any:
        if name in home_of:
            return getattr(import_module(home_of[name]), name)
        raise AttributeError(f"module {package!r} has no attribute {name!r}")

    return load
