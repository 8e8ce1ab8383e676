"""The sets of a recording on a terminal: the answer, the table, what the shoulder had to do, and the cautions once."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from armarc.load import SetLoad
    from armarc.results import Result


def show(result: Result, path: Path, number: int, count: int, out: Console) -> None:
    """Print the sets of one recording as tables on a terminal."""
    from armarc.exercises import band_words
    from armarc.report import print_set
    from armarc.report.answers import session_answer

    options = result.options
    edges = options.record().get("band_deg_s")
    band = "" if edges is None else band_words(edges, options.band_basis)
    if len(result.sets) > 1:
        out.print(Text(session_answer(result.sets)))
        out.print()
    for index, measured in enumerate(result.sets):
        words = [str(options.exercise).replace("-", " "), f"{options.side} arm"]
        if options.load_kg is not None:
            words.append(f"{options.load_kg:g} kg")
        title = f"Set {measured.set} · {', '.join(words)} · {measured.summary.reps} reps"
        if count > 1:
            title = f"{path.name} · {title}"
        if number or index:
            out.print()
        print_set(out, measured, title=title, band=band)
        if measured.load is not None:
            out.print()
            out.print(load_block(measured.load))


def show_cautions(cautions: Iterable[str], out: Console) -> None:
    """Say the cautions below everything they belong to."""
    said = list(cautions)
    if said:
        out.print()
    for caution in said:
        out.print(Text(caution, style="dim"))


PEAK_PHASES = {
    "concentric": "raising",
    "hold": "in the hold",
    "eccentric": "lowering: the catch, not the lift",
}
"""How the phase is called in which a set's moment mostly peaks."""


def load_block(load: SetLoad) -> Table:
    """What the shoulder had to do in one set, in a few lines for the terminal."""
    from armarc.load import load_record

    summary = load_record(load)["summary"]

    def said(key: str, unit: str) -> str:
        value, error = summary[key], summary.get(f"{key}_se")
        if value is None:
            return "–"
        spread = "" if error is None or round(error) == 0 else f" ± {error:.0f}"
        return f"{value:.0f}{spread}{unit}"

    moment = f"peak {said('peak_moment_n_m', ' N·m')} at {said('peak_moment_at_deg', '°')}"
    lines = [
        ("Resistance", load.resistance),
        ("Shoulder moment", f"{moment}, {PEAK_PHASES.get(summary['peak_moment_phase'], '')}".rstrip(", ")),
        ("Work, raising", said("concentric_work_j", " J")),
        (
            "Body swing work",
            f"in the drive (rest to fastest): {swing_work_words(summary, 'drive_swing_work')}",
        ),
        ("", f"over the whole way up: {swing_work_words(summary, 'body_swing_work')}"),
    ]
    if summary["loaded_impulse_pct"] is not None:
        share = said("loaded_impulse_pct", " %")
        lines.insert(2, ("In loaded range", f"{share} of the moment's impulse"))
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True, width=18, style="bold")
    grid.add_column(overflow="fold")
    for name, text in lines:
        grid.add_row(name, Text(text))
    return grid


def cautions_of(result: Result) -> list[str]:
    """What has to be said with the numbers of a recording, each once: of the exercise, of the tool, of a load."""
    from armarc.exercises import find_exercise
    from armarc.report.wording import CAUTION

    if not result.sets:
        return []
    said = [find_exercise(str(result.options.exercise)).caution, CAUTION]
    if any(one.load is not None for one in result.sets):
        from armarc.load.table import LOAD_CAUTIONS

        said += LOAD_CAUTIONS
    return [caution for caution in dict.fromkeys(said) if caution]


def swing_work_words(summary: dict[str, Any], key: str) -> str:
    """What is said of a set's share of body swing work: seen, none, or not measured, and in how many reps."""
    reps = summary[f"{key}_reps"]
    measured, count = summary[f"{key}_measured"], summary["reps"]
    if not measured:
        return "not measured"
    over = "" if measured == count else f" (measured in {measured} of {count} reps)"
    if not reps:
        return f"none detected{over}"
    share, error = summary[f"{key}_pct"], summary[f"{key}_pct_se"]
    spread = "" if error is None else f" ± {error:.0f}"
    told = f"{share:.0f}{spread} %".replace("-", "−")
    away = " (below zero: it took work away)" if share < 0 else ""
    numbers = ", ".join(map(str, reps))
    where = f"on average in reps {numbers}" if len(reps) > 1 else f"in rep {numbers}"
    return f"{told} {where}{over}{away}"
