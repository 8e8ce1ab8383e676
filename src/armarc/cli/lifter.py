"""``armarc lifter``: the bodies shoulder moments are computed for."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from armarc.cli.load_tables import number, print_table, say
from armarc.cli.log_options import AsJson, print_json

app = typer.Typer(
    invoke_without_command=True,
    no_args_is_help=False,
    help="Show or set the bodies shoulder moments are computed for.",
)


Name = Annotated[
    str | None,
    typer.Argument(metavar="[NAME]", help="Whose; without it, whoever is meant when nobody is named."),
]


@app.callback()
def lifter(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Show or set the bodies shoulder moments are computed for. Nothing is required.

    A name given to `armarc process --lifter`, or to a set in the log, stands for that lifter's own measures.
    """
    if ctx.invoked_subcommand is None:
        _show(None, as_json)


@app.command()
def show(name: Name = None, as_json: AsJson = False) -> None:
    """Show the measures in effect, and what is assumed."""
    _show(name, as_json)


@app.command("list")
def list_(as_json: AsJson = False) -> None:
    """List the lifters whose measures are kept."""
    from armarc.load.lifter import load_lifters

    records = [one.record() for one in load_lifters()]
    if as_json:
        print_json({"schema": "armarc.lifters/1", "lifters": records})
        return
    rows = [
        (
            one["lifter"] or "(no name)",
            number(one["body_mass_kg"], 1),
            number(100 * one["stature_m"], 0),
            one["sex"] or "–",
            ", ".join(name.rsplit("_", 1)[0].replace("_", " ") for name in one["given"]) or "nothing",
        )
        for one in records
    ]
    print_table("Lifters", ("Name", "Mass, kg", "Stature, cm", "Sex", "Stated"), rows, left=1)


@app.command("set")
def set_(
    name: Name = None,
    body_mass: Annotated[str | None, typer.Option(help="Body mass, such as 82kg or 180lb.")] = None,
    stature: Annotated[
        str | None, typer.Option("--stature", "--height", help="Height, such as 181cm.")
    ] = None,
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
    from armarc.load.lifter import length_m, load_lifters, save_lifters
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
    for key, (text, read) in given.items():
        if text is not None:
            if text.strip().casefold() == "none":
                changes[key] = "de-leva" if key == "segment_table" else None
            else:
                changes[key] = read(text)
    if not changes:
        raise UsageError("nothing to set", "for example armarc lifter set --body-mass 82kg --stature 181cm")
    lifters = load_lifters()
    path = save_lifters(lifters.with_(replace(lifters.find(name), **changes)))
    typer.echo(f"Saved to {path}", err=True)
    _show(name, False)


def _show(name: str | None, as_json: bool) -> None:
    from armarc.load.arm import arm_body
    from armarc.load.lifter import FIELDS, lifter_path, load_lifters
    from armarc.load.table import MOMENT_CAUTION
    from armarc.recording import STANDARD_GRAVITY_M_S2
    from armarc.strict_toml import suggestion

    lifters = load_lifters()
    saved = lifters.find(name)
    if saved.name is not None and saved.name not in lifters.others:
        hint = suggestion(saved.name, lifters.others) if lifters.others else "armarc lifter set keeps one"
        say([f"Nothing is kept of {saved.name}: this is the reference body ({hint})."])
    body, used = saved.completed(), saved.record()
    arm = arm_body(body)
    level = float(arm.first_moment_kg_m[0]) * STANDARD_GRAVITY_M_S2
    path = lifter_path()
    if as_json:
        print_json(
            {
                "schema": "armarc.lifter/1",
                "file": str(path) if path.exists() else None,
                "lifter": saved.name,
                "given": {key: getattr(saved, key) for key in FIELDS},
                "used": {key: round(v, 4) if isinstance(v := used[key], float) else v for key in FIELDS},
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
    for key, (label, unit, digits, factor) in words.items():
        value = used[key]
        text = number(value * factor, digits) if isinstance(value, float) else value or "–"
        from_ = "given" if key in saved.given else "assumed"
        if key == "segment_table":
            from_ = body.table.source
        rows.append((label, f"{text} {unit}".strip(), from_))
    rows.append(("Mass of one arm", f"{number(arm.mass_kg)} kg", "table"))
    rows.append(("Moment of the arm held level", f"{number(level)} N·m", "table"))
    print_table(saved.name or "Lifter", ("Measure", "Value", "From"), rows, left=3)
    say([*(f"Assumed: {line}." for line in saved.assumed), MOMENT_CAUTION, f"File: {path}"])
