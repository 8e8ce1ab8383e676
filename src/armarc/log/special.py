"""SciPy's distributions, loaded when one is first asked for: that takes as long as most answers of the log."""

from __future__ import annotations

from typing import Any


def __getattr__(name: str) -> Any:
    from scipy import special

    return getattr(special, name)
