"""``armarc simulate``: make an invented recording with known truth."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from armarc.cli.simulate_options import signature, simulation_options
from armarc.computer import shell_word

if TYPE_CHECKING:
    from armarc.simulate import Pattern, SimulationOptions


def command_line(ctx: typer.Context, out: Path) -> str:
    """The command that makes this recording again, without folders and defaults."""
    words = ["armarc", "simulate", out.name]
    for option in ctx.command.params:
        value = ctx.params.get(option.name or "")
        if option.param_type_name != "option" or option.name == "force" or value in (None, option.default):
            continue
        name = max(option.opts, key=len)
        if isinstance(value, bool):
            words.append(name if value else option.secondary_opts[0])
        else:
            for one in value if isinstance(value, list | tuple) else [value]:
                words += [name, f"{one:g}" if isinstance(one, float) else str(one)]
    return " ".join(map(shell_word, words))


def simulate(ctx: typer.Context, out: Path, **said: Any) -> None:
    """Make an invented recording and the truth about it (OUT.csv and OUT.truth.json)."""
    from armarc.quantities import parse_load, parse_tempo
    from armarc.simulate import SensorPlan, draw_body

    seed, chest = said["seed"], said["chest"]
    _check_target(out, chest, said["force"])
    eccentric_s, pause_s, concentric_s, hold_s = parse_tempo(said["tempo"])
    pattern = _pattern(said["exercise"], said["plane"])
    _check_seed(seed)
    options = simulation_options(
        said,
        draw_body(said["body"], seed),
        eccentric_s=eccentric_s,
        pause_s=pause_s,
        concentric_s=concentric_s,
        hold_s=hold_s,
        start_velocity_rad_s=_start_velocity(said["start_velocity"], concentric_s, said["rom"]),
        pattern=pattern,
        load_kg=None if said["load"] is None else parse_load(said["load"]),
        sensor=SensorPlan(gaps_s=tuple(_parse_gap(text) for text in said["gap"] or ())),
    )
    _make(out, options, seed, said["truth_series"], chest, command_line(ctx, out))


simulate.__signature__ = signature()  # type: ignore[attr-defined]


def _pattern(exercise: str, plane_deg: float | None) -> Pattern:
    import math
    from dataclasses import replace

    from armarc.errors import UsageError
    from armarc.simulate import find_pattern

    pattern = find_pattern(exercise)
    if plane_deg is None:
        return pattern
    if pattern.about_vertical:
        raise UsageError(f"{exercise} has no plane of elevation to choose", "leave --plane out")
    return replace(pattern, plane_rad=math.radians(plane_deg))


def _check_target(out: Path, chest: bool, force: bool) -> None:
    from armarc.cli.outputs import guard_for
    from armarc.errors import UsageError
    from armarc.outputs import RECORDING

    if out.suffix.lower() != ".csv":
        raise UsageError(f"the recording's name must end in .csv, got {out.name!r}", f"try {out.stem}.csv")
    if not out.parent.is_dir():
        raise UsageError(f"there is no folder {str(out.parent)!r}", "make it first")
    guard = guard_for(force=True)
    targets = (out, out.with_suffix(".truth.json"), *([out.with_suffix(".chest.csv")] if chest else []))
    for path in targets:
        guard.check(path, RECORDING)  # not even by force over the log
    taken = [path for path in targets if path.exists()]
    if taken and not force:
        raise UsageError(f"{str(taken[0])!r} is already there", "choose another name or add --force")


def _check_seed(seed: int) -> None:
    from armarc.errors import UsageError

    if seed < 0:
        raise UsageError(f"a seed is 0 or more, got {seed}", "any whole number will do")


def _parse_gap(text: str) -> tuple[float, float]:
    from armarc.errors import UsageError

    try:
        at, length = (float(part) for part in text.split(":"))
    except ValueError:
        raise UsageError(
            f"expected a gap as AT:LENGTH in seconds, got {text!r}", "for example 5:0.3"
        ) from None
    return at, length


def _start_velocity(text: str | None, concentric_s: float, rom_deg: float | None) -> float | None:
    import math

    from armarc.errors import UsageError
    from armarc.simulate.rep_shape import SMALLEST_GATED_ROM_RAD, shortest_concentric_s

    if text is None:
        usual = math.radians(57)
        small = rom_deg is not None and math.radians(rom_deg) <= SMALLEST_GATED_ROM_RAD
        return None if small or concentric_s < shortest_concentric_s(usual) else usual
    if text == "free":
        return None
    try:
        return math.radians(float(text))
    except ValueError:
        raise UsageError(
            f"expected a start velocity in °/s or 'free', got {text!r}", "for example 57"
        ) from None


def _make(
    out: Path, options: SimulationOptions, seed: int, truth_series: bool, chest: bool, command: str
) -> None:
    from dataclasses import replace

    from armarc.cli.terminal import error_console
    from armarc.errors import UsageError
    from armarc.recording import write_csv
    from armarc.recording.captures import one_capture
    from armarc.simulate import plan_session, simulate_session, truth_path, write_truth

    talk = error_console()
    with talk.status("simulating …"):
        recording, truth = simulate_session(plan_session(options, seed), seed)
    metadata = recording.metadata
    metadata = replace(metadata, note=f"{metadata.note} Made with: {command}")
    recording = replace(recording, metadata=metadata)
    try:
        if chest:
            from armarc.simulate.session import simulate_chest

            recording, beside = one_capture(recording, simulate_chest(plan_session(options, seed), seed))
            write_csv(beside, out.with_suffix(".chest.csv"))
        write_csv(recording, out)
        write_truth(truth_path(out), truth, recording, file=out.name, series=truth_series)
    except OSError as error:
        raise UsageError(f"cannot write {str(out)!r}: {error.strerror}", "choose another place") from None
    lost = f", {len(recording.gaps)} gaps" if recording.gaps else ""
    clipped = int(recording.is_clipped.sum())
    lost += f", {clipped} clipped samples" if clipped else ""
    talk.print(
        f"wrote {out}: {len(truth.reps)} reps in {len(truth.sets)} set(s), {recording.duration_s:.1f} s at "
        f"{recording.rate_hz:g} Hz{lost}\n"
        f"wrote {truth_path(out)}: what really happened\n"
        "This data is invented: no person was measured.",
        markup=False,
        soft_wrap=True,
    )
