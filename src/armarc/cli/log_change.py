"""``armarc log edit``, ``remove``, ``undo``, ``purge``: change what is in the log."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from armarc.cli.log_options import (
    AsJson,
    DryRun,
    LogFile,
    Yes,
    confirm,
    exercise_key,
    not_in_catalogue,
    print_json,
    say,
)

if TYPE_CHECKING:
    from datetime import datetime

    from armarc.log.changing import Undone

Sets = Annotated[list[str], typer.Argument(help="12, 12-15, a day 2026-03-01, last, last-3.")]


def register(app: typer.Typer) -> None:
    """Attach the commands that change the log."""
    app.command("edit")(edit)
    app.command("remove")(remove)
    app.command("undo")(undo)
    app.command("purge")(purge)


def edit(
    sets: Sets,
    lifter: Annotated[str | None, typer.Option(help="Who lifted.")] = None,
    exercise: Annotated[str | None, typer.Option("--exercise", "-e", help="Exercise.")] = None,
    variant: Annotated[str | None, typer.Option(help="Variant, e.g. cable.")] = None,
    side: Annotated[str | None, typer.Option(help="left or right.")] = None,
    load: Annotated[str | None, typer.Option(help="Load, e.g. 8kg or 17.5lb.")] = None,
    rir: Annotated[float | None, typer.Option(help="Reps in reserve.")] = None,
    rpe: Annotated[float | None, typer.Option(help="Rating of perceived exertion, 0 to 10.")] = None,
    pain: Annotated[float | None, typer.Option(help="Pain, 0 to 10.")] = None,
    pain_place: Annotated[str | None, typer.Option(help="Where it hurt.")] = None,
    pain_at: Annotated[float | None, typer.Option(help="Elevation at which it hurt, degrees.")] = None,
    note: Annotated[str | None, typer.Option(help="Free note.")] = None,
    tag: Annotated[list[str] | None, typer.Option(help="Add a tag; may be repeated.")] = None,
    untag: Annotated[list[str] | None, typer.Option(help="Take a tag away; may be repeated.")] = None,
    session: Annotated[str | None, typer.Option(help="Name of the session.")] = None,
    when: Annotated[str | None, typer.Option(help="When it was done, e.g. '2026-03-01 18:30'.")] = None,
    clear: Annotated[
        list[str] | None, typer.Option(help="Empty a field: variant, side, load, rir, rpe, pain or note.")
    ] = None,
    log_file: LogFile = None,
) -> None:
    """Change what is written about sets; `armarc log undo` takes it back."""
    from armarc.errors import UsageError
    from armarc.log.changing import edit_sets
    from armarc.log.labels import Labels
    from armarc.log.reading import choose_sets
    from armarc.log.store import open_log
    from armarc.quantities import counted, parse_load

    labels = Labels(
        lifter=lifter,
        exercise=None if exercise is None else exercise_key(exercise),
        variant=variant,
        side=side,
        load_kg=None if load is None else parse_load(load),
        rir=rir,
        rpe=rpe,
        pain=pain,
        pain_place=pain_place,
        pain_at_deg=pain_at,
        note=note,
        tags=tuple(tag or ()),
        session=session,
    )
    if labels == Labels() and not (untag or clear or when):
        raise UsageError("nothing to change was given", "for example --rir 2 or --note 'felt easy'")
    moment = None if when is None else parse_moment(when)
    with open_log(log_file, create=False) as store:
        ids = choose_sets(store, sets)
        changed = edit_sets(store, ids, labels, untag=untag or (), clear=clear or (), when=moment)
    if changed:
        say(f"{changed} of {counted(len(ids), 'set')} changed; take it back with armarc log undo")
        unknown = "" if labels.exercise is None else not_in_catalogue(labels.exercise)
        stays = [
            words
            for is_said, words in (
                (exercise is not None and not unknown, "band, gate and loaded range"),
                (side is not None, "the signs of plane and hand rotation"),
                (load is not None or "load" in (clear or ()), "shoulder moments"),
            )
            if is_said
        ]
        if stays:
            say(
                f"{'; '.join(stays)} stay as measured: armarc log reprocess {' '.join(sets)} measures again as the "
                "log says now"
            )
        if unknown:
            say(unknown)
    else:
        say(f"nothing to change: it was like that already in {counted(len(ids), 'set')}")


def remove(sets: Sets, yes: Yes = False, log_file: LogFile = None) -> None:
    """Take sets out of lists and counts; `armarc log undo` brings them back."""
    from armarc.log.changing import remove_sets
    from armarc.log.reading import choose_sets, get_set
    from armarc.log.records import title_of
    from armarc.log.store import open_log

    with open_log(log_file, create=False) as store:
        ids = choose_sets(store, sets)
        for set_id in ids[:10]:
            say(title_of(get_set(store, set_id)))
        if len(ids) > 10:
            say(f"… and {len(ids) - 10} more")
        confirm(f"Remove {len(ids)} set{'s' * (len(ids) != 1)}?", yes)
        count = remove_sets(store, ids)
    say(f"{count} removed; bring back with armarc log undo")


def undo(
    anyone: Annotated[
        bool, typer.Option("--anyone", help="The last change of anybody, not only yours.")
    ] = False,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Take back your last change of the log; again for the one before."""
    from datetime import datetime

    from armarc.log.changing import others_changes
    from armarc.log.changing import undo as undo_last
    from armarc.log.store import open_log

    with open_log(log_file, create=False) as store:
        undone = undo_last(store, anyone=anyone)
        others = others_changes(store) if undone is None else 0
    if as_json:
        record = None
        if undone is not None:
            made_at = datetime.fromtimestamp(undone.made_at).astimezone().isoformat(timespec="seconds")
            record = {
                "action": undone.action,
                "author": undone.author,
                "made_at": made_at,
                "sets": list(undone.set_ids),
            }
        print_json({"schema": "armarc.log-undo/1", "undone": record})
    elif undone is None:
        more = f"; {others} changes of others stand, see --anyone" if others else ""
        say(f"nothing to take back{more}")
    else:
        moment = datetime.fromtimestamp(undone.made_at)
        names = ", ".join(map(str, undone.set_ids[:12])) + (" …" if len(undone.set_ids) > 12 else "")
        by = f" by {undone.author}" if anyone and undone.author else ""
        sets = "set" if len(undone.set_ids) == 1 else "sets"
        say(
            f"taken back: {undone.action} of {moment:%Y-%m-%d %H:%M}{by}, {sets} {names}{_values_again(undone)}"
        )


