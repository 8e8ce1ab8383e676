"""Which runs are handling beside the main sets: another movement, and hurried."""

from __future__ import annotations

from dataclasses import replace

from armarc.reps.joint import may_be_raise
from armarc.reps.largest_run import GAIN, CountingRules
from armarc.reps.likeness import Template
from armarc.reps.rhythm import FEW, is_held_alike, is_steady
from armarc.reps.run import Run


def believable(runs: list[Run], rules: CountingRules, known: tuple[Template, ...]) -> list[Run]:
    """Leave out runs that are handling beside the main sets, and walking; of what nobody named they are doubtful.

    Parameters
    ----------
    runs : list of Run
        In time order.
    rules : CountingRules
    known : tuple of Template
        Sets seen before; the last one is then the main set.
    """
    if not runs:
        return runs
    of_reps = [run for run in runs if not (rules.is_named and run.template.is_stride)] or runs
    sizes = {id(run): run.size for run in runs}
    if rules.is_raise:
        # Curls and rotations say nothing of how quick a raise may be; sets of four alike are many reps.
        of_reps = [run for run in of_reps if may_be_raise(run.template)] or of_reps
        for run in of_reps:
            sizes[id(run)] = sum(one.size for one in of_reps if one.template.is_just_like(run.template))
    # Who drinks and scratches all through a rest may do so more often than the set has reps.
    of_reps = [run for run in of_reps if sizes[id(run)] > FEW and is_held_alike(run)] or of_reps
    most = max(run.score for run in of_reps) - GAIN  # who is one rep behind is no less a set
    largest = max((run for run in of_reps if run.score >= most), key=lambda run: run.template.range_rad)
    main = known[-1] if known else largest.template
    reps = [run for run in runs if not run.template.is_walk_beside(main)]
    if rules.is_named:
        return [run for run in reps if not _is_handling(run, main)]
    loose = [not is_held_alike(run) and _is_handling(run, main) for run in reps]
    return [
        replace(run, may_be_handling=run.may_be_handling or it) for run, it in zip(reps, loose, strict=True)
    ]


def _is_handling(run: Run, main: Template) -> bool:
    """Whether it is hurried handling beside the main sets; of what is surely another movement a little hurry tells."""
    look, steady = run.template, is_steady(run)
    is_other = not look.may_be(main) and look.is_quick_beside(main) and not steady
    is_set = run.size > FEW and steady and is_held_alike(run)
    return is_other or (look.is_handling_beside(main) and not is_set)
