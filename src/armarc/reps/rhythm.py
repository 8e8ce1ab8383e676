"""The rhythm of a set: what its pauses say of the movements at its ends."""

from __future__ import annotations

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.likeness import median
from armarc.reps.movements import FULL_SET
from armarc.reps.run import Run

RHYTHM_SPREAD, RHYTHM_S, RHYTHM_CAP = 0.7, 0.6, 4.0
"""Spread of the logarithm of a pause (with a little added) that is longer than the set's median."""
PROMPT = 1.5
"""A movement cut by the recording belongs to a set only when it follows within this many of its longest pauses."""
HELD_S = 0.3
FEW, MANY = 4, 10
"""A set of so few has shown no rhythm; so many times in a row nobody drinks (working limits)."""
LOOSE_UP, LONG_PAUSE = 0.2, 1.5
"""Standard deviation of the logarithm of the time up beyond which movements are not held alike, and how many times as
long as the movements the pauses of many may be (working limits)."""


def in_rhythm(
    found: Candidates, total: float, members: list[int], adds: FloatArray
) -> tuple[list[int], float]:
    """Take off what does not keep a set's rhythm at its ends, and what long pauses speak against it.

    A movement that the recording cuts has to keep it; a whole one at an end belongs to the set only when it is so
    like it that it adds more than the pause before or after it costs: a lift to a button is none of the reps.
    """
    cut = found.is_cut
    whole = [k for k in members if not cut[k]]
    if not whole:
        return [], total
    longest_up = float(found.up_s[whole].max()) + HELD_S
    pauses = found.leaves_s[whole[1:]] - found.returns_s[whole[:-1]]
    usual = PROMPT * max(float(pauses.max()) if len(pauses) else 0.0, HELD_S)
    a, b = 0, len(members)
    if cut[members[0]] and (
        found.up_s[members[0]] > longest_up
        or found.leaves_s[members[1]] - found.returns_s[members[0]] > usual
    ):
        a = 1
    if cut[members[-1]] and (
        found.up_s[members[-1]] > longest_up
        or found.leaves_s[members[-1]] - found.returns_s[members[-2]] > usual
    ):
        b -= 1
    costs = costs_of_pauses(found, members[a:b])
    while len(costs) > FULL_SET:
        if costs[0] > adds[a]:
            total -= float(adds[a])
            a += 1
        elif costs[-1] > adds[b - 1]:
            total -= float(adds[b - 1])
            b -= 1
        else:
            break
        costs = costs_of_pauses(found, members[a:b])
    return members[a:b], total - float(costs.sum())


def costs_of_pauses(found: Candidates, members: list[int]) -> FloatArray:
    """What speaks against each pause of a run: that it is longer than usual."""
    pauses = np.maximum(found.leaves_s[members[1:]] - found.returns_s[members[:-1]], 0.0)
    return cost_of_longer(pauses, RHYTHM_CAP)


def cost_of_longer(pauses_s: FloatArray, cap: float) -> FloatArray:
    """What speaks against each of a set's pauses that is longer than its median, at most half of `cap`."""
    if len(pauses_s) < 2:
        return np.zeros(len(pauses_s))
    longer = np.log((pauses_s + RHYTHM_S) / (median(pauses_s) + RHYTHM_S)) / RHYTHM_SPREAD
    return np.asarray(0.5 * np.minimum(np.maximum(longer, 0.0) ** 2, cap))


def is_steady(run: Run) -> bool:
    """Whether movements follow one another as reps do: waiting for less time than they take, held alike."""
    members = np.array(run.members)
    if len(members) < FULL_SET:
        return False
    found = run.candidates
    leaves, returns = found.leaves_s[members], found.returns_s[members]
    pause = median(np.maximum(leaves[1:] - returns[:-1], 0.0))
    lasting = median(returns - leaves)
    if len(members) >= MANY:
        return pause <= LONG_PAUSE * lasting
    return pause <= lasting and is_held_alike(run)


def is_held_alike(run: Run) -> bool:
    """Whether movements last alike above half their range."""
    return float(np.std(np.log(run.candidates.up_s[list(run.members)]))) <= LOOSE_UP
