"""Two groups of sets side by side: sets, sessions, variants, sides."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.log.both_arms import Asymmetry, asymmetry
from armarc.log.clusters import Clusters, clusters_of, single_sets
from armarc.log.effects import Effect, independent_effect, paired_effect, signed
from armarc.log.measures import MEASURES, SetMeasure, is_rep_measure, rep_value
from armarc.log.reading import LoggedSet
from armarc.log.relevance import FEWEST_LIFTERS, holm, smallest_relevant
from armarc.log.shared_errors import RepsOfSet, measuring_se
from armarc.log.table import IntArray, SessionKey, SetTable, as_table, first_seen
from armarc.recording import FloatArray

GROUPINGS = ("side", "variant", "load", "exercise", "lifter", "session", "tag")

ALPHA = 0.05

REPS_CAUTION = "Reps of one set are not independent trials: the interval speaks of these sets only."
DAY_CAUTION = (
    "Sets of a single session resemble each other: the interval speaks of these days only, not of what another day "
    "would show."
)
LIFTERS_CAUTION = (
    "Sessions of one lifter resemble each other: with fewer than three lifters in both groups the interval speaks of "
    "these lifters only."
)
MEASURING_WORDS = (
    "The intervals have room for what is measured wrongly in the same way in every rep of a set; sets of one "
    "recording share most of it, a strap put on anew does not."
)
MOST_READ, MOST_READ_IN_ALL = 200, 2000
"""Sets of a group, and of all groups, whose reps are read: larger groups come from so many recordings that their
scatter shows the errors of measuring."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """One of the things compared."""

    name: str
    sets: Sequence[LoggedSet] | SetTable

    @property
    def set_ids(self) -> list[int]:
        """Numbers of the sets, in their order."""
        return [one.id for one in self.sets] if isinstance(self.sets, Sequence) else self.sets.set_id.tolist()

    @property
    def exercises(self) -> set[str]:
        """Keys of what was done."""
        if isinstance(self.sets, Sequence):
            return {one.exercise for one in self.sets}
        return self.sets.exercises


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measure of a comparison, second group against the first.

    Parameters
    ----------
    measure : SetMeasure
    first, second : str
        Names of the groups.
    unit_of_analysis : str
        What was counted: ``"rep"``, ``"set"``, ``"session"`` or ``"lifter"``.
    effect : Effect or None
        None when a group has no value.
    asymmetry : Asymmetry or None
        For left against right, session by session.
    p_corrected : float or None
        P value of the difference, corrected for how many differences the comparison judges (Holm).
    relevant : float or None
        Smallest relevant difference, in the measure's unit.
    caution : str
        What the interval does not speak of; empty for nothing.
    """

    measure: SetMeasure
    first: str
    second: str
    unit_of_analysis: str
    effect: Effect | None
    asymmetry: Asymmetry | None = None
    p_corrected: float | None = None
    relevant: float | None = None
    caution: str = ""

    @property
    def is_clear(self) -> bool:
        """Whether there is a difference worth speaking of, chance and the number of measures allowed for."""
        return self.verdict == "clear"

    @property
    def verdict(self) -> str:
        """``"clear"``, ``"small"`` (clear, below the smallest relevant one), ``"same"`` (the whole interval lies
        below it), ``"unclear"``, ``"too few"`` or ``"no scatter"`` (all alike, so that no error can be told).
        """
        e = self.effect
        if e is not None and e.no_scatter:
            return "no scatter"
        if e is None or e.low is None or e.high is None or self.p_corrected is None:
            return "too few"
        if self.p_corrected <= ALPHA:
            return "clear" if self.relevant is None or abs(e.difference) >= self.relevant else "small"
        inside = self.relevant is not None and -self.relevant < e.low and e.high < self.relevant
        return "same" if inside else "unclear"

    def judged(self, p_corrected: float) -> Row:
        """The same with a p value corrected for more differences; NaN for none."""
        return replace(self, p_corrected=None if math.isnan(p_corrected) else p_corrected)

    def to_dict(self) -> dict[str, object]:
        """JSON-ready."""
        effect, index = self.effect, self.asymmetry
        record: dict[str, object] = {
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
        record["measuring_se"] = None if effect is None else effect.measuring_se
        record["p"] = None if effect is None else effect.p
        record["p_corrected"] = self.p_corrected
        record["relevant"] = self.relevant
        record["verdict"] = self.verdict
        record["clear"] = None if effect is None else self.is_clear
        record["caution"] = self.caution or None
        record["symmetry_index"] = (
            None
            if index is None
            else {
                "sessions": index.sessions,
                "of": index.of,
                "index_pct": index.index_pct,
                "low_pct": index.low_pct,
                "high_pct": index.high_pct,
            }
        )
        return record


def group_by(
    sets: Sequence[LoggedSet] | SetTable, what: str, tags: Mapping[str, Collection[int]] | None = None
) -> list[Group]:
    """Split sets by one of `GROUPINGS`; groups in order of first appearance in time, left before right.

    Parameters
    ----------
    sets : sequence of LoggedSet, or SetTable
        With the values of all measures that will be compared.
    what : str
    tags : mapping, or None
        Numbers of the sets that carry each tag, needed to split a table by tag.

    Raises
    ------
    UsageError
        For another `what`.
    """
    if what not in GROUPINGS:
        raise UsageError(f"cannot compare by {what!r}", f"choose from: {', '.join(GROUPINGS)}")
    if not isinstance(sets, SetTable) and what == "tag":
        names = {name for entry in sets for name in entry.tags}
        tags = {name: [entry.id for entry in sets if name in entry.tags] for name in names}
    table = as_table(sets, *() if isinstance(sets, SetTable) else MEASURES).in_time
    if what == "tag":
        inside = {name: np.isin(table.set_id, list(ids)) for name, ids in (tags or {}).items()}
        # A tag is first seen at the first of its sets; the tags of one set follow in their order.
        ordered = sorted((int(np.argmax(rows)), name) for name, rows in inside.items() if rows.any())
        return [Group(name=name, sets=table.take(inside[name])) for _, name in ordered]
    names_of, code = _names(table, what)
    seen = first_seen(code).tolist()
    groups = {names_of[number]: table.take(code == number) for number in seen}
    if what == "side":
        groups = {name: groups[name] for name in ("left", "right") if name in groups}
    return [Group(name=name, sets=found) for name, found in groups.items()]


def sets_to_read(groups: Sequence[Group]) -> list[int]:
    """Sets whose reps a comparison wants: of single sets, and of small groups for what measuring adds."""
    small = [group for group in groups if len(group.sets) <= MOST_READ]
    if sum(len(group.sets) for group in small) > MOST_READ_IN_ALL:
        small = [group for group in small if len(group.sets) == 1]
    return [set_id for group in small for set_id in group.set_ids]


def compare(
    groups: Sequence[Group],
    measures: Sequence[SetMeasure],
    reps: Mapping[int, RepsOfSet],
    *,
    relevant: float | None = None,
) -> list[Row]:
    """Every later group against the first, measure by measure.

    Single sets are compared rep by rep (rep 1 with rep 1 and so on, where both are full). Of more sets the means of
    what resembles itself are compared: of lifters when the groups share three or more, or two and two or more
    different ones; else of sessions, in pairs when the groups share two or more. Sets are counted one by one only
    where a group has a single session. Sets counted one by one had a false "clear" in 18-40 % of equal variants done
    on different days (`test_equal_variants_are_rarely_told_apart`), sessions in about 5 %.

    Parameters
    ----------
    groups : sequence of Group
        Two or more, none empty.
    measures : sequence of SetMeasure
    reps : mapping
        Reps by set, of those of `sets_to_read`.
    relevant : float or None
        Your own smallest relevant difference; None for the working limits of the units.

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
    rows = [_row(groups[0], other, measure, reps) for other in groups[1:] for measure in measures]
    p_values = [math.nan if row.effect is None or row.effect.p is None else row.effect.p for row in rows]
    return [
        replace(
            row.judged(p), relevant=smallest_relevant(row.measure).value if relevant is None else relevant
        )
        for row, p in zip(rows, holm(np.array(p_values)).tolist(), strict=True)
    ]


def chance_words(rows: Sequence[Row]) -> str:
    """How many of these differences would be called clear by chance, and what was done about it."""
    judged = sum(row.p_corrected is not None for row in rows)
    if judged < 2:
        return ""
    return (
        f"{judged} differences were judged: one by one, {judged * ALPHA:.1f} would be called clear by chance where "
        "nothing differs; the verdicts are corrected for it (Holm 1979), the intervals are not."
    )


def _row(first: Group, second: Group, measure: SetMeasure, reps: Mapping[int, RepsOfSet]) -> Row:
    unit, effect, pairs = _effect(first, second, measure, reps)
    sides = (first.name, second.name) == ("left", "right")
    return Row(
        measure=measure,
        first=first.name,
        second=second.name,
        unit_of_analysis=unit,
        effect=effect,
        asymmetry=asymmetry(*pairs, of=unit if unit == "lifter" else "session")
        if sides and len(pairs[0])
        else None,
        caution=_caution(unit, effect, first, second),
    )


def _effect(
    first: Group, second: Group, measure: SetMeasure, reps: Mapping[int, RepsOfSet]
) -> tuple[str, Effect | None, tuple[FloatArray, FloatArray]]:
    """What was counted, the difference, and the pairs of lifters or sessions that an index is made of."""
    tables = [as_table(group.sets, measure) for group in (first, second)]
    if len(first.sets) == len(second.sets) == 1 and is_rep_measure(measure):
        pairs = _shared(tables, measure, "session")
        return "rep", _by_rep(first, second, measure, reps), pairs
    for level, fewest in (("lifter", FEWEST_LIFTERS), ("session", 2)):
        one, other = (clusters_of(table, measure, level) for table in tables)
        pairs = one.shared_with(other)
        if len(pairs[0]) >= fewest:
            return level, paired_effect(*pairs), pairs
        fewest_alone, most_alone = sorted((len(one.means), len(other.means)))
        # Lifters who are in both groups and too few for pairs are not independent: their sessions are compared.
        apart = fewest_alone >= 2 and not len(pairs[0])
        if apart or (level == "session" and fewest_alone >= 1 and most_alone >= 2):
            room = _room([one, other], measure, reps, [first, second])
            return level, independent_effect(one.means, other.means, room), pairs
    alone = [single_sets(table, measure) for table in tables]
    if not all(len(each.means) for each in alone):
        return "set", None, pairs
    room = _room(alone, measure, reps, [first, second])
    return "set", independent_effect(alone[0].means, alone[1].means, room), pairs


def _caution(unit: str, effect: Effect | None, first: Group, second: Group) -> str:
    if effect is None or effect.low is None:
        return ""
    if unit == "rep":
        return REPS_CAUTION
    if unit == "set":
        return DAY_CAUTION
    several = any(len(np.unique(as_table(group.sets).lifter)) > 1 for group in (first, second))
    return LIFTERS_CAUTION if unit == "session" and several else ""


def _shared(tables: Sequence[SetTable], measure: SetMeasure, level: str) -> tuple[FloatArray, FloatArray]:
    one, other = (clusters_of(table, measure, level) for table in tables)
    return one.shared_with(other)


def _by_rep(first: Group, second: Group, measure: SetMeasure, reps: Mapping[int, RepsOfSet]) -> Effect | None:
    """Single sets, rep 1 with rep 1 and so on, of the reps that the sets' own means go over."""
    known = [reps[group.set_ids[0]] for group in (first, second)]
    a, b = ({rep["rep"]: rep_value(rep, measure.key) for rep in each.fullest} for each in known)
    both = [(x, y) for n in a if n in b and (x := a[n]) is not None and (y := b[n]) is not None]
    room = measuring_se([[known[0]]], [[known[1]]], measure.key)
    return paired_effect([x for x, _ in both], [y for _, y in both], room) if both else None


def _room(
    clusters: Sequence[Clusters], measure: SetMeasure, reps: Mapping[int, RepsOfSet], groups: Sequence[Group]
) -> float:
    """What measuring adds to the error; nothing for groups so large that their reps were not read."""
    if not is_rep_measure(measure) or any(len(group.sets) > MOST_READ for group in groups):
        return 0.0
    if any(number not in reps for each in clusters for ids in each.set_ids for number in ids):
        return 0.0
    read = [[[reps[number] for number in ids] for ids in each.set_ids] for each in clusters]
    return measuring_se(read[0], read[1], measure.key)


def _names(table: SetTable, what: str) -> tuple[list[str], IntArray]:
    """Names of the groups, and which of them each set belongs to."""
    if what in ("session", "lifter"):
        key, part = table.session, [_session_name(one, what) for one in table.sessions]
    else:
        key, part = table.task, [one.word(what) for one in table.tasks]
    names = sorted(set(part))
    places = {name: place for place, name in enumerate(names)}
    return names, np.array([places[name] for name in part], np.int64)[key]


def _session_name(session: SessionKey, what: str) -> str:
    return f"{session.day} {session.label}".strip() if what == "session" else session.lifter


def message_of(rows: Sequence[Row]) -> str:
    """A comparison in one sentence: what differs clearly, most standard deviations first, of the groups it does."""
    clear = [row for row in rows if row.is_clear and row.effect is not None]
    if not clear:
        others = list(dict.fromkeys(row.second for row in rows))
        each = "each of " if len(others) > 1 else ""
        return f"No clear difference between {rows[0].first} and {each}{', '.join(others)}."
    clear.sort(key=lambda one: -abs((one.effect and one.effect.size) or 0.0))
    first, second = clear[0].first, clear[0].second
    said = []
    for row in [one for one in clear if one.second == second][:2]:
        e, digits = row.effect, row.measure.digits
        assert e is not None
        said.append(f"{row.measure.title.lower()} {row.measure.amount(signed(e.difference, digits))}")
    return f"Clear between {first} and {second}: {', '.join(said)}."
