"""The best-scored run of look-alike movements in a stretch.

Every candidate is tried as the pattern of a set. A movement like it adds to the score, one in between that is unlike
it takes away, a long rest ends the run (`armarc.reps.largest_run`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from armarc.recording import BoolArray, FloatArray
from armarc.reps.candidates import Candidates, candidates_of, find_candidates
from armarc.reps.largest_run import GAIN, CountingRules, gains, largest_run, largest_runs, losses
from armarc.reps.likeness import (
    Template,
    each_alone,
    patterns_of,
    resting_share,
    swings,
    template_of,
    unlikeness,
)
from armarc.reps.path import SensorPath, angle_about, furthest_axes, rests_within, turning_axis
from armarc.reps.rhythm import in_rhythm
from armarc.reps.rounds import circles
from armarc.reps.run import Run
from armarc.reps.run_cost import KNOWN_RUN_COST, OTHER_RUN_COST, RUN_COST, cost_beside
from armarc.reps.seen import Seen, rests_beside_run
from armarc.reps.settling import Samples
from armarc.reps.turning import Turns, coarser, turns_of

REST_BONUS = 1.5
"""Before and after a set the arm rests at the bottom: for each side where the nearest rest lies there, and against
the run where it lies at the top."""
RESTING, LONGEST_HOLD = 2.5, 2.0
"""Who stays up for a rest's time and so many times as long as in the other reps is resting there, unless the arm rests
at the bottom before and after the run; for twice a rest's time nobody is away from it."""
HYSTERESES_RAD = tuple(math.radians(x) for x in (5, 8, 13, 21, 34))
"""Sizes of movements looked for; a set is found at the one that suits it."""
MOST_PATTERNS = 3
"""So many of the best patterns are looked at with the median of what is like them."""
LOOKS = 3
"""How often a run is looked at again, each time about the axis and with the scale that it showed."""
PLAIN_SET, PLAIN_GAIN = 6, 2 * GAIN / 3
"""So many movements that add so much each are plainly a set like a known one (working limits)."""
HYSTERESIS_SHARE = 0.3
"""Within a set, a reversal smaller than this share of its range is a wobble, a pulse or a double top."""


def best_run(
    path: SensorPath,
    first: int,
    stop: int,
    rules: CountingRules,
    known: tuple[Template, ...] = (),
) -> Run | None:
    """Find the best run of a stretch, then look again with its own axis and scale.

    Where no set is known yet and nothing makes one about the axis that the stretch turns about furthest, the next one
    is tried: handling on both sides of a short set turns further than its reps.

    Parameters
    ----------
    path : SensorPath
    first, stop : int
        Half-open range of samples of the path.
    rules : CountingRules
    known : tuple of Template
        Sets found already.

    Returns
    -------
    Run or None
        With a score that may be negative: too little for a set.
    """
    alike: list[tuple[Template, FloatArray]] = []
    for one, axis in _axes_of_known(rules, known):
        is_alike, found = _like_known(path, first, stop, one, axis, rules)
        if is_alike:
            alike.append((one, axis))
        if found is not None:
            plain = _looked_at_again(path, first, stop, found, rules, known, knows_bottom=True)
            if plain is not found:
                return plain
    axes = furthest_axes(path, first, stop)
    if axes is None:  # all of it turns about the vertical, or nothing moves
        axes = np.eye(3)[:1]
    best = _best_about(path, first, stop, axes[0], rules, known)
    if not known and len(axes) > 1 and (best is None or best.score <= 0):
        other = _best_about(path, first, stop, axes[1], rules, known)
        if other is not None and (best is None or other.score > best.score):
            best = other
    return _or_more_of_known(path, first, stop, best, alike, rules, known)


def _axes_of_known(
    rules: CountingRules, known: tuple[Template, ...]
) -> Iterator[tuple[Template, FloatArray]]:
    """The newest known set of every exercise that does not turn about the vertical, and the axis it turns about."""
    rest: tuple[Template, ...] = known[::-1] if "tilt" in rules.curves else ()
    while rest:
        one, rest = rest[0], tuple(other for other in rest[1:] if not other.is_same_exercise(rest[0]))
        axis = one.level_axis
        if axis is not None:
            yield one, axis


