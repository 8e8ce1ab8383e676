"""``armarc settings``: what takes effect when nothing is typed, and where it comes from."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from armarc.cli.log_options import AsJson


def settings(
    as_json: AsJson = False,
    template: Annotated[bool, typer.Option("--template", help="Print a commented settings file.")] = False,
    coaching: Annotated[
        bool,
        typer.Option("--coaching", help="Print the coach's table: next load, lighter week, plan, parts."),
    ] = False,
    path: Annotated[bool, typer.Option("--path", help="Print where the settings file belongs.")] = False,
) -> None:
    """Show the settings that take effect and where each comes from."""
    from armarc.errors import UsageError
    from armarc.exercises import DEFAULT_EXERCISE, find_exercise
    from armarc.settings import TEMPLATE, effective, load_settings, settings_path

    if sum((as_json, template, coaching, path)) > 1:
        raise UsageError("--json, --template, --coaching and --path exclude each other", "give one of them")
    if coaching:
        from armarc.log.coaching import coaching_template

        typer.echo(coaching_template(), nl=False)
        return
    if template:
        typer.echo(TEMPLATE, nl=False)
        return
    if path:
        typer.echo(str(settings_path()))
        return
    loaded = load_settings()
    exercise = _named_exercise(loaded, find_exercise, DEFAULT_EXERCISE)
    rows = effective(loaded, exercise)
    if as_json:
        import json

        document = {
            "schema": "armarc.settings/1",
            "file": str(loaded.file) if loaded.file else None,
            "settings": {row.key: {"value": row.value, "from": row.origin} for row in rows},
        }
        typer.echo(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))
        return
    _print_table(rows, exercise.key, loaded.file, settings_path())


def _named_exercise(loaded: Any, find: Any, default: str) -> Any:
    from armarc.errors import FormatError, UsageError

    try:
        return find(loaded.options.exercise or default)
    except UsageError as error:
        if loaded.options.exercise is None:
            raise
        raise FormatError(error.message, error.hint, file=str(loaded.file), column="exercise") from None


def _print_table(rows: list[Any], exercise_key: str, file: Any, wanted: Any) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from armarc.cli.terminal import out_console

    origins = {
        "settings": "settings file",
        "exercise": f"exercise {exercise_key}",
        "armarc": "armarc",
        "unset": "not set",
    }
    lines = [(row.key, _shown(row.value), origins[row.origin]) for row in rows]
    console = out_console()
    if not console.is_terminal:
        typer.echo("\n".join("\t".join(line) for line in (("setting", "value", "from"), *lines)))
        return
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    for head in ("Setting", "Value", "From"):
        table.add_column(head, overflow="fold")
    for line, row in zip(lines, rows, strict=True):
        table.add_row(*map(Text, line), style="dim" if row.origin == "unset" else "")
    console.print(table)
    said = f"Settings file: {file}" if file else f"No settings file yet; it belongs at {wanted}"
    console.print(
        f"{said}\nOptions and a recording's own header come first. A file to start from: "
        "armarc settings --template.",
        markup=False,
        soft_wrap=True,
    )


def _shown(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, list):
        return "–".join(f"{v:g}" for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