def _values_again(undone: Undone) -> str:
    """What an edit's first set has again, in words; of several sets only which fields."""
    if undone.action != "edit":
        return ""
    names = {
        "load_kg": "load",
        "session_id": "lifter or session",
        "done_at": "time",
        "pain_at_deg": "angle of pain",
    }
    told = {names.get(key, key.replace("_", " ")): both for key, both in undone.values.items()}
    if len(undone.set_ids) > 1:
        return f": {', '.join(told)}"

    def word(value: object) -> str:
        if value in (None, "", []):
            return "none"
        return (
            " ".join(map(str, value))
            if isinstance(value, list)
            else f"{value:g}"
            if isinstance(value, float)
            else str(value)
        )

    plain = {"load", "side", "exercise", "variant", "rir", "rpe", "pain", "tags"}
    return ": " + ", ".join(
        f"{name} {word(was)} → {word(now)}" if name in plain else name for name, (was, now) in told.items()
    )


def purge(
    anyone: Annotated[bool, typer.Option("--anyone", help="Also sets that others added or removed.")] = False,
    dry_run: DryRun = False,
    yes: Yes = False,
    log_file: LogFile = None,
) -> None:
    """Delete removed sets and their recordings for good."""
    from armarc.log.changing import purge_removed
    from armarc.log.reading import Filter, count_sets
    from armarc.log.store import open_log
    from armarc.quantities import counted

    with open_log(log_file, create=False) as store:
        removed = count_sets(store, Filter(removed=True))
        if not removed:
            say("no removed sets: nothing to delete")
            return
        if dry_run:
            sets, recordings, left = purge_removed(store, anyone=anyone, dry_run=True)
            say(
                f"would delete {counted(sets, 'set')} and {counted(recordings, 'recording')} for good; "
                "nothing was changed (dry run)"
            )
            return
        confirm(
            f"Delete {removed} removed sets{'' if anyone else ' (those of yours)'} for good? This cannot be undone.",
            yes,
        )
        sets, recordings, left = purge_removed(store, anyone=anyone)
    say(f"{counted(sets, 'set')} and {counted(recordings, 'recording')} deleted for good")
    if left:
        say(f"{left} removed sets stay: others added or removed them; --anyone deletes those, too")


def parse_moment(text: str) -> datetime:
    """Read a day with a time; local time unless it says otherwise."""
    from armarc.errors import UsageError
    from armarc.quantities import check_past, read_date_time

    moment = read_date_time(text)
    if moment is None:
        raise UsageError(f"{text!r} is no time", "write it as '2026-03-01 18:30'")
    check_past(moment, text)
    return moment
