"""What movements have to add up to before they are a set: less where sets like them stand in the same recording."""

from __future__ import annotations

from collections.abc import Iterable

from armarc.reps.largest_run import GAIN
from armarc.reps.likeness import Template
from armarc.reps.run import Run

RUN_COST = 7.0
"""What a set costs: three look-alikes make one, two do not."""
OTHER_RUN_COST = 3 * GAIN
"""Beside sets that have been seen, three movements of another kind are handling, however alike; four are a set."""
SAME_RUN_COST = 6.0
"""Three less alike do where the exercise may have been seen already, two never do, unless they are more of a set that
has been seen: they add up to no more."""
KNOWN_RUN_COST = 4.0
"""What a set costs that is more of one that has been seen."""


def cost_beside(template: Template, other: Template) -> float:
    """What a set costs that looks so where another one has been seen."""
    if template.is_more_of(other):
        return KNOWN_RUN_COST
    may_be = template.may_be(other) and not template.is_quick_beside(other)
    return SAME_RUN_COST if may_be or template.is_same_exercise(other) else OTHER_RUN_COST


def score_among(run: Run, others: Iterable[Template]) -> float:
    """A set's score had the others been seen before it: the first of several alike is no less a set than the rest.

    Parameters
    ----------
    run : Run
    others : iterable of Template
        The other sets of the recording, and those seen before it.
    """
    return run.score + max(
        0.0, run.cost - min((cost_beside(run.template, one) for one in others), default=run.cost)
    )
