"""Degrees and seconds as they are published, and reps as a table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from armarc.measures import record_of
from armarc.reps.types import MeasuredSet

if TYPE_CHECKING:
    import pandas as pd

_SECONDS, _DEGREES = 4, 3


def deg(value_rad: float | None) -> float | None:
    """Radians as rounded degrees."""
    return None if value_rad is None else round(math.degrees(value_rad), _DEGREES) + 0.0


def seconds(value_s: float | None) -> float | None:
    """Seconds, rounded."""
    return None if value_s is None else round(value_s, _SECONDS) + 0.0


def reps_frame(sets: Sequence[MeasuredSet]) -> pd.DataFrame:
    """All reps as one table: ``set`` and the published rep keys; `quality` as one text."""
    import pandas as pd

    rows = []
    for measured in sets:
        for rep in measured.reps:
            record = record_of(rep)
            record["quality"] = " ".join(record["quality"])
            rows.append({"set": measured.set, **record})
    return pd.DataFrame(rows)
