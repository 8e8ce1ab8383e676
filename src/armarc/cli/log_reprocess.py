"""``armarc log reprocess``: measure again what the log keeps, for what the log says of it now."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from armarc.cli.log_options import AsJson, DryRun, LogFile, print_json, print_table, say
from armarc.cli.terminal import with_progress

if TYPE_CHECKING:
    from armarc.load import Lifter as Body
    from armarc.log.remeasuring import Remeasured


def register(app: typer.Typer) -> None:
    """Attach the command."""
    app.command("reprocess")(reprocess_command)


def reprocess_command(
    sets: Annotated[
        list[str] | None, typer.Argument(help="12, 12-15, a day, last, last-3; or --all.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Every recording of the log.")] = False,
    dry_run: DryRun = False,
    lifter: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Take the body kept of this lifter, not the one stored with the sets."
        ),
    ] = None,
    kept_bodies: Annotated[
        bool,
        typer.Option(
            "--kept-bodies", help="Take the bodies kept now of the sets' own lifters; armarc lifter."
        ),
    ] = False,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Measure logged recordings again with this version and show what changed; undo takes it back.

    Shoulder moments are worked out for the body stored with the sets, unless told otherwise, and for the load they
    have in the log.
    """
    from armarc.errors import UsageError
    from armarc.load import load_lifters
    from armarc.log.measuring import measure_content
    from armarc.log.reading import choose_sets, recording_ids
    from armarc.log.remeasuring import remeasure
    from armarc.log.store import open_log

    if bool(sets) == everything:
        raise UsageError("which sets?", "name some, e.g. last, or give --all")
    if lifter is not None and kept_bodies:
        raise UsageError("--lifter and --kept-bodies exclude each other", "give one of them")
    lifters = load_lifters()
    told = None if lifter is None else lifters.find(lifter)

    def choose_body(stored: Body | None, name: str) -> Body:
        if told is not None:
            return told
        return lifters.find(name) if stored is None or kept_bodies else stored

    with open_log(log_file, create=False) as store:
        chosen = recording_ids(store, None if everything else choose_sets(store, sets or []))
        done = remeasure(
            store, with_progress(chosen), measure_content, choose_body=choose_body, keep=not dry_run
        )
    if as_json:
        records = [_remeasured_record(one) for one in done]
        print_json({"schema": "armarc.log-reprocess/1", "kept": not dry_run, "recordings": records})
        return
    lines = [
        [
            one.file_name,
            f"{one.was_version} → {one.is_version}",
            f"{one.reps_before} → {one.reps_after}",
            one.problem or "; ".join(_changes(one)) or "no change",
        ]
        for one in done
    ]
    print_table(["Recording", "Version", "Reps", "What changed (means)"], lines)
    if dry_run:
        say("nothing was changed (dry run)")
    elif any(one.is_kept for one in done):
        say("take it back with armarc log undo")
    else:
        say("nothing was changed")


def _remeasured_record(one: Remeasured) -> dict[str, object]:
    return {
        "file": one.file_name,
        "sets": list(one.set_ids),
        "was_version": one.was_version,
        "is_version": one.is_version,
        "reps_before": one.reps_before,
        "reps_after": one.reps_after,
        "changes": {name: {"was": old, "is": new} for name, (old, new) in one.changes.items()},
        "body": {
            "was": None if one.body_was is None else one.body_was.record(),
            "is": None if one.body_is is None else one.body_is.record(),
        },
        "measured_as": one.task_is or None,
        "is_mixed": one.is_mixed,
        "problem": one.problem or None,
    }


def _changes(one: Remeasured) -> list[str]:
    """What changed, in words: the body first, which moments follow from."""

    def number(value: float | None) -> str:
        return "none" if value is None else f"{value:.2f}"

    def body(lifter: Body | None) -> str:
        if lifter is None:
            return "not known"
        record = lifter.record()
        words = f"{record['body_mass_kg']:g} kg, {record['stature_m']:g} m"
        return words if lifter.given else f"reference body ({words})"

    said = [f"measured as {one.task_is}"] if one.task_is else []
    if one.is_mixed:
        said.append(
            "its sets differ in exercise, and these measure with another band, gate or loaded range: some sets were "
            "measured as the exercise of the recording (log their stretches as files of their own)"
        )
    if one.body_is is not None and (one.body_was is None or not one.body_is.same_body(one.body_was)):
        said.append(f"body {body(one.body_was)} → {body(one.body_is)}")
    return said + [f"{name} {number(old)} → {number(new)}" for name, (old, new) in one.changes.items()]
