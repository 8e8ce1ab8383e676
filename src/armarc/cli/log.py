"""``armarc log``: look at the training log and keep it in order."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import log_change, log_keep, log_reprocess
from armarc.cli.log_options import (
    FILTERS,
    AsJson,
    LogFile,
    make_filter,
    print_json,
    print_json_list,
    print_table,
    say,
    say_cautions,
    shown,
)
from armarc.cli.option_rows import only, taking

if TYPE_CHECKING:
    from armarc.log.reading import Filter

app = typer.Typer(
    help="Look at the training log and keep it in order.",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.command("list")
@taking(where=(FILTERS, make_filter))
def list_command(
    *,
    where: Filter,
    limit: Annotated[int, typer.Option("--limit", "-n", min=0, help="Newest sets shown; 0 for all.")] = 30,
    pain: Annotated[bool, typer.Option("--pain", help="Only sets after which pain was said.")] = False,
    removed: Annotated[bool, typer.Option("--removed", help="Show removed sets instead.")] = False,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """List sets, newest first."""
    from dataclasses import replace

    from armarc.log.reading import count_sets, iterate_sets, list_sets
    from armarc.log.records import SCHEMA, logged_record
    from armarc.log.store import open_log

    where = replace(where, pain=pain, removed=removed)
    with open_log(log_file, create=False) as store:
        total = count_sets(store, where)
        if as_json:
            records = map(logged_record, iterate_sets(store, where, limit=limit or None))
            print_json_list({"schema": SCHEMA, "total": total}, "sets", records)
            return
        entries = list_sets(store, where, limit=limit or None)
    heads = ["Set", "When", "Lifter", "Exercise", "Side", "Load kg", "Reps", "In band", "Start °/s"]
    heads += ["ROM °", "Vel. loss %", "RIR", "Tags, note"]
    print_table(
        heads,
        [_line(entry) for entry in entries],
        right=frozenset({0, 5, 6, 7, 8, 9, 10, 11}),
        shorten=12,
        ranks={"Tags, note": 6, "Vel. loss %": 5, "RIR": 4, "ROM °": 3, "In band": 2, "Side": 1},
    )
    if total > len(entries):
        say(f"{len(entries)} of {total} sets; more with --limit")
    say_cautions({entry.exercise for entry in entries})


@app.command("show")
@taking(where=(only(FILTERS, "lifter", "exercise"), make_filter))
def show_command(
    sets: Annotated[list[str], typer.Argument(help="12, 12-15, a day 2026-03-01, last, last-3.")],
    *,
    where: Filter,
    stop_at: Annotated[
        float | None,
        typer.Option("--stop-at", min=1, max=90, help="Your own mark of velocity loss, %."),
    ] = None,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Show sets rep by rep, with the loss of velocity and range along the set."""
    from armarc.log.fatigue import fatigue_of
    from armarc.log.reading import choose_sets, get_set, reps_by_set
    from armarc.log.records import SCHEMA, logged_record
    from armarc.log.rows import rep_of
    from armarc.log.store import open_log

    with open_log(log_file, create=False) as store:
        ids = choose_sets(store, sets, where)
        entries = [get_set(store, set_id) for set_id in ids]
        reps = reps_by_set(store, ids)
    losses = {set_id: fatigue_of([*map(rep_of, reps[set_id])], stop_at_pct=stop_at) for set_id in ids}
    if as_json:
        records = [
            {**logged_record(entry, reps[entry.id]), "fatigue": losses[entry.id].to_dict()}
            for entry in entries
        ]
        print_json({"schema": SCHEMA, "total": len(records), "sets": records})
        return

    from armarc.cli.terminal import out_console
    from armarc.log.records import caution_for, title_of
    from armarc.report.tables import print_logged

    console = out_console()
    for exercise in dict.fromkeys(entry.exercise for entry in entries if entry.pain):
        say(caution_for(exercise))
    for entry in entries:
        say(title_of(entry))
        if entry.note:
            say(f"Note: {entry.note}")
        loss = losses[entry.id]
        lost = {"velocity_loss_pct": loss.velocity_loss_pct, "rom_loss_pct": loss.rom_loss_pct}
        print_logged(console, reps[entry.id], lost)
        say(loss.words())
    say_cautions({entry.exercise for entry in entries})


def _line(entry: Any) -> list[str]:
    from armarc.log.records import pain_words, starts_words, when_words

    summary = entry.summary
    exercise = f"{entry.exercise} ({entry.variant})" if entry.variant else entry.exercise
    reserve = "–" if entry.rir is None else f"{entry.rir:g}"
    if entry.rir is None and entry.rpe is not None:
        reserve = f"RPE {entry.rpe:g}"
    tags = " ".join(f"#{name}" for name in entry.tags)
    note = entry.note.replace("\n", " ")
    return [
        str(entry.id),
        when_words(entry),
        entry.lifter,
        exercise,
        entry.side or "–",
        "–" if entry.load_kg is None else f"{entry.load_kg:.4g}",
        str(entry.reps),
        starts_words(entry) or "–",
        shown(summary.get("mean_start_velocity_deg_s")),
        shown(summary.get("mean_rom_deg")),
        shown(summary.get("velocity_loss_pct")),
        reserve,
        " ".join(part for part in (pain_words(entry), tags, note) if part),
    ]


log_change.register(app)
log_keep.register(app)
log_reprocess.register(app)
