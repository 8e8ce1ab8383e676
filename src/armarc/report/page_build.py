"""Sections of a report from the log: a set, a session, a period."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from armarc.errors import ArmarcError
from armarc.exercises import band_words
from armarc.log import Fatigue, LoggedSet, Store, fatigue_of
from armarc.log.both_arms import SHOWN, paired_index, paired_reps, together
from armarc.log.coaching import Coaching
from armarc.log.comparing import MEASURING_WORDS, REPS_CAUTION, Group, compare, group_by, sets_to_read
from armarc.log.fatigue import CAUTION
from armarc.log.measures import COMPARED, find_measure
from armarc.log.reading import Filter, measured_reps, recording_of
from armarc.log.records import caution_for, reserve_words, sentence_of, starts_words, when_words
from armarc.log.shared_errors import reps_with_recordings
from armarc.log.table import read_table
from armarc.measures import column
from armarc.report.compare_figures import draw_differences, draw_overlay
from armarc.report.page_parts import (
    PICTURE_IN,
    PageTable,
    Picture,
    Section,
    exercise_name,
    flag_notes,
    plain_words,
    reps_alt,
    reps_page_table,
    task_name,
)
from armarc.report.page_period import FOLLOWED, amount, lifter_sections
from armarc.report.trend_figures import draw_reps
from armarc.reps.types import Rep

MOST_SETS_IN_FULL = 12
MOST_CURVES = 4
"""The picture over time is large: with more sets only the picture rep by rep is drawn."""
ARBITRARY_ZERO = (
    "The angle counts from an arbitrary zero: tops tell nothing by themselves, ranges and speeds do."
)
INVENTED = "invented data"
"""A set whose note says so is called invented on the page too."""


def build_sections(
    store: Store,
    entries: Sequence[LoggedSet],
    *,
    stop_at_pct: float | None = None,
    curves: bool = True,
    coaching: Coaching | None = None,
    today: date | None = None,
) -> list[Section]:
    """Sections for sets, oldest first.

    Up to `MOST_SETS_IN_FULL` sets are shown one by one; sets of several days also get a section per lifter.

    Parameters
    ----------
    store : Store
    entries : sequence of LoggedSet
        At least one.
    stop_at_pct : float or None, %
        See `armarc.log.fatigue.fatigue_of`.
    curves : bool
        Draw the curves of single sets from their raw recordings, where they were kept.
    coaching, today
        See `armarc.report.page_period.lifter_sections`.
    """
    ordered = sorted(entries, key=lambda one: (one.done_at, one.id))
    days = {entry.day for entry in ordered}
    sections: list[Section] = []
    painful = [entry for entry in reversed(ordered) if entry.pain]
    if painful:
        cautions = dict.fromkeys(caution_for(entry.exercise) for entry in painful)
        sections.append(Section(heading="Pain", words=(*cautions, sentence_of(painful))))
    if len(ordered) > 1 and len(days) == 1:
        sections.append(Section(heading="What was done", words=(amount(ordered),)))
    if len(days) > 1:
        everyone = read_table(store, Filter(), *FOLLOWED)
        for lifter in dict.fromkeys(entry.lifter for entry in ordered):
            own = [one for one in ordered if one.lifter == lifter]
            sections += lifter_sections(own, everyone, coaching, today)
    elif (sides := _sides(ordered, store)) is not None:
        sections.append(sides)
    both = together(ordered)
    if len(both) > MOST_SETS_IN_FULL:
        words = f"The newest {MOST_SETS_IN_FULL} of {len(both)} sets lifted with both arms follow."
        sections.append(Section(heading="Both arms", words=(words,)))
    for left, right in both[-MOST_SETS_IN_FULL:]:
        sections.append(both_arms_section(left, right, measured_reps(store, [left.id, right.id])))
    if len(ordered) <= MOST_SETS_IN_FULL:
        reps = measured_reps(store, [entry.id for entry in ordered])
        for entry in ordered:
            sections.append(
                set_section(
                    store,
                    entry,
                    reps[entry.id],
                    stop_at_pct=stop_at_pct,
                    curves=curves and len(ordered) <= MOST_CURVES,
                )
            )
    if len(ordered) > 1:
        sections.append(_all_sets(ordered))
    return sections


def invented_words(entries: Sequence[LoggedSet]) -> str:
    """For which sets nobody was measured, as they say themselves; nothing where somebody was for each."""
    made_up = [entry.id for entry in entries if INVENTED in entry.note.casefold()]
    if not made_up:
        return ""
    if len(made_up) == len(entries):
        return "Invented data: nobody was measured."
    which = ", ".join(str(number) for number in sorted(made_up))
    return f"Invented data: nobody was measured for set{'s' if len(made_up) > 1 else ''} {which}."


def title_for(entries: Sequence[LoggedSet]) -> tuple[str, str]:
    """Title and line below it."""
    ordered = sorted(entries, key=lambda one: (one.done_at, one.id))
    first, last = ordered[0], ordered[-1]
    lifters = ", ".join(dict.fromkeys(entry.lifter for entry in ordered))
    if len(ordered) == 1:
        title = f"{exercise_name(first)}, set {first.id}"
        return title, f"{lifters}  ·  {first.done_at:%A}, {_written(first)}, {first.done_at:%H:%M}"
    if first.day == last.day:
        label = f", {first.session}" if first.session else ""
        return f"Session of {_written(first)}{label}", lifters
    return f"Training from {_written(first)} to {_written(last)}", lifters


def set_section(
    store: Store,
    entry: LoggedSet,
    reps: Sequence[Rep],
    *,
    stop_at_pct: float | None = None,
    curves: bool = True,
) -> Section:
    """One set in full."""
    file_name, content, settings = recording_of(store, entry.id)
    band = settings.get("band_deg_s")
    pair = (float(band[0]), float(band[1])) if band else None
    fatigue = fatigue_of(reps, stop_at_pct=stop_at_pct)
    notes = [fatigue.mark_words() + CAUTION] if fatigue.velocity_loss_set_pct is not None else []
    if settings.get("coordinate", "elevation") != "elevation":
        notes.append(ARBITRARY_ZERO)
    pictures: list[Picture] = []
    if curves and content is not None and reps:
        try:
            pictures.append(_curve_picture(store, entry))
        except ArmarcError as error:
            notes.append(f"The curves cannot be drawn: {error.message}.")
    if reps:
        pictures.append(_reps_picture(entry, reps, fatigue, pair))
    return Section(
        heading=f"Set {entry.id}: {_facts(entry)}",
        words=tuple(
            plain_words(
                entry, fatigue, band_words(pair, settings.get("band_basis"), dash="–") if pair else ""
            )
        ),
        quotes=(entry.note,) if entry.note else (),
        pictures=tuple(pictures),
        tables=(reps_page_table(reps, fatigue, f"Reps of set {entry.id}"),) if reps else (),
        notes=(*flag_notes(reps), *notes, f"Recording: {file_name}."),
    )


def _curve_picture(store: Store, entry: LoggedSet) -> Picture:
    from armarc.log.curves import remeasured_set
    from armarc.report.set_figure import draw_set

    session, place = remeasured_set(store, entry)
    motion = session.motions[session.motion_of_set[place]]
    figure = draw_set(motion, session.sets[place], exercise=session.choices.exercise, width_in=PICTURE_IN)
    alt = (
        f"Set {entry.id} over time: angle of the arm with the phases of each rep, velocity, and start velocities "
        "against the band."
    )
    return Picture(figure=figure, alt=alt)


def _reps_picture(
    entry: LoggedSet, reps: Sequence[Rep], fatigue: Fatigue, band: tuple[float, float] | None
) -> Picture:
    figure = draw_reps(reps, fatigue, band, title="Rep by rep", facts=_facts(entry), width_in=PICTURE_IN)
    return Picture(figure=figure, alt=reps_alt(entry, reps))


def _all_sets(entries: Sequence[LoggedSet]) -> Section:
    heads: tuple[str, ...] = ("When", "Set", "Exercise", "Side", "Load kg", "Reps", "In band")
    heads += ("Start °/s", "ROM °", "Vel. loss %", "RIR")
    rows = []
    for entry in entries[-60:]:
        summary = entry.summary
        rows.append(
            (
                when_words(entry),
                str(entry.id),
                exercise_name(entry),
                entry.side or "–",
                "–" if entry.load_kg is None else f"{entry.load_kg:.4g}",
                str(entry.reps),
                starts_words(entry) or "–",
                _shown(summary.get("mean_start_velocity_deg_s")),
                _shown(summary.get("mean_rom_deg")),
                _shown(summary.get("velocity_loss_pct")),
                reserve_words(entry) or "–",
            )
        )
    caption = "Sets" if len(entries) <= 60 else f"The last 60 of {len(entries)} sets"
    return Section(
        heading="All sets",
        tables=(PageTable(caption=caption, heads=heads, rows=tuple(rows)),),
    )


def _sides(entries: Sequence[LoggedSet], store: Store) -> Section | None:
    """Left against right, where one lifter did the same task with both."""
    from armarc.log import both_arms

    if len({(entry.lifter, entry.exercise, entry.variant) for entry in entries}) != 1:
        return None
    groups = [group for group in group_by(entries, "side") if group.name in ("left", "right")]
    if len(groups) != 2:
        return None
    reps = reps_with_recordings(store, sets_to_read(groups))
    rows = compare(groups, [find_measure(key) for key in COMPARED], reps)
    lines = []
    for row in rows:
        if row.effect is None:
            continue
        digits, e = max(row.measure.digits, 1), row.effect
        index = row.asymmetry.words() if row.asymmetry else "–"
        numbers = (f"{e.mean_first:.{digits}f}", f"{e.mean_second:.{digits}f}")
        lines.append((row.measure.label, *numbers, e.words(digits), index))
    heads = ("Measure", "Left", "Right", "Right minus left (95 %)", "Symmetry index")
    pictures = []
    if any(row.effect is not None and row.effect.size is not None for row in rows):
        figure = draw_differences(rows, title="Right against left", width_in=PICTURE_IN)
        alt = "Standardised differences right minus left with 95 % intervals; the numbers stand in the table."
        pictures.append(Picture(figure=figure, alt=alt))
    table = PageTable(caption="Left and right", heads=heads, rows=tuple(lines))
    has_room = any(row.effect is not None and row.effect.measuring_se > 0 for row in rows)
    return Section(
        heading="Left and right",
        pictures=tuple(pictures),
        tables=(table,),
        notes=(
            f"{both_arms.DEFINITION}.",
            both_arms.CAUTION,
            *dict.fromkeys(row.caution for row in rows if row.caution),
            *([MEASURING_WORDS] if has_room else []),
        ),
    )


def both_arms_section(left: LoggedSet, right: LoggedSet, reps: Mapping[int, Sequence[Rep]]) -> Section:
    """A set lifted with both arms, a sensor on each: rep beside rep."""
    from armarc.log.both_arms import DEFINITION

    begun = [one.done_at.timestamp() - one.start_s for one in (left, right)]
    spans = [
        [(zero + rep.phases.start_s, zero + rep.phases.end_s) for rep in reps[one.id]]
        for zero, one in zip(begun, (left, right), strict=True)
    ]
    places = paired_reps(spans[0], spans[1])
    pairs = [(reps[left.id][i], reps[right.id][j]) for i, j in places]
    indices = {key: paired_index(pairs, key) for key, _ in SHOWN}
    heads, lines = ["Rep left / right"], [[f"{a.rep} / {b.rep}"] for a, b in pairs]
    for key, name in SHOWN:
        heads += [f"{name} left", "right", "index %"]
        for line, (a, b), index in zip(lines, pairs, indices[key][0], strict=True):
            line += [
                *(_shown(column(Rep, key).published(one)) for one in (a, b)),
                "–" if index is None else f"{index:+.0f}",
            ]
    words = [
        f"{name.split()[0].capitalize()}: {whole.words()}, over {whole.reps} rep{'s' * (whole.reps != 1)}."
        for key, name in SHOWN
        if (whole := indices[key][1]) is not None
    ]
    alone = len(reps[left.id]) + len(reps[right.id]) - 2 * len(pairs)
    if alone:
        words.append(f"{alone} rep{'s' * (alone != 1)} of one arm alone left out.")
    rows = tuple(tuple(line) for line in lines)
    table = PageTable(caption=f"Reps of sets {left.id} and {right.id}", heads=tuple(heads), rows=rows)
    notes = (f"{DEFINITION}. ± is the standard error of straps, sensors and scatter.",)
    return Section(
        heading=f"Both arms: sets {left.id} and {right.id}", words=tuple(words), tables=(table,), notes=notes
    )


def compare_section(store: Store, entries: Sequence[LoggedSet]) -> list[Section]:
    """Sets side by side: curves where the recordings were kept, differences with their intervals."""
    from armarc.log.curves import set_curves

    groups = [Group(name=f"set {entry.id}", sets=(entry,)) for entry in entries]
    reps = reps_with_recordings(store, sets_to_read(groups))
    rows = compare(groups, [find_measure(key) for key in COMPARED], reps)
    pictures, notes, curves, names = [], [REPS_CAUTION, MEASURING_WORDS], [], []
    for entry in entries:
        try:
            curves.append([set_curves(store, entry)])
            names.append(f"set {entry.id}: {_facts(entry)}")
        except ArmarcError as error:
            notes.append(f"No curve of set {entry.id}: {error.message}.")
    if curves:
        figure = draw_overlay(curves, names, title="Mean of the reps", width_in=PICTURE_IN)
        alt = f"Mean angle along the rep, velocity and moment by angle of {'; '.join(names)}."
        pictures.append(Picture(figure=figure, alt=alt))
    first_rows = [row for row in rows if row.second == groups[1].name]
    if any(row.effect is not None and row.effect.size is not None for row in first_rows):
        figure = draw_differences(first_rows, title="How large the differences are", width_in=PICTURE_IN)
        alt = "Standardised differences with 95 % intervals; the numbers stand in the table."
        pictures.append(Picture(figure=figure, alt=alt))
    lines = [
        (
            row.measure.label,
            f"{row.second} − {row.first}",
            f"{e.mean_first:.{d}f}",
            f"{e.mean_second:.{d}f}",
            e.words(d),
            row.verdict,
        )
        for row in rows
        if (e := row.effect) is not None and (d := max(row.measure.digits, 1))
    ]
    heads = ("Measure", "Sets", "Mean first", "Mean second", "Difference (95 %)", "Verdict")
    table = PageTable(caption="Rep by rep, where both are full", heads=heads, rows=tuple(lines))
    sets = "\n".join(f"Set {entry.id}: {_facts(entry)}." for entry in entries)
    return [
        Section(
            heading="What differs",
            words=(sets,),
            pictures=tuple(pictures),
            tables=(table,),
            notes=tuple(notes),
        )
    ]


def _facts(entry: LoggedSet) -> str:
    reserve = reserve_words(entry)
    amount = f"{entry.reps} rep{'s' * (entry.reps != 1)}"
    return ", ".join([task_name(entry), amount, *([reserve] if reserve else [])])


def _written(entry: LoggedSet) -> str:
    return f"{entry.day.day} {entry.day:%B %Y}"


def _shown(value: object) -> str:
    return f"{value:.0f}" if isinstance(value, int | float) else "–"
