"""Which movements at the ends of a set are none of its reps: picking up, racking, putting down, reaching.

They turn the sensor much as the reps do, so that the path of the vertical cannot tell. What the sensor feels can: an
arm that is raised the same way moves its sensor the same way, and an elbow that bends otherwise or a trunk that stoops
moves it elsewhere. The acceleration of a set's own reps, as a function of how their angle turns, says what a movement
at its end should have felt; that, range, time and speed are weighed as a rep of this set against as something else.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from armarc.motion import low_pass
from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.largest_run import CountingRules
from armarc.reps.likeness import TIME_SPREAD, TIRED_SPREAD
from armarc.reps.movements import FULL_SET, Movement
from armarc.reps.path import SensorPath, angle_about
from armarc.reps.rhythm import cost_of_longer
from armarc.reps.rounds import ROUND, roundness
from armarc.reps.run import Run
from armarc.reps.shown import Shown
from armarc.reps.strides import SMOOTHED_HZ, turning_of

AT_AN_END = 3
"""So many movements at each end of a set are looked at."""
DOUBT = 2.0
"""Log-odds (seven to one) from which a movement is taken for what it looks like; below, the count is not certain."""
SURE_WITHIN = 2 * DOUBT
"""The same of neighbours in the middle of a set: with reps on both sides a rep is likelier (working limit)."""
NOISE_M_S2 = 0.1
"""A residual below this tells nothing."""
LARGER = 3.0
"""Up to so many times the usual acceleration, the residual may be larger in proportion."""
CAP, TIME_CAP = 9.0, 4.0
SMALLER_COST = 2.0
"""A last rep that fails or a first one that tries out the weight is smaller: more than this is not held against it."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviation of a logarithm over reps at the ends of sets, beside the set's own; mean and deviation of
    the same over handling."""

    of_reps: float
    handling: float
    of_handling: float
    cap: float

    def evidence(self, miss: float, own: float = 0.0) -> float:
        """Log-likelihood ratio of a rep against handling.

        Further away than the cap nothing is likelier to be a rep again because handling is rarely so either.
        """
        spread = math.hypot(self.of_reps, own)
        furthest = math.sqrt(self.cap) * spread
        miss = min(max(miss, -furthest), furthest)
        as_rep, as_handling = miss / spread, (miss - self.handling) / self.of_handling
        return (
            math.log(self.of_handling / spread)
            - 0.5 * as_rep * as_rep
            + 0.5 * min(as_handling * as_handling, self.cap)
        )


FELT = Spread(0.3, 1.2, 0.9, CAP)
RANGE = Spread(0.12, -0.2, 0.5, CAP)
TIME = Spread(0.15, 0.0, 0.5, TIME_CAP)
HELD_BELOW = Spread(0.15, 0.0, 0.5, CAP)
"""Of a longer time in what is smaller than the others: who holds a rep holds it where the others end, who looks at a
watch or reaches for a weight anywhere."""
SPEED = Spread(0.18, 0.1, 0.6, TIME_CAP)
SLOWER = Spread(0.18 * TIRED_SPREAD / TIME_SPREAD, 0.1, 0.6, TIME_CAP)
"""Of a speed that is lower: the end of a set is tired, handling is quick."""
LEVER_TURNS = 0.17
"""What turning at another acceleration than the others' should feel is known up to this share of the difference: the
levers that the lower and the upper half of the range show point up to 10° apart on people."""
RANK = 3 * float(np.finfo(np.float64).eps)
"""What of a turning is less than this share of the rest tells nothing of a lever."""
FILLED_SHARE = 0.25
"""A way up or down of which more was filled in over a gap is not judged (working limit)."""
SLOWS_S, SLOWED = 0.2, 0.05
"""A movement that was cut had reached its top where it went on by less than this share of its way in so long: the last
fifth of a smooth second-long raise."""
OUTER_COST = 2.0
"""The first way up begins, and the last way down ends, in what came before and goes on after the set: more than this
is not held against them."""


def judged_inside(
    path: SensorPath, run: Run, rules: CountingRules
) -> tuple[list[Run], list[tuple[int, int]]]:
    """Take off the ends of a set and out of its middle what is none of its reps, and mark what may be none.

    Parameters
    ----------
    path : SensorPath
    run : Run
    rules : CountingRules

    Returns
    -------
    sets : list of Run
        The set, or the sets that it was. Their movements that may be none of their reps are `is_doubtful`.
    taken_off : list of (first, stop)
        Samples of the path of each movement that was taken off an end.
    """
    if path.acceleration_m_s2 is None or run.size <= FULL_SET:
        return [run], []
    seen = FeltSet.of(path, run)
    bounded, off = _judge_ends(seen, run)
    if bounded.size <= 2 * FULL_SET:
        return [bounded], off
    return _judge_middle(FeltSet.of(path, bounded) if off else seen, bounded, rules), off


def _judge_ends(seen: FeltSet, run: Run) -> tuple[Run, list[tuple[int, int]]]:
    n = run.size
    at_most = min(AT_AN_END, n - FULL_SET)
    first, doubted_first = _cut(seen.evidence([(k, range(k, n)) for k in range(at_most)], 1))
    at_most = min(AT_AN_END, n - first - FULL_SET)
    back = [n - 1 - k for k in range(at_most)]
    last, doubted_last = _cut(seen.evidence([(k, range(first, k + 1)) for k in back], -1))
    doubted = {*range(first, doubted_first), *back[last:doubted_last]}
    movements = tuple(replace(m, is_doubtful=k in doubted) for k, m in enumerate(run.movements))
    off = movements[:first] + movements[n - last :]
    kept = slice(first, n - last)
    return (
        replace(run, movements=movements[kept], members=run.members[kept]),
        [(m.bottom, m.bottom_after + 1) for m in off],
    )


def _judge_middle(seen: FeltSet, run: Run, rules: CountingRules) -> list[Run]:
    """What is left of a set: a weight that is racked and another one picked up are none of its reps.

    Where that leaves a rest, the set ends there. Of what nobody named nothing is left out.
    """
    n = run.size
    against = -np.minimum(seen.evidence([(k, range(n)) for k in range(1, n - 1)]), 0.0)
    edges = np.flatnonzero(np.diff((against > 0).astype(np.int8), prepend=0, append=0)) + 1
    off: set[int] = set()
    may_be: set[int] = set()
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        odds = float(against[a - 1 : b - 1].sum())
        if odds >= SURE_WITHIN and rules.is_named:
            off |= {*range(a, b)}
        elif odds >= DOUBT:
            may_be |= {*range(a, b)}
    if not (off or may_be):
        return [run]
    kept = [k for k in range(n) if k not in off]
    leaves, returns = run.candidates.leaves_s, run.candidates.returns_s
    parts: list[list[int]] = [[]]
    for k in kept:
        before = parts[-1][-1] if parts[-1] else k
        if leaves[run.members[k]] - returns[run.members[before]] >= rules.rest_s:
            parts.append([])
        parts[-1].append(k)
    movements = [replace(m, is_doubtful=m.is_doubtful or k in may_be) for k, m in enumerate(run.movements)]
    return [
        replace(
            run,
            movements=tuple(movements[k] for k in part),
            members=tuple(run.members[k] for k in part),
        )
        for part in parts
    ]


def doubted(run: Run, *, is_all: bool, is_alone: bool) -> Run:
    """A set whose movements may be none of its reps: all of it, or circles beside what comes back the way it went.

    A set of nothing but circles is doubtful beside other sets; alone it is what somebody does who named nothing.
    """
    is_round = roundness(run.candidates.take(np.array(run.members))) > ROUND
    if is_alone and is_round.mean() > 0.5:
        is_round[:] = False
    if not (is_all or is_round.any()):
        return run
    movements = [
        replace(m, is_doubtful=m.is_doubtful or is_all or bool(r))
        for m, r in zip(run.movements, is_round, strict=True)
    ]
    return replace(run, movements=tuple(movements))


def _cut(evidence: list[float]) -> tuple[int, int]:
    """How many movements from an end inward are surely none of its reps, and up to which they may be none."""
    against = np.concatenate([[0.0], -np.cumsum(evidence)])
    best = int(np.argmax(against))
    if against[best] < DOUBT:
        best = 0
    return best, int(np.flatnonzero(against > against[best] - DOUBT)[-1])


@dataclass(frozen=True, slots=True)
class FeltSet:
    """A set's movements, n of them, and what they felt.

    ``products``, shape (n, 2 ways, 6, 6), are the mean products of what is known of every sample on the way up and
    down: the angle's acceleration, its squared rate, a one, and the acceleration beside gravity that was felt;
    ``samples`` is how many these are; ``cut`` movements were not recorded whole: an end of the recording leaves one of
    their ways, and what was filled in over a gap, or cut before it reached its top, was ``hardly_seen``. ``logs``,
    shape (3, n), are the logarithms of range, time up and speed. ``shown`` is what some of its reps show and ``left``
    what a lever leaves, worked out once: most movements are compared with the same ones.
    """

    candidates: Candidates
    members: np.ndarray
    movements: tuple[Movement, ...]
    products: FloatArray
    samples: np.ndarray
    cut: tuple[bool, ...]
    hardly_seen: tuple[bool, ...]
    axis: FloatArray
    logs: FloatArray
    shown: dict[tuple[int, ...], Shown] = field(default_factory=dict)
    left: dict[bytes, FloatArray] = field(default_factory=dict)

    @classmethod
    def of(cls, path: SensorPath, run: Run) -> FeltSet:
        assert path.acceleration_m_s2 is not None
        begin, stop = run.first, run.last + 1
        angle = (
            run.sign * path.yaw_rad[begin:stop]
            if run.curve == "yaw"
            else run.sign * angle_about(path.up[begin:stop], run.axis)
        )
        felt = low_pass(path.acceleration_m_s2[begin:stop], path.rate_hz, SMOOTHED_HZ)
        known = np.hstack([turning_of(angle, path.rate_hz), felt])
        ways = [
            slice(a - begin, b - begin + 1)
            for m in run.movements
            for a, b in ((m.bottom, m.top), (m.top, m.bottom_after))
        ]
        samples = np.array([way.stop - way.start for way in ways])
        products = np.array([known[way].T @ known[way] for way in ways]) / samples[:, None, None]
        hardly = [_is_on_the_way(m, angle, begin, path.rate_hz) for m in run.movements]
        if path.missing is not None:
            filled = [bool(path.missing[begin:stop][way].mean() > FILLED_SHARE) for way in ways]
            hardly = [any(each) for each in zip(hardly, filled[::2], filled[1::2], strict=True)]
        found, members = run.candidates, np.array(run.members)
        return cls(
            candidates=found,
            members=members,
            movements=run.movements,
            products=products.reshape(-1, 2, 6, 6),
            samples=samples.reshape(-1, 2),
            cut=tuple(m.is_open or m.is_begun or few for m, few in zip(run.movements, hardly, strict=True)),
            hardly_seen=tuple(hardly),
            axis=run.sign * run.axis,
            logs=np.log([found.range_rad[members], found.up_s[members], found.speed_rad_s[members]]),
        )

    def _others(self, k: int, among: range) -> tuple[int, ...]:
        """Those that show what a rep of the set is: far from the ends, where there are enough."""
        n = len(self.members)
        inner = tuple(j for j in range(AT_AN_END, n - AT_AN_END) if j != k and not self.cut[j])
        if len(inner) > FULL_SET:
            return inner
        return tuple(j for j in among if j != k and not self.cut[j])

    def evidence(self, each: Sequence[tuple[int, range]], inward: int = 0) -> list[float]:
        """Log-odds that some movements are reps, as those among which each is show.

        1 or -1 leads inward from an end at which they are, 0 is in the middle.
        """
        others = [self._others(k, among) for k, among in each]
        unseen = self.hardly_seen if inward else self.cut
        told = [not unseen[k] and len(these) >= FULL_SET for (k, _), these in zip(each, others, strict=True)]
        self._show(these for these, is_told in zip(others, told, strict=True) if is_told)
        return [
            self.judged(k, self.shown[these], inward) if is_told else math.inf
            for (k, _), these, is_told in zip(each, others, told, strict=True)
        ]

    def judged(self, k: int, shown: Shown, inward: int = 0) -> float:
        """The same, as some reps show that need not be of this set."""
        larger, longer, faster = (self.logs[:, k] - shown.usual).tolist()
        own = shown.scatter.tolist()
        total = RANGE.evidence(larger, own[0])
        longer += faster - larger  # a slow rep is up for longer, part of the way for less
        if larger < 0:
            total = max(total, -SMALLER_COST)
            if inward <= 0:  # part of the way in the same time is slower: a last rep that fails, low ones
                faster = _beyond(faster, larger)
        if longer > 0 or not self.cut[k]:  # of what is cut: so far
            is_below = longer > 0 and larger < -math.hypot(RANGE.of_reps, own[0])
            total += (HELD_BELOW if is_below else TIME).evidence(longer, own[1])
        if not self.movements[k].is_begun:
            total += (SPEED if faster > 0 else SLOWER).evidence(faster, own[2])
        was_not_seen = self.movements[k].is_begun, self.movements[k].is_open
        rise, fall = (
            0.0 if unseen else FELT.evidence(max(ratio, 0.0))
            for unseen, ratio in zip(was_not_seen, self._felt_beyond(k, shown), strict=True)
        )
        if inward == 0:
            return total + rise + fall
        outer, inner = (rise, fall) if inward > 0 else (fall, rise)
        total += max(outer, -OUTER_COST) + inner
        return total - self._pause_cost(k, inward)

    def _felt_beyond(self, k: int, shown: Shown) -> list[float]:
        """Logarithms of how much more of what was felt going up and down is left unexplained than in others."""
        key, beyond = shown.lever.tobytes(), []
        if key not in self.left:
            self.left[key] = self._left(shown.lever[None])[:, 0]
        felt = zip(*self.left[key][:, k].tolist(), shown.left.tolist(), shown.expected.tolist(), strict=True)
        for left, expected, usually_left, usual in felt:
            larger = min(max(expected / max(usual, 1e-2), 1.0), LARGER)
            unknown = math.hypot(LEVER_TURNS * (expected - usual), NOISE_M_S2)
            beyond.append(math.log(max(left, 1e-6) / math.hypot(usually_left * larger, unknown)))
        return beyond

    def shown_by(self, others: tuple[int, ...]) -> Shown:
        """What some of the movements show."""
        self._show([others])
        return self.shown[others]

    def _show(self, groups: Iterable[tuple[int, ...]]) -> None:
        """Work out what groups of the movements show, those of one size at once."""
        new = [others for others in dict.fromkeys(groups) if others not in self.shown]
        for size in {len(others) for others in new}:
            alike = [others for others in new if len(others) == size]
            rows = np.array(alike)
            total = np.einsum("gow,gowij->gij", self.samples[rows], self.products[rows])
            lever = np.linalg.pinv(total[:, :3, :3], rcond=RANK, hermitian=True) @ total[:, :3, 3:]
            felt = self._left(lever)
            each = np.arange(len(alike))[:, None]
            left, expected = (_medians(one[each, rows].swapaxes(1, 2)) for one in felt)
            logs = self.logs[:, rows].swapaxes(0, 1)
            usual = _medians(logs)
            scatter = 1.4826 * _medians(np.abs(logs - usual[:, :, None]))
            for g, others in enumerate(alike):
                one = Shown(size, self.axis, usual[g], scatter[g], lever[g], left[g], expected[g])
                self.shown[others] = one
                self.left[one.lever.tobytes()] = felt[:, g]

    def _left(self, levers: FloatArray) -> FloatArray:
        """Root mean squares of what is left and of what is expected: (2, levers, n movements, ways up and down)."""
        turning, both = self.products[..., :3, :3], self.products[..., :3, 3:]
        felt = np.trace(self.products[..., 3:, 3:], axis1=2, axis2=3)
        lever = levers[:, None, None]
        expected = ((turning @ lever) * lever).sum(axis=(3, 4))
        left = felt + expected - 2 * (both * lever).sum(axis=(3, 4))
        return np.sqrt(np.maximum([left, expected], 0.0))

    def _pause_cost(self, k: int, inward: int) -> float:
        """What the pause towards the set's middle costs where it is longer than usual."""
        leaves, returns = self.candidates.leaves_s[self.members], self.candidates.returns_s[self.members]
        costs = cost_of_longer(np.maximum(leaves[1:] - returns[:-1], 0.0), CAP)
        return float(costs[k if inward > 0 else k - 1])


def _is_on_the_way(m: Movement, angle: FloatArray, begin: int, rate_hz: float) -> bool:
    """Whether a movement was cut on its way up (or, at the start, on its way down), before it slowed to its top."""
    if m.top != (m.bottom_after if m.is_open else m.bottom):
        return False
    other = m.top + (-1 if m.is_open else 1) * round(SLOWS_S * rate_hz)
    other = min(max(other, m.bottom), m.bottom_after)
    return bool(angle[m.top - begin] - angle[other - begin] > SLOWED * max(m.rise_rad, m.fall_rad))


def _medians(values: FloatArray) -> FloatArray:
    """Medians along the last axis; NumPy's own takes several times as long."""
    ordered, half = np.sort(values, axis=-1), values.shape[-1] // 2
    middle = ordered[..., half - 1 + values.shape[-1] % 2 : half + 1]
    return np.asarray(middle.mean(axis=-1))


def _beyond(miss: float, smaller: float) -> float:
    """What of a negative miss a smaller range does not explain."""
    return miss if miss >= 0 else min(miss - smaller, 0.0)
