"""Two groups of sets side by side: sets, sessions, variants, sides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from armarc.errors import UsageError
from armarc.log.asymmetry import Asymmetry, asymmetry
from armarc.log.effects import Effect, independent_effect, paired_effect
from armarc.log.measures import SetMeasure, is_rep_measure, rep_value
from armarc.log.reading import LoggedSet

GROUPINGS = ("side", "variant", "load", "exercise", "lifter", "session", "tag")

REPS_CAUTION = "Reps of one set are not independent trials: the interval speaks of these sets only."


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """One of the things compared."""

    name: str
    entries: tuple[LoggedSet, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measure of a comparison, second group against the first.

    Parameters
    ----------
    measure : SetMeasure
    first, second : str
        Names of the groups.
    unit_of_analysis : str
        What was counted: ``"rep"``, ``"set"`` or ``"session"``.
    effect : Effect or None
        None when a group has no value.
    asymmetry : Asymmetry or None
        For left against right, session by session.
    """

    measure: SetMeasure
    first: str
    second: str
    unit_of_analysis: str
    effect: Effect | None
    asymmetry: Asymmetry | None = None

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        effect, index = self.effect, self.asymmetry
        record: dict[str, Any] = {
            "measure": self.measure.key,
            "unit": self.measure.unit,
            "first": self.first,
            "second": self.second,
            "unit_of_analysis": self.unit_of_analysis,
        }
        for key in (
            "paired",
            "n_first",
            "n_second",
            "mean_first",
            "mean_second",
            "difference",
            "low",
            "high",
        ):
            record[key] = None if effect is None else getattr(effect, key)
        for key in ("size", "size_low", "size_high"):
            record[key] = None if effect is None else getattr(effect, key)
        record["clear"] = None if effect is None else effect.is_clear
        record["symmetry_index"] = (
            None
            if index is None
            else {
                "sessions": index.sessions,
                "index_pct": index.index_pct,
                "low_pct": index.low_pct,
                "high_pct": index.high_pct,
            }
        )
        return record


def group_by(entries: Sequence[LoggedSet], what: str) -> list[Group]:
    """Split sets by one of `GROUPINGS`; groups in order of first appearance in time, left before right.

    Raises
    ------
    UsageError
        For another `what`.
    """
    if what not in GROUPINGS:
        raise UsageError(f"cannot compare by {what!r}", f"choose from: {', '.join(GROUPINGS)}")
    groups: dict[str, list[LoggedSet]] = {}
    for entry in sorted(entries, key=lambda one: (one.done_at, one.id)):
        for name in _names(entry, what):
            groups.setdefault(name, []).append(entry)
    if what == "side":
        groups = {name: groups[name] for name in ("left", "right") if name in groups}
    return [Group(name=name, entries=tuple(found)) for name, found in groups.items()]


def compare(
    groups: Sequence[Group], measures: Sequence[SetMeasure], reps: Mapping[int, Sequence[dict[str, Any]]]
) -> list[Row]:
    """Every later group against the first, measure by measure.

    Single sets are compared rep by rep (rep 1 with rep 1 and so on). Groups of several sets are compared session
    by session when they share two sessions or more, else set by set without pairs.

    Parameters
    ----------
    groups : sequence of Group
        Two or more, none empty.
    measures : sequence of SetMeasure
    reps : mapping
        Rep records by set, needed for single sets.

    Raises
    ------
    UsageError
        With fewer than two groups.
    """
    if len(groups) < 2:
        names = ", ".join(group.name for group in groups) or "nothing"
        raise UsageError(
            f"a comparison needs two groups, found {names}", "name more sets or widen the filter"
        )
    rows = []
    for other in groups[1:]:
        for measure in measures:
            rows.append(_row(groups[0], other, measure, reps))
    return rows


def _row(
    first: Group, second: Group, measure: SetMeasure, reps: Mapping[int, Sequence[dict[str, Any]]]
) -> Row:
    index = None
    if (first.name, second.name) == ("left", "right"):
        pairs = session_pairs(first, second, measure)
        index = asymmetry([a for a, _ in pairs], [b for _, b in pairs]) if pairs else None
    unit, effect = _effect(first, second, measure, reps)
    return Row(
        measure=measure,
        first=first.name,
        second=second.name,
        unit_of_analysis=unit,
        effect=effect,
        asymmetry=index,
    )


def _effect(
    first: Group, second: Group, measure: SetMeasure, reps: Mapping[int, Sequence[dict[str, Any]]]
) -> tuple[str, Effect | None]:
    if len(first.entries) == len(second.entries) == 1 and is_rep_measure(measure):
        a = {rep["rep"]: rep_value(rep, measure.key) for rep in reps[first.entries[0].id]}
        b = {rep["rep"]: rep_value(rep, measure.key) for rep in reps[second.entries[0].id]}
        both = [(x, y) for n in a if n in b and (x := a[n]) is not None and (y := b[n]) is not None]
        return "rep", paired_effect([x for x, _ in both], [y for _, y in both]) if both else None
    pairs = session_pairs(first, second, measure)
    if len(pairs) >= 2:
        return "session", paired_effect([a for a, _ in pairs], [b for _, b in pairs])
    values = [
        [value for entry in group.entries if (value := measure.of(entry)) is not None]
        for group in (first, second)
    ]
    return "set", independent_effect(*values) if all(values) else None


def session_pairs(first: Group, second: Group, measure: SetMeasure) -> list[tuple[float, float]]:
    """Means of both groups in the sessions they share, in order."""
    a, b = _session_means(first, measure), _session_means(second, measure)
    return [(a[key], b[key]) for key in sorted(a.keys() & b.keys())]


def _session_means(group: Group, measure: SetMeasure) -> dict[tuple[Any, ...], float]:
    found: dict[tuple[Any, ...], list[float]] = {}
    for entry in group.entries:
        value = measure.of(entry)
        if value is not None:
            found.setdefault((entry.day, entry.lifter, entry.session), []).append(value)
    return {key: sum(values) / len(values) for key, values in found.items()}


def _names(entry: LoggedSet, what: str) -> tuple[str, ...]:
    if what == "side":
        return (entry.side or "unknown",)
    if what == "variant":
        return (entry.variant or "(no variant)",)
    if what == "load":
        return ("no load" if entry.load_kg is None else f"{entry.load_kg:.4g} kg",)
    if what == "session":
        return (f"{entry.day} {entry.session}".strip(),)
    if what == "tag":
        return entry.tags
    return (str(getattr(entry, what)),)
