"""The pictures of ``armarc process``: the sets, one rep step by step, the load."""

from __future__ import annotations

import math
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING, Any

from armarc.errors import UsageError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from armarc.cli.recording_outputs import Measured, Outputs
    from armarc.outputs import Guard
    from armarc.reps import Rep


def draw(measured: Measured, path: Path, outputs: Outputs, guard: Guard) -> list[Path]:
    """Draw a recording: the set, or with several sets the session and each set beside it; and the load."""
    from armarc.report import draw_session, draw_set, save_figure
    from armarc.report.answers import session_answer, set_answer
    from armarc.report.sizes import in_size

    session, records = measured.session, measured.result.sets
    dark, size = outputs.dark, outputs.size
    if not session.motions:
        return []
    if outputs.steps is not None:
        return draw_steps_of(measured, path, outputs, guard)
    written = []
    if len(session.sets) != 1:

        def whole(width_in: float | None) -> Figure:
            return draw_session(session.motions, session.sets, width_in=width_in or 14.0, dark=dark)

        message = session_answer(records) if records else "No set found."
        save_figure(in_size(whole, size, message), path, guard)
        written.append(path)
    for index, (one, motion_number) in enumerate(zip(session.sets, session.motion_of_set, strict=True)):
        own = path if len(session.sets) == 1 else path.with_name(f"{path.stem}-set{one.set}{path.suffix}")

        def single(
            width_in: float | None, motion: Any = session.motions[motion_number], one: Any = one
        ) -> Figure:
            return draw_set(motion, one, exercise=session.choices.exercise, width_in=width_in, dark=dark)

        message = set_answer(one.reps, records[index].summary)
        save_figure(in_size(single, size, message), own, guard)
        written.append(own)
        if session.loads:
            written.append(draw_load(measured, index, own, outputs, guard))
    return written


def draw_steps_of(measured: Measured, path: Path, outputs: Outputs, guard: Guard) -> list[Path]:
    """Draw one rep of each set step by step."""
    from armarc.report import save_figure
    from armarc.report.sizes import in_size
    from armarc.report.step_figure import draw_steps

    session, number = measured.session, outputs.steps
    assert number is not None
    if all(number > len(one.reps) for one in session.sets):
        raise UsageError(f"--steps {number}: no set of {measured.path.name} has so many reps")
    written = []
    for one, index in zip(session.sets, session.motion_of_set, strict=True):
        if number > len(one.reps):
            continue
        own = path if len(session.sets) == 1 else path.with_name(f"{path.stem}-set{one.set}{path.suffix}")

        def draw_it(width_in: float | None, motion: Any = session.motions[index], one: Any = one) -> Figure:
            exercise = session.choices.exercise
            return draw_steps(motion, one, number, exercise=exercise, width_in=width_in, dark=outputs.dark)

        save_figure(in_size(draw_it, outputs.size, _step_message(one.reps[number - 1])), own, guard)
        written.append(own)
    return written


def _step_message(rep: Rep) -> str:
    """The title of the picture in another size."""
    if rep.start_velocity_rad_s is None:
        return f"Rep {rep.rep} in six steps"
    return f"Rep {rep.rep} started at {math.degrees(rep.start_velocity_rad_s):.0f} °/s"


def draw_load(measured: Measured, index: int, path: Path, outputs: Outputs, guard: Guard) -> Path:
    """Draw the shoulder's moment of one set beside its picture."""
    from armarc.report import save_figure
    from armarc.report.load_figures import draw_set_load
    from armarc.report.sizes import in_size

    own = path.with_name(f"{path.stem}-moment{path.suffix}")
    choices, load = measured.session.choices, measured.session.loads[index]
    facts = f"{choices.side} arm · set {measured.session.sets[index].set} · {load.resistance}"
    peaks = [rep.measures for rep in load.reps]
    message = (
        f"The moment about the shoulder peaks at {fmean(one.peak_moment_n_m for one in peaks):.0f} N·m, "
        f"at {math.degrees(fmean(one.peak_moment_at_rad for one in peaks)):.0f}°."
    )
    figure = in_size(
        lambda _: draw_set_load(load, title=choices.exercise.name, facts=facts, dark=outputs.dark),
        outputs.size,
        message,
    )
    save_figure(figure, own, guard)
    return own
