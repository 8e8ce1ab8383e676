"""``armarc trend next``, ``planned`` and ``parts``: what a coach's own table steers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from armarc.cli.log_options import print_json, print_table, say, say_cautions

if TYPE_CHECKING:
    from armarc.log.coaching import Coaching
    from armarc.log.reading import Filter
    from armarc.log.store import Store
    from armarc.log.table import SetTable

NEXT, PLANNED, PARTS = ("next",), ("planned", "plan"), ("parts", "part")


def show(word: str, store: Store, where: Filter, as_json: bool) -> None:
    """Print one of the three.

    Raises
    ------
    NothingToMeasure
        If no set passes the filter, or nothing is planned.
    """
    from armarc.errors import NothingToMeasure
    from armarc.log import next_step
    from armarc.log.coaching import ASKED, load_coaching
    from armarc.log.table import read_table
    from armarc.log.volume import VOLUME

    coaching = load_coaching()
    asked = (*VOLUME, *next_step.ASKED) if word in NEXT else VOLUME if word in PARTS else ASKED
    table = read_table(store, where, *dict.fromkeys(asked))
    if not len(table):
        raise NothingToMeasure("no set passes", "widen the filter, or log a set first")
    if word in NEXT:
        _next(store, table, coaching, as_json)
    else:
        (_planned if word in PLANNED else _parts)(table, coaching, as_json)
    if not as_json:
        say_cautions(table.exercises)


def _next(store: Store, table: SetTable, coaching: Coaching, as_json: bool) -> None:
    from dataclasses import replace
    from datetime import date

    from armarc.log.bests import unknown_words
    from armarc.log.next_step import ASKED, next_step
    from armarc.log.records import with_pain
    from armarc.log.volume import lighter_weeks, lighter_words, weekly_volume

    lighter = lighter_weeks(weekly_volume(table), coaching.weeks, date.today())
    days: dict[str, set[int]] = {}
    for lifter, monday in lighter:
        days.setdefault(lifter, set()).add(monday.toordinal())
    lifts = replace(table, numbers={one.key: table.of(one) for one in ASKED}).by_lift()
    newest = [number for sets in lifts for number in sets.set_id[sets.session == sets.session[-1]].tolist()]
    pained = with_pain(store, newest)
    records, lines = [], []
    for sets in lifts:
        lifter, task = sets.sessions[sets.session[-1]].lifter, sets.tasks[sets.task[-1]]
        exercise, variant, side = task.exercise, task.variant, task.side
        step = next_step(sets, coaching.next, days.get(lifter, set()), pained)
        records.append(
            {
                "lifter": lifter, "exercise": exercise, "variant": variant, "side": side,
                "load_kg": step.load_kg, "next_kg": step.next_kg, "open": step.is_open, "why": step.words,
                "sessions": step.sessions, "clean_reps": step.clean, "reps": step.reps,
                "lowest_rir": step.lowest_rir, "in_band_pct": step.in_band_pct, "rom_kept_pct": step.rom_kept_pct,
            }
        )  # fmt: skip
        lines.append(
            [
                lifter,
                f"{exercise} ({variant})" if variant else exercise,
                side or "–",
                "–" if step.load_kg is None else f"{step.load_kg:.4g}",
                "–" if step.next_kg is None else f"{step.next_kg:.4g}",
                step.words,
            ]
        )
    if as_json:
        print_json({"schema": "armarc.next/1", "rule": coaching.next.words, "tasks": records})
        return
    heads = ["Lifter", "Exercise", "Side", "Load kg", "Next kg", "Why"]
    print_table(heads, lines, right=frozenset({3, 4}))
    for words in filter(None, (unknown_words(table), lighter_words(lighter, coaching.weeks))):
        say(words)
    say(coaching.next.words)


def _planned(table: SetTable, coaching: Coaching, as_json: bool) -> None:
    from armarc.errors import NothingToMeasure
    from armarc.log.coaching import planned_weeks

    weeks = planned_weeks(table, coaching.plan)
    if as_json:
        print_json({"schema": "armarc.planned/1", "weeks": [week.to_dict() for week in weeks]})
        return
    if not weeks:
        raise NothingToMeasure(
            "nothing is planned for these lifters",
            "armarc settings --coaching prints a table to fill in and save",
        )
    lines = []
    for week in weeks:
        planned = week.planned
        reps = "–" if planned is None or planned.reps is None else f"{planned.reps:g}"
        line = [week.lifter, week.monday.isoformat(), week.exercise]
        line += ["–" if planned is None else f"{planned.sets:g}", str(week.sets), reps, str(week.reps)]
        line += ["–" if week.clean_reps is None else str(week.clean_reps), week.words]
        lines.append(line)
    heads = [
        "Lifter",
        "Monday",
        "Exercise",
        "Sets planned",
        "Sets",
        "Reps planned",
        "Reps",
        "Clean",
        "Against",
    ]
    print_table(heads, lines, right=frozenset(range(3, 8)), ranks={"Clean": 2, "Reps planned": 1})
    say("A plan is a plan: no week is judged by it.")


def _parts(table: SetTable, coaching: Coaching, as_json: bool) -> None:
    from armarc.log.table import first_seen
    from armarc.log.volume import parts_volume
    from armarc.report.page_coaching import PARTS_NOTE, part_cells, shares_table

    weeks, unknown = parts_volume(table, coaching.parts)
    done = first_seen(table.in_time.task).tolist()
    shares = shares_table((table.tasks[place].exercise for place in done), coaching)
    if as_json:
        print_json(
            {
                "schema": "armarc.parts/1",
                "weeks": [week.to_dict() for week in weeks],
                "shares": [dict(zip(map(str.lower, shares.heads), row, strict=True)) for row in shares.rows],
                "without_shares": unknown,
                "note": PARTS_NOTE,
            }
        )
        return
    lines = [[week.lifter, *part_cells(week)] for week in weeks]
    heads = ["Lifter", "Monday", "Arm", "Part", "Sets", "Reps", "Under tension s", "Impulse N·m·s"]
    print_table(heads, lines, right=frozenset(range(4, 8)), ranks={"Impulse N·m·s": 1})
    for name, anterior, middle, posterior, source in shares.rows:
        say(f"{name}: anterior {anterior}, middle {middle}, posterior {posterior}. {source}")
    if unknown:
        say(f"Without shares, so in no part: {', '.join(unknown)}.")
    without = sum(week.without_impulse > 0 for week in weeks)
    if without and any(week.impulse_n_m_s is not None for week in weeks):
        say(f"{without} lines hold sets without an impulse and read low.")
    say(PARTS_NOTE)