def _like_known(
    path: SensorPath, first: int, stop: int, one: Template, axis: FloatArray, rules: CountingRules
) -> tuple[bool, Run | None]:
    """Whether any movement of a stretch, whichever end is its bottom, is like a set's reps; and a full set of these.

    Who lifts goes on with the same, and so its next set is found in a fraction of the time. What is not plainly one
    has to show itself beside everything else.
    """
    curve = angle_about(path.up[first:stop], axis)
    turns = turns_of(curve, wobble_rad(one.range_rad))
    is_start, is_end = rules.starts and first == 0, rules.ends and stop == len(path)
    ways = candidates_of(path, curve, first, [turns], (1.0, -1.0), is_start=is_start, is_end=is_end)
    pattern, is_alike, plain = patterns_of([one]), False, None
    for sign, found, (rows, *_) in ways:
        adds = gains(found, pattern, rules, (one,))[0]
        is_alike |= bool((adds > 0).any())
        if sign > 0 or not is_alike:
            continue  # the vertical turns the other way in the sensor than the sensor
        best = largest_run(
            found.take(rows), adds[rows], losses(found.take(rows), one.range_rad), rules.rest_s
        )
        if best is None or len(best[1]) < PLAIN_SET or best[0] < PLAIN_GAIN * len(best[1]):
            continue
        members = rows[best[1]]
        look = template_of(found, members)
        if look.is_more_of(one) and one.is_more_of(look):
            seen = Seen(path, "tilt", sign, axis, sign * curve, first, rests_within(path, first, stop))
            cost = KNOWN_RUN_COST
            plain = seen.run(found, best[0], cost, best[0] - cost, members.tolist(), look)
    return is_alike, plain


def _or_more_of_known(
    path: SensorPath,
    first: int,
    stop: int,
    best: Run | None,
    alike: list[tuple[Template, FloatArray]],
    rules: CountingRules,
    known: tuple[Template, ...],
) -> Run | None:
    """A run, or a better one about the axis of a known set: where handling turns further, another axis hides it.

    It has to be more of that set and to make one by itself: in handling there is always something a little like it.
    """
    for one, axis in alike:
        if best is not None and best.template.is_same_exercise(one):
            continue
        other = _best_about(path, first, stop, axis, rules, known)
        if other is None or not _is_set_beside(other, one):
            continue
        if best is None or other.score > best.score:
            best = other
    return best


def _is_set_beside(run: Run, known: Template) -> bool:
    """Whether a run about a known set's axis makes a set by itself and may be more of that one, if not as large."""
    look = run.template
    if not look.may_be(known) or look.is_quick_beside(known):
        return False
    least = RUN_COST if look.is_same_exercise(known) else OTHER_RUN_COST
    return run.score + cost_beside(look, known) > least


def _best_about(
    path: SensorPath,
    first: int,
    stop: int,
    axis: FloatArray,
    rules: CountingRules,
    known: tuple[Template, ...],
) -> Run | None:
    found = _search(path, first, stop, axis, rules, known, HYSTERESES_RAD)
    return None if found is None else _looked_at_again(path, first, stop, found, rules, known)


def wobble_rad(range_rad: float) -> float:
    """Smallest reversal that is more than a wobble within a set of some range."""
    return max(HYSTERESIS_SHARE * range_rad, HYSTERESES_RAD[0])


