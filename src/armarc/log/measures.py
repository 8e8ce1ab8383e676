"""Measures of a set that trends, comparisons and bests can be made of."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from armarc.errors import UsageError
from armarc.load.table import LoadMeasures
from armarc.log.reading import LoggedSet
from armarc.measures import Column, columns
from armarc.reps.summary import AVERAGED, SetSummary, mean_key


@dataclass(frozen=True, slots=True, kw_only=True)
class SetMeasure:
    """One measure of a logged set.

    Parameters
    ----------
    key : str
        Name on the command line: a rep's key for the mean over the set's reps, or a set's own key.
    title : str
    unit : str
    digits : int
        Decimals worth showing.
    better : str or None
        ``"higher"`` where more of it is what a lifter trains for; None where it has no best.
    summary_key : str
        Where the set's summary has it; empty for what is not in the summary.
    total : bool
        Sums over the set rather than means: adds up over a week.
    of_reps : bool
        In no summary: the mean over the set's reps is made from their records.
    """

    key: str
    title: str
    unit: str
    digits: int = 0
    better: str | None = None
    summary_key: str = ""
    total: bool = False
    of_reps: bool = False

    def of(self, entry: LoggedSet) -> float | None:
        """Value for a set, None where it has none, or where only the records of its reps have it."""
        if self.of_reps:
            return None
        if self.key == "in_band_pct":
            share = (entry.summary.get("in_band") or {}).get("share")
            return None if share is None else 100.0 * float(share)
        value = entry.summary.get(self.summary_key) if self.summary_key else getattr(entry, self.key)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    @property
    def label(self) -> str:
        """Title with unit, for an axis or a table."""
        return f"{self.title} ({self.unit})" if self.unit else self.title

    def amount(self, number: str) -> str:
        """A number of it with its unit, as in 80°, 55 °/s or 12 %."""
        return f"{number}{'' if self.unit == '°' else ' '}{self.unit}".strip()


LOADS = tuple(c for c in columns(LoadMeasures) if c.kind == "number")
"""Estimates of the load in a rep's record. Only sets with a load have them."""


def _of_column(c: Column, summary_key: str = "", total: bool = False) -> SetMeasure:
    said = c.measure
    return SetMeasure(
        key=c.key,
        title=said.title,
        unit=c.unit.sign,
        digits=said.digits,
        better=said.better,
        summary_key=summary_key,
        total=total,
    )


def _offered() -> tuple[SetMeasure, ...]:
    """Means of every measure of a rep that has one, sums and losses of the set, and what a person states."""
    own = {c.key: c for c in columns(SetSummary) if c.kind != "text"}
    means = [_of_column(c, mean_key(c.key)) for c in AVERAGED if c.key not in own]
    # The reps are a column of their own in the log, whatever the summary says.
    sums = [_of_column(c, "" if c.key == "reps" else c.key, c.measure.total) for c in own.values()]
    stated = [
        SetMeasure(key="load_kg", title="Load", unit="kg", digits=2),
        SetMeasure(key="rir", title="Reps in reserve", unit="", digits=1),
        SetMeasure(key="in_band_pct", title="Starts inside the band", unit="%"),
    ]
    loads = [replace(_of_column(c), of_reps=True) for c in LOADS]
    return (*means, *sums, *stated, *loads)


MEASURES = _offered()
COMPARED = (
    "start_velocity_deg_s",
    "rom_deg",
    "mean_concentric_deg_s",
    "concentric_s",
    "hold_s",
    "eccentric_s",
    "body_swing_cm",
    "smoothness_sparc",
)
"""Measures a comparison shows unless others are named."""

_UNIT = re.compile(r"(_deg_s|_deg|_s|_cm|_pct|_kg|_sparc)$")
_BY_KEY = {measure.key: measure for measure in MEASURES}


def find_measure(name: str) -> SetMeasure:
    """SetMeasure of that name; any other plain number of the summaries can be named too, as ``summary:KEY``.

    Raises
    ------
    UsageError
        If there is none.
    """
    key = name.strip()
    if key in _BY_KEY:
        return _BY_KEY[key]
    if key.startswith("summary:") and len(key) > len("summary:"):
        inner = key.removeprefix("summary:")
        return SetMeasure(key=key, title=inner.replace("_", " "), unit="", digits=2, summary_key=inner)
    word = key.lower().replace("-", "_").replace(" ", "_")
    short = [known for known in _BY_KEY if word and _UNIT.sub("", known) == word]
    loose = short or [known for known in _BY_KEY if word and word in known]
    if len(loose) == 1:
        return _BY_KEY[loose[0]]
    raise UsageError(
        f"{name!r} is no measure" if not loose else f"{name!r} could be {' or '.join(loose)}",
        f"choose from: {', '.join(_BY_KEY)}",
    )


def rep_value(rep: dict[str, object], key: str) -> float | None:
    """Value of a rep for a measure that is a mean over reps."""
    value = rep.get(key)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def is_rep_measure(measure: SetMeasure) -> bool:
    """Whether the measure is a mean over reps, so that single reps have it."""
    return measure.of_reps or measure.summary_key.startswith("mean_")
