"""``armarc lifter``: the body the shoulder moment is computed for."""

from __future__ import annotations

from typing import Annotated, Any

import typer

app = typer.Typer(
    invoke_without_command=True,
    no_args_is_help=False,
    help="Show or set the body the shoulder moment is computed for.",
)


@app.callback()
def lifter(
    ctx: typer.Context, as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False
) -> None:
    """Show or set the body the shoulder moment is computed for. Nothing is required."""
    if ctx.invoked_subcommand is None:
        _show(as_json)


@app.command()
def show(as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False) -> None:
    """Show the measures in effect, and what is assumed."""
    _show(as_json)


@app.command("set")
def set_(
    body_mass: Annotated[str | None, typer.Option(help="Body mass, such as 82kg or 180lb.")] = None,
    stature: Annotated[str | None, typer.Option(help="Height, such as 181cm.")] = None,
    sex: Annotated[str | None, typer.Option(help="male or female: picks the segment table.")] = None,
    upper_arm: Annotated[
        str | None, typer.Option(help="Shoulder joint to elbow, measured, such as 31cm.")
    ] = None,
    forearm: Annotated[str | None, typer.Option(help="Elbow to wrist, measured, such as 27cm.")] = None,
    grip: Annotated[str | None, typer.Option(help="Wrist to the middle of the handle, such as 8cm.")] = None,
    segment_table: Annotated[str | None, typer.Option(help="de-leva (default) or winter.")] = None,
) -> None:
    """Set measures; the others stay. The word none takes one away."""
    from dataclasses import replace

    from armarc.errors import UsageError
    from armarc.load.lifter_file import length_m, load_lifter, save_lifter
    from armarc.quantities import parse_load

    given: dict[str, tuple[str | None, Any]] = {
        "body_mass_kg": (body_mass, parse_load),
        "stature_m": (stature, length_m),
        "sex": (sex, lambda text: text.strip().casefold()),
        "upper_arm_m": (upper_arm, length_m),
        "forearm_m": (forearm, length_m),
        "grip_m": (grip, length_m),
        "segment_table": (segment_table, lambda text: text.strip().casefold()),
    }
    changes: dict[str, Any] = {}
    for name, (text, read) in given.items():
        if text is not None:
            if text.strip().casefold() == "none":
                changes[name] = "de-leva" if name == "segment_table" else None
            else:
                changes[name] = read(text)
    if not changes:
        raise UsageError("nothing to set", "for example armarc lifter set --body-mass 82kg --stature 181cm")
    path = save_lifter(replace(load_lifter(), **changes))
    typer.echo(f"Saved to {path}", err=True)
    _show(False)


def _show(as_json: bool) -> None:
    from armarc.cli.load_tables import number, print_json, print_table, say
    from armarc.load.arm import arm_body
    from armarc.load.lifter_file import FIELDS, lifter_path, load_lifter
    from armarc.load.wording import MOMENT_CAUTION
    from armarc.recording import STANDARD_GRAVITY_M_S2

    saved = load_lifter()
    body = saved.completed()
    arm = arm_body(body)
    level = float(arm.first_moment_kg_m[0]) * STANDARD_GRAVITY_M_S2
    path = lifter_path()
    used = {
        "body_mass_kg": body.body_mass_kg,
        "stature_m": saved.stature_m or saved.table.reference_stature_m,
        "sex": saved.sex or ("male" if saved.segment_table == "de-leva" else None),
        "upper_arm_m": body.upper_arm_m,
        "forearm_m": body.forearm_m,
        "grip_m": body.grip_m,
        "segment_table": saved.segment_table,
    }
    if as_json:
        print_json(
            {
                "schema": "armarc.lifter/1",
                "file": str(path) if path.exists() else None,
                "given": {name: getattr(saved, name) for name in FIELDS},
                "used": {k: round(v, 4) if isinstance(v, float) else v for k, v in used.items()},
                "arm_mass_kg": round(arm.mass_kg, 4),
                "arm_moment_level_n_m": round(level, 3),
                "source": body.table.source,
                "assumptions": list(saved.assumed),
                "cautions": [MOMENT_CAUTION],
            }
        )
        return
    words = {
        "body_mass_kg": ("Body mass", "kg", 1, 1.0),
        "stature_m": ("Stature", "cm", 0, 100.0),
        "sex": ("Sex (segment table)", "", 0, 1.0),
        "upper_arm_m": ("Upper arm", "cm", 1, 100.0),
        "forearm_m": ("Forearm", "cm", 1, 100.0),
        "grip_m": ("Wrist to grip", "cm", 1, 100.0),
        "segment_table": ("Table", "", 0, 1.0),
    }
    rows = []
    for name, (label, unit, digits, factor) in words.items():
        value = used[name]
        text = number(value * factor, digits) if isinstance(value, float) else value or "–"
        from_ = "given" if getattr(saved, name) is not None and name != "segment_table" else "assumed"
        if name == "segment_table":
            from_ = body.table.source
        rows.append((label, f"{text} {unit}".strip(), from_))
    rows.append(("Mass of one arm", f"{number(arm.mass_kg)} kg", "table"))
    rows.append(("Moment of the arm held level", f"{number(level)} N m", "table"))
    print_table("Lifter", ("Measure", "Value", "From"), rows, left=3)
    say([*(f"Assumed: {line}." for line in saved.assumed), MOMENT_CAUTION, f"File: {path}"])
