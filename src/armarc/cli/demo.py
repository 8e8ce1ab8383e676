"""``armarc demo``: the invented recordings to try, made anew where there is no checkout."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

RECORDINGS = {
    "strict-raise.csv": "--tempo 2.5/0.5/1.6/0.3 --start-velocity 57 --load 6kg --fatigue 8 --seed 11",
    "fast-start.csv": "--tempo 1.8/0.3/1.2/0 --start-velocity 110 --load 6kg --swing-cm 1 --seed 12",
    "swung-set.csv": "--tempo 1.5/0.4/1.1/0 --start-velocity 85 --load 10kg --swing-cm 4.5 --dip-cm 1.5 --fatigue 15 "
    "--seed 13",
    "left-wrist.csv": "--exercise scaption-raise --reps 6 --tempo 3/0.5/2/0.5 --start-velocity 50 --side left "
    "--load 4kg --twist --front-raise --strap inside --hand-axis -x --strap-roll 12 --tilt 5 --seed 14",
    "three-sets.csv": "--reps 7 --sets 3 --start-velocity 60 --load 8kg --fatigue 18 --partial-last --cheat-rep 6 "
    "--pick-up --rest-s 28 --walk --fidget --seed 15",
    "machine-reverse-fly.csv": "--exercise machine-reverse-fly --reps 10 --tempo 2/0.3/1.5/0.3 --start-velocity 70 "
    "--load 25kg --seed 16",
    "start-to-stop.csv": "--reps 10 --load 6kg --elbow-bend 12 --forearm-turn -8 --girdle-rise-cm 3 --lean-travel 2 "
    "--trunk-sway 0.2 --press-start --press-stop --walk-up --seed 7",
}
"""Options of `armarc simulate` that make each demo recording."""


def demo(
    folder: Annotated[Path, typer.Argument(help="Folder to put them in; made when it is not there.")] = Path(
        "armarc-demo"
    ),
    only: Annotated[
        list[str] | None, typer.Option("--only", help="Only this one, such as strict-raise; repeat it.")
    ] = None,
) -> None:
    """Make the invented demo recordings, with the truth about them beside (no person was measured)."""
    from armarc.cli.simulate import simulate
    from armarc.cli.terminal import error_console
    from armarc.errors import UsageError

    wanted = [name.removesuffix(".csv") for name in only or ()]
    unknown = [name for name in wanted if f"{name}.csv" not in RECORDINGS]
    if unknown:
        names = ", ".join(name.removesuffix(".csv") for name in RECORDINGS)
        raise UsageError(f"there is no demo recording {unknown[0]!r}", f"choose from: {names}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"cannot make {folder}: {error.strerror}", "choose another folder") from None
    program = typer.Typer()
    program.command("simulate")(simulate)
    command = typer.main.get_command(program)
    chosen = [name for name in RECORDINGS if not wanted or name.removesuffix(".csv") in wanted]
    for name in chosen:
        words = [str(folder / name), *RECORDINGS[name].split()]
        command.main(words, prog_name="armarc simulate", standalone_mode=False)
    error_console().print(f"Now try: armarc process {folder / chosen[0]}", markup=False, soft_wrap=True)
