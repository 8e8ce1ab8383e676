"""What a set comes to: sums, means, spread, losses, tempo."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Annotated, Any, Protocol, TypeVar

from armarc.measures import Column, Measure, columns, record_of, row_of
from armarc.reps.types import Rep

CUT = frozenset({"open_start", "open_end"})
"""Flags of reps the recording holds only in part: they count and add up, but spoil no mean and no loss."""
PERHAPS_NO_REP, ANOTHER_EXERCISE = "perhaps_no_rep", "another_exercise"
NOT_FULL = CUT | {"partial", "swung", "gap", "clipped", PERHAPS_NO_REP, ANOTHER_EXERCISE}
"""Flags of reps that means, spreads, losses and bests leave out where others are left."""
NOT_CLEAN = NOT_FULL | {"dropped"}


def is_full(quality: Collection[str]) -> bool:
    """Whether a rep with these flags may steer what is said of its set."""
    return NOT_FULL.isdisjoint(quality)


def is_clean(quality: Collection[str]) -> bool:
    """Whether a rep with these flags is full and was lowered under control."""
    return NOT_CLEAN.isdisjoint(quality)


class Flagged(Protocol):
    """A rep, or what was worked out of one, with its flags."""

    @property
    def quality(self) -> Collection[str]:
        """Flags."""


_Flagged = TypeVar("_Flagged", bound=Flagged)


def fullness(quality: Collection[str]) -> int:
    """2 for a full rep, 1 for another that is not cut, 0 for one that is: a set's means go over its fullest ones."""
    return 2 if is_full(quality) else int(CUT.isdisjoint(quality))


def full_reps(reps: Sequence[_Flagged]) -> list[_Flagged]:
    """Full reps; those that are not cut where none is full, all where all are cut."""
    most = max((fullness(rep.quality) for rep in reps), default=0)
    return [rep for rep in reps if fullness(rep.quality) == most]


def last_rep(reps: Sequence[_Flagged]) -> str:
    """What losses along a set are taken at, in words: its last rep, or the last full one where that is another."""
    return "last rep" if not reps or full_reps(reps)[-1] is reps[-1] else "last full rep"


MEAN_DECIMALS = 4
AVERAGED = tuple(c for c in columns(Rep) if c.measure.average and not c.is_error)
"""Columns of a rep that a set gives a mean of."""
VARYING = tuple(c for c in AVERAGED if c.measure.average == "mean" and c.measure.spread)
"""Those it gives a coefficient of variation of as well."""


def mean_key(key: str) -> str:
    """Key of a set's mean of a measure of its reps."""
    return key if key.startswith("mean_") else f"mean_{key}"


def spread_key(key: str) -> str:
    """Key of a set's coefficient of variation of a measure of its reps."""
    return f"cv_{key}_pct"


@dataclass(frozen=True, slots=True, kw_only=True)
class InBand:
    """How many starts lay inside the target band; ``share`` of the judged reps, None without one."""

    count: int
    share: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSummary:
    """What a set comes to. ``means`` and ``spreads`` go by the key of the rep's measure: SI, and SD/|mean|."""

    reps: Annotated[int, Measure("Reps", "reps of the set", total=True, better="higher")]
    clean_reps: Annotated[
        int, Measure("Clean reps", "full reps that were lowered under control", better="higher")
    ]
    means_over: Annotated[
        str, Measure("Means over", "over how many reps means, spreads and losses go, and what was left out")
    ]
    duration_s: Annotated[float, Measure("Duration of the set", "first start to last end", 1, total=True)]
    time_under_tension_s: Annotated[
        float,
        Measure("Time under tension of the set", "sum over the reps that were seen whole", 1, total=True),
    ]
    loaded_range_s: Annotated[
        float | None,
        Measure(
            "Time in the loaded range, whole set", "sum over the reps that were seen whole", 2, total=True
        ),
    ]
    tempo: Annotated[str, Measure("Tempo", "eccentric/pause/concentric/hold, whole seconds")]
    velocity_loss_share: Annotated[
        float | None,
        Measure("Velocity loss in the set", "100·(best − last)/best of the mean raising velocity", 1),
    ]
    rom_loss_share: Annotated[
        float | None,
        Measure("Range lost in the set", "100·(best − last)/best of the range of motion", 1),
    ]
    in_band: InBand | None
    means: Mapping[str, float | None]
    spreads: Mapping[str, float | None]

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> SetSummary:
        """Read back from `record`.

        Raises
        ------
        InputError
            It is no such record.
        """
        band = record.get("in_band")
        means = {each.key: record.get(mean_key(each.key)) for each in AVERAGED}
        spreads = {each.key: record.get(spread_key(each.key)) for each in VARYING}
        return row_of(
            cls,
            record,
            in_band=None if band is None else InBand(count=band["count"], share=band["share"]),
            means={each.key: None if (m := means[each.key]) is None else each.read(m) for each in AVERAGED},
            spreads={key: None if spread is None else spread / 100 for key, spread in spreads.items()},
        )

    def record(self) -> dict[str, Any]:
        """As it is published: own columns, ``in_band``, ``mean_<measure>``, ``cv_<measure>_pct``."""
        band = self.in_band
        out = record_of(self)
        out["in_band"] = (
            None
            if band is None
            else {
                "count": band.count,
                "share": None if band.share is None else round(band.share, 4),
            }
        )
        for each in AVERAGED:
            out[mean_key(each.key)] = each.in_published_unit(self.means[each.key], MEAN_DECIMALS)
            if each in VARYING:
                spread = self.spreads[each.key]
                out[spread_key(each.key)] = None if spread is None else round(100 * spread, 2)
        return out


