"""SciPy's distributions, loaded when one is first asked for: that takes as long as most answers of the log.

Nine tenths of the package's loading serve arrays of other libraries. The functions are in one extension module of it,
which is loaded alone, under its own name; where it is not found the package itself is loaded.
"""

from __future__ import annotations

import sys
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

_PACKAGE = "scipy.special"


def __getattr__(name: str) -> Any:
    found = getattr(_functions(), name, None)
    return getattr(import_module(_PACKAGE), name) if found is None else found


@cache
def _functions() -> ModuleType:
    spec = None if _PACKAGE in sys.modules else find_spec("scipy")
    if spec is not None and spec.submodule_search_locations:
        stand_in = ModuleType(_PACKAGE)
        stand_in.__path__ = [f"{folder}/special" for folder in spec.submodule_search_locations]
        sys.modules[_PACKAGE] = stand_in
        try:
            return import_module(f"{_PACKAGE}._ufuncs")
        except ImportError:
            pass
        finally:
            del sys.modules[_PACKAGE]
    return import_module(_PACKAGE)
