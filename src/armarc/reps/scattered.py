"""Short sets that make none by themselves, told by each other: doubles and uneven triples of a raise that was named.

Two reps add up to less than what a first set costs, however alike, and so do three that differ; five such sets over a
recording do not. What falls short in one stretch is held for a set, and stays one where the stretches then hold more
of it than that takes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from armarc.reps.joint import Joints
from armarc.reps.likeness import Template
from armarc.reps.rhythm import is_steady
from armarc.reps.run import Run
from armarc.reps.run_cost import KNOWN_RUN_COST, RUN_COST

TRIED = 3
"""So many runs that fall short are held for a set, the best first (working limit)."""
FEWEST_SETS, DOUBLE = 2, 2

Left = dict[tuple[int, int], Run | None]
"""Stretches without a set, and the best run of each, which adds up to too little."""
Collect = Callable[[int, int, tuple[Template, ...]], list[Run]]
"""The runs of a stretch beside known sets."""


def scattered_sets(found: Sequence[Run], left: Left, collect: Collect, joints: Joints) -> list[Run]:
    """Sets that only together add up to an exercise.

    Parameters
    ----------
    found : sequence of Run
        Sets that do by themselves: beside a steady one of them the rest is handling.
    left : dict
    collect : callable
    joints : Joints
        A run that is hardly about a shoulder shows no raise.

    Returns
    -------
    list of Run
        Empty where the stretches hold no such sets.
    """
    if any(is_steady(run) and not run.is_walk for run in found):
        return []
    short = [
        run
        for run in left.values()
        if run is not None and _may_be_set(run) and run.score + run.cost > KNOWN_RUN_COST
    ]
    for run in sorted(short, key=lambda one: -one.score)[:TRIED]:
        joint = joints.of(run)
        if joint is None or joint.is_no_arm:
            continue
        more = [one for stretch in left for one in collect(*stretch, (run.template,))]
        alike = [one for one in more if _may_be_set(one) and one.template.is_more_of(run.template)]
        total = sum(one.score for one in alike) - (RUN_COST - KNOWN_RUN_COST)
        if len(alike) >= FEWEST_SETS and total > 0:
            # Each is as sure as all of them.
            return [replace(one, score=max(one.score, total)) for one in alike]
    return []


def _may_be_set(run: Run) -> bool:
    """Whether it is a double, which shows no rhythm, or keeps one: sips and scratches do not."""
    return not run.is_walk and (run.size == DOUBLE or is_steady(run))