def _looked_at_again(
    path: SensorPath,
    first: int,
    stop: int,
    found: Run,
    rules: CountingRules,
    known: tuple[Template, ...],
    *,
    knows_bottom: bool = False,
) -> Run:
    """A run as its own axis and scale show it."""
    for look in range(LOOKS):
        # One more movement, however long, after the longest pause of a set.
        longest = max(m.bottom_after - m.bottom for m in found.movements)
        margin = math.ceil(rules.rest_s * path.rate_hz) + longest
        near = max(first, found.first - margin), min(stop, found.last + 1 + margin)
        own = turning_axis(path, found.first, found.last + 1)
        own = found.axis if own is None else own if float(own @ found.axis) > 0 else -own
        narrow = replace(rules, curves=(found.curve,))
        # About the axis of a walk before it a set's ends look alike: its own axis tells which one is the bottom.
        signs = (found.sign,) if look or knows_bottom else (1.0, -1.0)
        again = _search(path, *near, own, narrow, known, (wobble_rad(found.template.range_rad),), signs)
        if again is None or again.score < found.score - GAIN / 2 or again.size < found.size:
            break
        is_same = [m.top for m in again.movements] == [m.top for m in found.movements]
        found = again
        if is_same:
            break
    return found


def run_of_newest(path: SensorPath, since: int, axis: FloatArray, rules: CountingRules) -> Run | None:
    """The newest whole movement with those like it right before it.

    Parameters
    ----------
    path : SensorPath
    since : int
        Sample of the path after which the movement's top lies.
    axis : ndarray, shape (3,)
        Sensor axis it turns about.
    rules : CountingRules

    Returns
    -------
    Run or None
        None when no movement has come back since.
    """
    for name in rules.curves:
        curve = angle_about(path.up, axis) if name == "tilt" else path.yaw_rad
        part = curve[since:]
        scale = wobble_rad(float(np.ptp(part)))
        # It left where it came back to: the end nearer to both.
        sign = 1.0 if abs(part[0] - part.min()) + abs(part[-1] - part.min()) < float(np.ptp(part)) else -1.0
        found = find_candidates(path, sign * curve, 0, scale, is_start=True, is_end=False)
        if found is None or found.top[-1] < since or found.is_cut[-1]:
            continue
        newest = len(found) - 1
        rests = rests_within(path, 0, len(path))
        if swings(found, resting_share(found, sign * curve, 0, rests, path.rate_hz))[newest] or (
            rules.is_named and circles(found)[newest]
        ):
            return None
        template = template_of(found, np.array([newest]))
        like = GAIN - unlikeness(found, patterns_of([template]))[0] > 0
        members = [newest]
        for k in range(newest - 1, -1, -1):
            apart = found.leaves_s[members[0]] - found.returns_s[k]
            if not like[k] or found.is_cut[k] or apart >= rules.rest_s:
                break
            members.insert(0, k)
        return Seen(path, name, sign, axis, sign * curve, 0, rests).run(
            found, 0.0, 0.0, 0.0, members, template
        )
    return None


def _search(
    path: SensorPath,
    first: int,
    stop: int,
    axis: FloatArray,
    rules: CountingRules,
    known: tuple[Template, ...],
    hystereses_rad: tuple[float, ...],
    signs: tuple[float, ...] = (1.0, -1.0),
) -> Run | None:
    rests = rests_within(path, first, stop)
    is_start, is_end = rules.starts and first == 0, rules.ends and stop == len(path)
    best: Run | None = None
    for name in rules.curves:
        curve = angle_about(path.up[first:stop], axis) if name == "tilt" else path.yaw_rad[first:stop]
        sizes = _turns_of_each_size(curve, hystereses_rad)
        ways = candidates_of(path, curve, first, sizes, signs, is_start=is_start, is_end=is_end)
        for sign, found, of_sizes in ways:
            seen = Seen(path, name, sign, axis, sign * curve, first, rests)
            best = _best_of_sizes(seen, found, of_sizes, rules, known, best)
    return best


def _turns_of_each_size(curve: FloatArray, hystereses_rad: tuple[float, ...]) -> list[Turns]:
    """The turning points of a curve at rising hystereses, each list once."""
    sizes = [turns_of(curve, hystereses_rad[0])]
    for hysteresis in hystereses_rad[1:]:
        turns = coarser(sizes[-1], hysteresis)
        if len(turns.at) < len(sizes[-1].at):
            sizes.append(turns)
    return sizes


