"""Personal bests, each among sets of the same task and load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from armarc.log.measures import MEASURES, SetMeasure
from armarc.log.reading import LoggedSet

BEST_KEYS = ("reps", "rom_deg", "mean_concentric_deg_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class Best:
    """The best set of one measure at one task and load.

    Parameters
    ----------
    measure : SetMeasure
    entry : LoggedSet
        The set it was done in; the first one that reached the value.
    value : float
    second : float or None
        Next best value from another session.
    sets : int
        How many sets it was chosen from.
    """

    measure: SetMeasure
    entry: LoggedSet
    value: float
    second: float | None
    sets: int


def personal_bests(entries: Sequence[LoggedSet], *, fewest_sets: int = 2) -> list[Best]:
    """Bests per lifter, exercise, variant, side and load.

    Parameters
    ----------
    entries : sequence of LoggedSet
    fewest_sets : int
        Tasks with fewer sets have no best yet.
    """
    groups: dict[tuple[object, ...], list[LoggedSet]] = {}
    for entry in sorted(entries, key=lambda one: (one.done_at, one.id)):
        groups.setdefault((entry.lifter, *entry.condition), []).append(entry)
    chosen = [measure for measure in MEASURES if measure.key in BEST_KEYS]
    out = []
    for group in groups.values():
        if len(group) < fewest_sets:
            continue
        for measure in chosen:
            valued = [(value, entry) for entry in group if (value := measure.of(entry)) is not None]
            if not valued:
                continue
            value, entry = max(valued, key=lambda pair: pair[0])
            others = [v for v, e in valued if e.session_id != entry.session_id]
            out.append(
                Best(
                    measure=measure,
                    entry=entry,
                    value=value,
                    second=max(others) if others else None,
                    sets=len(valued),
                )
            )
    return sorted(out, key=lambda best: best.entry.done_at, reverse=True)
