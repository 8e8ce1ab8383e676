"""Grids of cases of which a plain run takes an even share, every value of every axis among it.

``-m grid`` takes what a plain run leaves out, as `.ci/run` does beside the suite; ``-m 'slow or not slow'`` takes all.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import pytest

LEFT_OUT = (pytest.mark.slow, pytest.mark.grid)


def crossed(*axes: Sequence[Any], fold: int) -> list[Any]:
    """Every combination of the axes' values, of which a plain run takes one of `fold`."""
    cases, met = [], set()
    for places in product(*(range(len(axis)) for axis in axes)):
        values = [axis[place] for axis, place in zip(axes, places, strict=True)]
        plain = sum(places) % fold == 0
        met |= set(enumerate(places)) if plain else set()
        cases.append(pytest.param(*values, marks=() if plain else LEFT_OUT))
    if len(met) != sum(map(len, axes)):
        raise ValueError(f"a plain run would never meet some value: fold {fold} is too wide")
    return cases


def seldom(*cases: Any) -> list[Any]:
    """Cases that a plain run leaves out; a tuple is one case of several values."""
    one_each = (case if isinstance(case, tuple) else (case,) for case in cases)
    return [pytest.param(*values, marks=LEFT_OUT) for values in one_each]
