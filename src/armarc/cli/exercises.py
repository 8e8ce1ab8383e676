"""``armarc exercises``: what armarc can measure, and how to add to it."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from armarc.cli.log_options import AsJson


def exercises(
    key: Annotated[str | None, typer.Argument(help="Show one exercise, by its key or another name.")] = None,
    as_json: AsJson = False,
    template: Annotated[bool, typer.Option("--template", help="Print a file to start an own entry.")] = False,
    folder: Annotated[bool, typer.Option("--folder", help="Print the folder for own entries.")] = False,
) -> None:
    """List the exercises, or show one with its caution and where the sensor goes."""
    from armarc.errors import UsageError
    from armarc.exercises import TEMPLATE, exercises_folder, find_exercise, load_catalogue

    if sum((template, folder, as_json or key is not None)) > 1:
        raise UsageError("--template and --folder stand alone", "leave out the rest")
    if template:
        typer.echo(TEMPLATE, nl=False)
        return
    if folder:
        typer.echo(str(exercises_folder()))
        return
    catalogue = load_catalogue()
    chosen = [find_exercise(key, catalogue)] if key is not None else list(catalogue.values())
    if as_json:
        _print_json(chosen)
    elif key is not None:
        _print_one(chosen[0])
    else:
        _print_list(chosen)


def _print_json(chosen: list[Any]) -> None:
    import json

    from armarc.exercises import exercise_record

    document = {"schema": "armarc.exercises/1", "exercises": [exercise_record(e) for e in chosen]}
    typer.echo(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))


def _print_one(exercise: Any) -> None:
    from rich.table import Table
    from rich.text import Text

    from armarc.cli.terminal import out_console
    from armarc.exercises import coordinate_meaning, exercise_record, sensor_advice

    record = exercise_record(exercise)
    rows = [
        ("Key", exercise.key),
        ("Also called", ", ".join(exercise.aliases) or "-"),
        ("Resistance", exercise.resistance),
        ("Sensor", sensor_advice(exercise)),
        ("Angle", coordinate_meaning(exercise)),
        ("Start gate", f"{_pair(record['gate_deg'])}° above the bottom"),
        (
            "Target band",
            f"{_pair(record['band_deg_s'])} °/s, working band, no source" if record["band_deg_s"] else "none",
        ),
        ("Loaded range", f"{_pair(record['loaded_range_deg'])}°" if record["loaded_range_deg"] else "none"),
        ("Smallest rep", f"{record['smallest_rom_deg']:g}°"),
        ("Swung", f"body swing above {record['swung_cm']:g} cm (our own working limit)"),
        ("Dropped", f"under {record['dropped_pct']:g} % held while lowering (our own working limit)"),
        ("Set ends after", f"a rest of {exercise.rest_s:g} s"),
        ("Note", exercise.note or "-"),
        ("Caution", exercise.caution or "-"),
        ("From", exercise.source),
    ]
    console = out_console()
    if not console.is_terminal:
        typer.echo("\n".join(f"{name}\t{value}" for name, value in (("Name", exercise.name), *rows)))
        return
    console.print(Text(exercise.name, style="bold"))
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True, style="dim")
    table.add_column(overflow="fold")
    for name, value in rows:
        table.add_row(name, Text(value))
    console.print(table)


def _print_list(chosen: list[Any]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from armarc.cli.terminal import out_console
    from armarc.exercises import DEFAULT_EXERCISE, exercise_record

    records = [exercise_record(exercise) for exercise in chosen]
    heads = ("Key", "Name", "Sensor", "Angle", "Band °/s", "Loaded °", "From")
    rows = [
        (
            r["key"],
            r["name"],
            r["sensor_place"],
            r["coordinate"],
            _pair(r["band_deg_s"]),
            _pair(r["loaded_range_deg"]),
            r["source"],
        )
        for r in records
    ]
    console = out_console()
    if not console.is_terminal:
        typer.echo("\n".join("\t".join(row) for row in (heads, *rows)))
        return
    wide = console.width >= 110
    shown = range(7) if wide else (0, 2, 4, 5) if console.width >= 64 else (0, 4)
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    for i in shown:
        table.add_column(heads[i], no_wrap=i != 1, justify="right" if i in (4, 5) else "left")
    for row in rows:
        style = "bold" if row[0] == DEFAULT_EXERCISE else ""
        table.add_row(*(Text(row[i]) for i in shown), style=style)
    console.print(table)
    console.print(
        f"{DEFAULT_EXERCISE} is meant when none is named. "
        "Bands and loaded ranges: common practice, no source.\n"
        "One with its caution: armarc exercises KEY. Your own: armarc exercises --template.",
        markup=False,
    )


def _pair(pair: list[float] | None) -> str:
    return f"{pair[0]:g}–{pair[1]:g}" if pair else "-"
