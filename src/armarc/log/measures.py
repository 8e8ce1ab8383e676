"""Measures of a set that trends, comparisons and bests can be made of."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from armarc.errors import UsageError
from armarc.log.reading import LoggedSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One measure of a set.

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
    """

    key: str
    title: str
    unit: str
    digits: int = 0
    better: str | None = None
    summary_key: str = ""
    total: bool = False

    def of(self, entry: LoggedSet) -> float | None:
        """Value for a set, None where it has none."""
        if self.key == "in_band_pct":
            share = (entry.summary.get("in_band") or {}).get("share")
            return None if share is None else 100.0 * float(share)
        value = entry.summary.get(self.summary_key) if self.summary_key else getattr(entry, self.key)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    @property
    def label(self) -> str:
        """Title with unit, for an axis or a table."""
        return f"{self.title} ({self.unit})" if self.unit else self.title


def _mean(key: str, title: str, unit: str, digits: int = 0, better: str | None = None) -> Measure:
    name = key if key.startswith("mean_") else f"mean_{key}"
    return Measure(key=key, title=title, unit=unit, digits=digits, better=better, summary_key=name)


def _whole(key: str, title: str, unit: str, digits: int = 0, total: bool = False) -> Measure:
    return Measure(key=key, title=title, unit=unit, digits=digits, summary_key=key, total=total)


MEASURES = (
    _mean("start_velocity_deg_s", "Start velocity", "°/s"),
    _mean("rom_deg", "Range of motion", "°", 1, "higher"),
    _mean("top_deg", "Top of the rep", "°", 1),
    _mean("bottom_deg", "Bottom of the rep", "°", 1),
    _mean("mean_concentric_deg_s", "Mean raising velocity", "°/s", 1, "higher"),
    _mean("mean_eccentric_deg_s", "Mean lowering velocity", "°/s", 1),
    _mean("peak_concentric_deg_s", "Peak raising velocity", "°/s", 0, "higher"),
    _mean("peak_eccentric_deg_s", "Peak lowering velocity", "°/s"),
    _mean("peak_concentric_at_deg", "Angle of the peak velocity", "°"),
    _mean("concentric_s", "Concentric", "s", 2),
    _mean("hold_s", "Hold", "s", 2),
    _mean("eccentric_s", "Eccentric", "s", 2),
    _mean("pause_s", "Pause", "s", 2),
    _mean("plane_deg", "Plane of elevation", "°"),
    _mean("hand_rotation_deg", "Hand rotation at the top", "°"),
    _mean("smoothness_sparc", "Smoothness (SPARC)", "", 3),
    _mean("body_swing_cm", "Body swing", "cm", 1),
    Measure(key="reps", title="Reps", unit="", better="higher", total=True),
    Measure(key="load_kg", title="Load", unit="kg", digits=2),
    Measure(key="rir", title="Reps in reserve", unit="", digits=1),
    _whole("duration_s", "Duration of the set", "s", 1, total=True),
    _whole("time_under_tension_s", "Time under tension of the set", "s", 1, total=True),
    _whole("loaded_range_s", "Time in the loaded range, whole set", "s", 2, total=True),
    _whole("velocity_loss_pct", "Velocity loss in the set", "%", 1),
    _whole("rom_loss_pct", "Range lost in the set", "%", 1),
    Measure(key="in_band_pct", title="Starts inside the band", unit="%", better="higher"),
)
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


def find_measure(name: str) -> Measure:
    """Measure of that name; any other plain number of the summaries can be named too, as ``summary:KEY``.

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
        return Measure(key=key, title=inner.replace("_", " "), unit="", digits=2, summary_key=inner)
    word = key.lower().replace("-", "_").replace(" ", "_")
    short = [known for known in _BY_KEY if word and _UNIT.sub("", known) == word]
    loose = short or [known for known in _BY_KEY if word and word in known]
    if len(loose) == 1:
        return _BY_KEY[loose[0]]
    raise UsageError(
        f"{name!r} is no measure" if not loose else f"{name!r} could be {' or '.join(loose)}",
        f"choose from: {', '.join(_BY_KEY)}",
    )


def rep_value(rep: dict[str, Any], key: str) -> float | None:
    """Value of a rep for a measure that is a mean over reps."""
    value = rep.get(key)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def is_rep_measure(measure: Measure) -> bool:
    """Whether the measure is a mean over reps, so that single reps have it."""
    return measure.summary_key.startswith("mean_")
