"""Single heavy reps: what few movements beside a set are, held against what the set's reps show.

A rep or two between picking up and putting down are too few to be known by their likeness to each other. Beside a set
that turns plainly about a shoulder they need not be: range, time, speed and what the sensor feels tell movement by
movement whether it is one more rep of that set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates, find_candidates
from armarc.reps.edges import DOUBT, SURE_WITHIN, FeltSet
from armarc.reps.joint import EXPLAINED, Joint, Joints
from armarc.reps.largest_run import GAIN, CountingRules, gains
from armarc.reps.likeness import Template, patterns_of, template_of
from armarc.reps.movements import FULL_SET
from armarc.reps.not_counted import stretches_beside
from armarc.reps.path import SensorPath, angle_about
from armarc.reps.rhythm import FEW, is_held_alike, is_steady
from armarc.reps.run import Run
from armarc.reps.runs import wobble_rad
from armarc.reps.singles import look_of_singles

PLAIN = 0.9
"""Share of what is felt that a turn in one plane explains where an arm turns plainly about its shoulder: 0.92 and more
in invented lifters who stand still (working limit)."""
LIKE = GAIN / 3
"""What adds less is less sure to be one: it begins or turns elsewhere (working limit)."""
SMALL = 2 * FULL_SET
"""A set of so few cannot be told from handling by itself."""


def judged_beside(
    path: SensorPath,
    runs: Sequence[Run],
    others: Sequence[Run],
    rules: CountingRules,
    known: Sequence[Template],
    joints: Joints,
    *,
    goes_on: bool,
) -> tuple[list[Run], list[Run]]:
    """Count the few reps of named raises that a plain set tells from handling, and leave out what it tells is none.

    Parameters
    ----------
    path : SensorPath
    runs, others : sequence of Run
        Sets, and what is none.
    rules : CountingRules
    known : sequence of Template
        Of sets seen before.
    joints : Joints
    goes_on : bool
        Whether what is plain here will tell what comes later.

    Returns
    -------
    runs, others : list of Run
        Sets in time order, and what of the others is still none; all as they are where no set is plain.
    """
    if path.acceleration_m_s2 is None or not rules.is_raise:
        return list(runs), list(others)
    done = list(runs)
    seen = [one for one in known if one.shown is not None]
    best = max(seen, key=lambda one: one.shown.reps if one.shown else 0, default=None)
    may_be_plain = _plain_in_plane(done, joints)
    if best is None and not any(run.size >= FULL_SET for run in done):
        best = look_of_singles(path, rules, joints)
        seen = [] if best is None else [best]
    if not (goes_on or seen or _has_beside(path, done, others, may_be_plain, rules)):
        return done, list(others)  # what the joint is decides nothing, and its fit takes longest
    main = next((k for k in may_be_plain if _is_plain(joints.of(done[k]))), None)
    if main is not None:
        felt = FeltSet.of(path, done[main])
        whole = tuple(k for k in range(done[main].size) if not felt.cut[k])
        look = replace(done[main].template, shown=felt.shown_by(whole))
        if best is None or best.shown is None or len(whole) >= best.shown.reps:
            best, done[main] = look, replace(done[main], template=look)
        else:
            main = None
    if best is None:
        return done, list(others)
    full = [run.template for run in done if run.size > SMALL]
    small = [run for k, run in enumerate(done) if k != main and _is_small(run, best)]
    found: list[Run] = []
    rest = [run for run in done if run not in small]
    for first, stop in stretches_beside(path, [*rest, *(run for run in others if run.is_walk)]):
        inside = [run for run in small if first <= run.first and run.last <= stop]
        told = _more_of(path, first, stop, best, inside, rules)
        for one in inside:
            if _is_vouched_for(one, full):
                told = _grown(one, told)
        found += told
    still = [run for run in others if not any(one.first < run.last and run.first < one.last for one in found)]
    return sorted([*rest, *found], key=lambda run: run.first), still


def _plain_in_plane(runs: Sequence[Run], joints: Joints) -> list[int]:
    """The places of sets that turn plainly in one plane, the largest first."""
    return [
        k
        for k in sorted(range(len(runs)), key=lambda k: (runs[k].size, k), reverse=True)
        if runs[k].size >= FULL_SET
        and runs[k].curve == "tilt"
        and joints.in_plane(runs[k])[1] >= PLAIN
        and sum(not (m.is_open or m.is_begun) for m in runs[k].movements) >= FULL_SET
    ]


def _is_plain(joint: Joint | None) -> bool:
    """Whether a set turns plainly about a shoulder."""
    return joint is not None and joint.is_arm and joint.explained >= EXPLAINED


def _has_beside(
    path: SensorPath, runs: Sequence[Run], others: Sequence[Run], plain: Sequence[int], rules: CountingRules
) -> bool:
    """Whether beside the only set that may be plain anything is like its reps."""
    if len(runs) != 1 or not plain:
        return bool(plain)
    run, walks = runs[0], [other for other in others if other.is_walk]
    return any(
        _alike(path, *stretch, run.sign * run.axis, run.template, rules) is not None
        for stretch in stretches_beside(path, [run, *walks])
    )


def _is_small(run: Run, best: Template) -> bool:
    """Whether a set is of so few that a plain one is asked."""
    is_cut = any(m.is_open or m.is_begun for m in run.movements)
    return run.size <= SMALL and not is_cut and run.template.is_same_exercise(best)


def _is_vouched_for(run: Run, full: Sequence[Template]) -> bool:
    """Whether a small set needs no plain one to be a set: just like a full one, or in a rhythm of its own."""
    if any(run.template.is_just_like(one) for one in full):
        return True
    return run.size > FEW and is_steady(run) and is_held_alike(run)


def _grown(one: Run, told: Sequence[Run]) -> list[Run]:
    """What a plain set told around a set that is one anyway: it may gain reps by that, and loses none to it."""
    around = [run for run in told if run.first <= one.last and one.first <= run.last]
    others = [run for run in told if run not in around]
    if len(around) != 1 or around[0].size <= one.size:
        return [*others, one]
    (larger,) = around
    movements = [
        replace(m, is_doubtful=False) if one.first <= m.top <= one.last else m for m in larger.movements
    ]
    return [*others, replace(larger, movements=tuple(movements))]


def _more_of(
    path: SensorPath, first: int, stop: int, best: Template, small: Sequence[Run], rules: CountingRules
) -> list[Run]:
    """The reps of a stretch as a plain set tells them; small runs that it cannot tell stay as they are, doubtful."""
    assert best.shown is not None
    found = _alike(path, first, stop, best.shown.axis, best, rules)
    if found is None:
        return list(small)
    seen, adds = found
    # What is slower and larger than the plain set, and like one another, is judged by what it felt.
    of_set = np.zeros(len(seen), dtype=np.bool_)
    for one in small:
        if is_steady(one) and is_held_alike(one):
            of_set |= (one.first <= seen.top) & (seen.top <= one.last)
    run = _run(seen, np.flatnonzero((adds > 0) | of_set).tolist(), best, 0.0)
    felt, alike = FeltSet.of(path, run), adds[list(run.members)].tolist()
    odds = [0.0 if felt.cut[k] else felt.judged(k, best.shown) for k in range(run.size)]
    was = [any(one.first <= m.top <= one.last for one in small) for m in run.movements]
    untold = [one for one in small if _is_untold(one, run, odds)]
    out = [
        one if is_steady(one) and is_held_alike(one) else replace(one, may_be_handling=True) for one in untold
    ]
    taken: list[list[int]] = []
    for k, member in enumerate(run.members):
        if not (odds[k] >= DOUBT or (was[k] and odds[k] > -DOUBT)):
            continue
        if any(one.first <= run.movements[k].top <= one.last for one in untold):
            continue
        if taken and seen.leaves_s[member] - seen.returns_s[run.members[taken[-1][-1]]] < rules.rest_s:
            taken[-1].append(k)
        else:
            taken.append([k])
    for part in taken:
        few = _run(seen, [run.members[k] for k in part], best, max(sum(odds[k] for k in part), DOUBT))
        # Who follow one another as reps do vouch for each other, however unlike the plain set they are.
        is_set = sum(odds[k] for k in part if of_set[run.members[k]]) >= SURE_WITHIN
        movements = [
            replace(
                m,
                is_doubtful=odds[k] < 0
                if is_set and of_set[run.members[k]]
                else odds[k] < SURE_WITHIN or alike[k] < LIKE,
            )
            for k, m in zip(part, few.movements, strict=True)
        ]
        out.append(replace(few, movements=tuple(movements)))
    return out


def _alike(
    path: SensorPath, first: int, stop: int, axis: FloatArray, best: Template, rules: CountingRules
) -> tuple[Candidates, FloatArray] | None:
    """Movements of a stretch and how much each is like a set's reps, where any is."""
    curve = angle_about(path.up[first:stop], axis)
    seen = find_candidates(path, curve, first, wobble_rad(best.range_rad), is_start=False, is_end=False)
    if seen is None:
        return None
    adds = gains(seen, patterns_of([best]), rules, (best,))[0]
    return (seen, adds) if (adds > 0).any() else None


def _is_untold(small: Run, run: Run, odds: Sequence[float]) -> bool:
    """Whether none of a small run's movements is surely a rep, nor each of them surely none."""
    its = [odd for odd, m in zip(odds, run.movements, strict=True) if small.first <= m.top <= small.last]
    return -DOUBT < max(its, default=0.0) < DOUBT


def _run(seen: Candidates, members: list[int], best: Template, score: float) -> Run:
    assert best.shown is not None
    return Run(
        score=score,
        rank=score,
        movements=tuple(seen.movement(k) for k in members),
        template=replace(template_of(seen, np.array(members)), reach_m=best.reach_m, shown=best.shown)
        if members
        else best,
        curve="tilt",
        sign=1.0,
        axis=best.shown.axis,
        candidates=seen,
        members=tuple(members),
    )