def _best_of_sizes(
    seen: Seen,
    found: Candidates,
    of_sizes: list[Samples],
    rules: CountingRules,
    known: tuple[Template, ...],
    best: Run | None,
) -> Run | None:
    """The best run among the candidates of each size of movement, if it is better than the best one so far."""
    rows = np.concatenate(of_sizes)
    in_rows = found.take(rows)
    resting = resting_share(found, seen.curve, seen.first, seen.rests, seen.path.rate_hz)
    walking = swings(in_rows, resting[rows])
    if rules.is_named:
        walking |= circles(in_rows)
    may_lead = ~found.is_cut
    if rules.arm_axis is not None:
        may_lead &= (seen.path.up[found.bottom] - seen.path.up[found.top]) @ rules.arm_axis < 0
    leads = may_lead[rows] & ~walking
    is_pattern = np.zeros(len(found), dtype=np.bool_)
    is_pattern[rows[leads]] = True
    patterns = is_pattern.nonzero()[0]
    gain = gains(found, each_alone(found, patterns), rules, known)
    looks: list[tuple[Candidates, Samples, BoolArray, list[tuple[int, ...]]]] = []
    templates: dict[tuple[int, ...], tuple[int, Template, float]] = {}
    stop = 0
    for each in of_sizes:
        part = slice(stop, stop := stop + len(each))
        one, own = in_rows.take(part), each[leads[part]]
        adds = gain[np.searchsorted(patterns, own)[:, None], each]
        adds[:, walking[part]] = -np.inf
        runs = largest_runs(one, adds, found.range_rad[own], rules.rest_s, MOST_PATTERNS)
        alike = list(dict.fromkeys(tuple(each[members].tolist()) for members in runs))
        for of in alike:
            if of not in templates:
                template = template_of(found, np.array(of))
                cost = min((cost_beside(template, other) for other in known), default=RUN_COST)
                templates[of] = len(templates), template, cost
        looks.append((one, each, walking[part], alike))
    if not templates:
        return best
    gain = gains(found, patterns_of([template for _, template, _ in templates.values()]), rules, known)
    for one, each, walks, alike in looks:
        for row, template, cost in map(templates.__getitem__, alike):
            best = _best_like(seen, one, walks, template, cost, gain[row, each], rules, best)
    return best


def _best_like(
    seen: Seen,
    found: Candidates,
    walking: BoolArray,
    template: Template,
    cost: float,
    adds: FloatArray,
    rules: CountingRules,
    best: Run | None,
) -> Run | None:
    """The best run like a template, to which each candidate adds so much, if better than the best one so far."""
    cut = found.is_cut
    bonus = REST_BONUS if rules.running is not None and template.is_same_exercise(rules.running) else 0.0
    longest_s = LONGEST_HOLD * rules.rest_s
    is_rest = (found.returns_s - found.leaves_s >= longest_s) & ~cut
    held = (found.up_s >= min(max(rules.rest_s, RESTING * template.up_s), longest_s)) & ~cut | is_rest
    for hopeless in (walking, walking | held):
        likely = np.where(hopeless, -np.inf, adds)
        again = largest_run(found, likely, losses(found, template.range_rad), rules.rest_s)
        if again is None or (best is not None and again[0] - cost + bonus + 2 * REST_BONUS <= best.rank):
            return best  # rests add no more, a rhythm nothing
        kept, score = in_rhythm(found, *again, likely[again[1]])
        if not kept:
            return best
        resting = rests_beside_run(seen, found, kept)
        if not resting and not rules.has_bottom and len(kept) > 2 and cut[kept[0]] and cut[kept[-1]]:
            # Seen from the other end the two halves are one whole rep less: together they count as one.
            kept = kept[1:] if found.seen_rad[kept[0]] < found.seen_rad[kept[-1]] else kept[:-1]
        at_rest = REST_BONUS * sum(resting)
        if not held[kept].any() or (at_rest > 0 and not is_rest[kept].any()):
            break
    rank = score - cost + bonus + at_rest
    return (
        best
        if best is not None and rank <= best.rank + 1e-9
        else seen.run(found, score, cost, rank, kept, template)
    )