def summarise(reps: Sequence[Rep], start_s: float, end_s: float, has_band: bool) -> SetSummary:
    """Sum up a set.

    Parameters
    ----------
    reps : sequence of Rep
    start_s, end_s : float, s
    has_band : bool
        Whether the exercise has a target band.
    """
    whole = full_reps(reps)
    inside = [rep.loaded_range_s for rep in reps if rep.loaded_range_s is not None]
    means = {each.key: _mean(each, whole) for each in AVERAGED}
    return SetSummary(
        reps=len(reps),
        clean_reps=sum(is_clean(rep.quality) for rep in reps),
        means_over=_means_over(len(whole), reps),
        duration_s=end_s - start_s,
        time_under_tension_s=sum(rep.time_under_tension_s or 0.0 for rep in reps),
        loaded_range_s=sum(inside) if inside else None,
        tempo=tempo(whole),
        velocity_loss_share=loss([rep.mean_concentric_rad_s for rep in whole]),
        rom_loss_share=loss([rep.rom_rad for rep in whole]),
        in_band=_in_band(reps) if has_band else None,
        means=means,
        spreads={each.key: _spread(each, whole, means[each.key]) for each in VARYING},
    )


def _means_over(count: int, reps: Sequence[Rep]) -> str:
    """Such as "6 of 7 reps; 1 swung"."""
    flags = [flag for rep in reps for flag in sorted(NOT_FULL.intersection(rep.quality))]
    seen = ", ".join(f"{flags.count(flag)} {flag.replace('_', ' ')}" for flag in dict.fromkeys(flags))
    return f"{count} of {len(reps)} reps" + (f"; {seen}" if seen else "")


def loss(values: Sequence[float | None]) -> float | None:
    """(best − last)/best of what is known, the velocity loss of a set and the like; None without a positive value.

    Sánchez-Medina & González-Badillo 2011, Med Sci Sports Exerc 43:1725.
    """
    known = [value for value in values if value is not None]
    if not known or max(known) <= 0:
        return None
    return (max(known) - known[-1]) / max(known)


def tempo(reps: Sequence[Rep]) -> str:
    """Tempo in the trade's order: eccentric / pause at the bottom / concentric / hold at the top, whole seconds.

    Wilk et al. 2018, J Hum Kinet (PMC6006544): the eccentric comes first even when the lift starts with the
    concentric. Medians over the set, so that one long rest does not show; – for a phase that was not seen whole.
    """
    phases = (
        [rep.eccentric_s for rep in reps],
        # One rep alone has no pause, and none is lacking.
        [0.0 if len(reps) == 1 and rep.pause_s is None else rep.pause_s for rep in reps],
        [rep.concentric_s for rep in reps],
        [rep.hold_s for rep in reps],
    )
    return "/".join(map(_whole_seconds, phases))


def _whole_seconds(times_s: Sequence[float | None]) -> str:
    known = [time_s for time_s in times_s if time_s is not None]
    return str(math.floor(median(known) + 0.5)) if known else "–"


def _values(column: Column, reps: Sequence[Rep]) -> list[float]:
    return [value for rep in reps if (value := column.value(rep)) is not None]


def _mean(column: Column, reps: Sequence[Rep]) -> float | None:
    values = _values(column, reps)
    if not values:
        return None
    if column.measure.average == "direction":
        return math.atan2(sum(map(math.sin, values)), sum(map(math.cos, values)))
    return sum(values) / len(values)


def _spread(column: Column, reps: Sequence[Rep], mean: float | None) -> float | None:
    """SD over |mean|, SD with n − 1; none of an angle from an arbitrary zero (it has no standard error)."""
    if column.key == "top_deg" and all(rep.top_se_rad is None for rep in reps):
        return None
    values = _values(column, reps)
    if not mean or len(values) < 2:
        return None
    variance = sum((value - mean) ** 2 for value in values) / (len(values) - 1)
    return math.sqrt(variance) / abs(mean)


def _in_band(reps: Sequence[Rep]) -> InBand:
    judged = [rep.start_verdict for rep in reps if rep.start_verdict is not None]
    inside = sum(verdict == "inside" for verdict in judged)
    return InBand(count=inside, share=inside / len(judged) if judged else None)
