"""Left and right: their difference as one number; both lifted together, a sensor on each, rep beside rep."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import TYPE_CHECKING

import numpy as np

from armarc.log import special
from armarc.measures import column
from armarc.recording import FloatArray
from armarc.reps.types import Rep

if TYPE_CHECKING:
    from armarc.log.reading import LoggedSet


DEFINITION = "symmetry index = 100·(right − left) / ((right + left)/2); + means more on the right"
CAUTION = (
    "No border separates good from bad: the often quoted 15 % is an older convention with little support "
    "(Bishop et al. 2018, Strength Cond J 40(4):1-6). What one elbow or one strap does in every session looks like a "
    "difference between the sides."
)


def symmetry_index(left: float, right: float) -> float:
    """100·(R − L)/(½(R + L)), in % (Robinson et al. 1987, J Manipulative Physiol Ther 10:172, from memory)."""
    return 100 * (right - left) / (0.5 * (right + left))


@dataclass(frozen=True, slots=True, kw_only=True)
class Asymmetry:
    """Symmetry index over repeated sessions.

    Parameters
    ----------
    sessions : int
        How many pairs: of sessions, or of lifters where `of` says so.
    index_pct : float
        Mean of their indices.
    low_pct, high_pct : float or None
        95 % interval; None with fewer than three sessions.
    """

    sessions: int
    index_pct: float
    low_pct: float | None
    high_pct: float | None
    of: str = "session"

    def words(self) -> str:
        """The same for a lifter."""
        more = "right" if self.index_pct > 0 else "left"
        text = f"{abs(self.index_pct):.1f} % more on the {more}"
        if self.low_pct is None or self.high_pct is None:
            return f"{text}, from {self.sessions} {self.of}{'s' * (self.sessions != 1)}: too few to trust"
        if self.low_pct <= 0 <= self.high_pct:
            return f"no clear difference ({self.low_pct:+.1f} to {self.high_pct:+.1f} %)"
        return f"{text} ({self.low_pct:+.1f} to {self.high_pct:+.1f} %)"


def asymmetry(
    left: Sequence[float] | FloatArray, right: Sequence[float] | FloatArray, *, of: str = "session"
) -> Asymmetry | None:
    """Symmetry index of paired sessions, or of lifters.

    Parameters
    ----------
    left, right : array_like, shape (n,)
        Pair by pair. Pairs that are not both above zero are left out: the index has no meaning there.

    Returns
    -------
    Asymmetry or None
        None without a usable pair.
    """
    a, b = np.asarray(left, float), np.asarray(right, float)
    usable = (a > 0) & (b > 0)
    if not usable.any():
        return None
    index = 100 * (b[usable] - a[usable]) / (0.5 * (b[usable] + a[usable]))
    n, mean = len(index), float(index.mean())
    if n < 3:
        return Asymmetry(sessions=n, index_pct=mean, low_pct=None, high_pct=None, of=of)
    half = float(special.stdtrit(n - 1, 0.975)) * float(index.std(ddof=1)) / math.sqrt(n)
    return Asymmetry(sessions=n, index_pct=mean, low_pct=mean - half, high_pct=mean + half, of=of)


Span = tuple[float, float]
LEAST_OVERLAP = 0.5
"""Share of the shorter set or rep during which the other one ran, for the two to be one (working limit, no source)."""
SHOWN = (("start_velocity_deg_s", "start °/s"), ("rom_deg", "range °"), ("top_deg", "top °"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """Symmetry index of one measure over reps lifted with both arms.

    Parameters
    ----------
    index_pct : float
        + is more on the right.
    se_pct : float
        Standard error. Strap and sensor err alike in all reps of a set, so that their part does not average out; the
        reps' own scatter does.
    reps : int
    """

    index_pct: float
    se_pct: float
    reps: int

    def words(self) -> str:
        """For a lifter: what is inside two standard errors is no difference that was seen."""
        if abs(self.index_pct) <= 2 * self.se_pct:
            return f"no clear difference ({self.index_pct:+.1f} ± {self.se_pct:.1f} %)"
        more = "right" if self.index_pct > 0 else "left"
        return f"{abs(self.index_pct):.1f} ± {self.se_pct:.1f} % more on the {more}"


def together(entries: Sequence[LoggedSet]) -> list[tuple[LoggedSet, LoggedSet]]:
    """Sets of a left and a right arm that were lifted at the same time by one lifter: (left, right), in order."""
    rights: dict[tuple[str, str], list[tuple[Span, int]]] = {}
    for place, one in enumerate(entries):
        if one.side == "right":
            rights.setdefault((one.lifter, one.exercise), []).append((_span(one), place))
    for spans in rights.values():
        spans.sort()
    longest = {task: max(b - a for (a, b), _ in spans) for task, spans in rights.items()}
    out: list[tuple[LoggedSet, LoggedSet]] = []
    taken: set[int] = set()
    for left in (one for one in entries if one.side == "left"):
        task, span = (left.lifter, left.exercise), _span(left)
        near = rights.get(task, [])
        # None that began earlier than the longest lasts can still run, none that begins after this one ends is there.
        first = bisect.bisect_left(near, span[0] - longest.get(task, 0.0), key=lambda one: one[0][0])
        last = bisect.bisect_right(near, span[1], key=lambda one: one[0][0])
        free = [(shared(span, other), -place) for other, place in near[first:last] if place not in taken]
        overlap, place = max(free, default=(0.0, 0))
        if overlap >= LEAST_OVERLAP:
            taken.add(-place)
            out.append((left, entries[-place]))
    return out


def _span(one: LoggedSet) -> Span:
    begun = one.done_at.timestamp()
    return begun, begun + one.end_s - one.start_s


def shared(a: Span, b: Span) -> float:
    """Time two spans share, as a share of the shorter one."""
    shorter = max(min(a[1] - a[0], b[1] - b[0]), 1e-9)
    return max(min(a[1], b[1]) - max(a[0], b[0]), 0.0) / shorter


def paired_reps(left: Sequence[Span], right: Sequence[Span]) -> list[tuple[int, int]]:
    """Reps that belong together: each shares more of its time with the other than with any, and half of the shorter.

    Parameters
    ----------
    left, right : sequence of (float, float), s
        Start and end of each rep, on one clock.

    Returns
    -------
    list of (int, int)
        Places in the two, in order; a rep that one arm alone lifted has no partner.
    """
    pairs: list[tuple[int, int]] = []
    if not left or not right:
        return pairs
    for i, one in enumerate(left):
        j = max(range(len(right)), key=lambda k: shared(one, right[k]))
        back = max(range(len(left)), key=lambda k: shared(left[k], right[j]))
        if back == i and shared(one, right[j]) >= LEAST_OVERLAP:
            pairs.append((i, j))
    return pairs


def paired_index(pairs: Sequence[tuple[Rep, Rep]], key: str) -> tuple[list[float | None], Index | None]:
    """Symmetry index of every pair of reps, and over all of them; None where it has no meaning or no error.

    Parameters
    ----------
    pairs : sequence of (left, right)
    key : str
        A measure with a standard error (``…_se``).
    """
    value, error = column(Rep, key), column(Rep, f"{key}_se")
    each: list[float | None] = []
    known: list[tuple[float, float]] = []
    for left, right in pairs:
        values = [c.value(one) for one in (left, right) for c in (value, error)]
        a, a_se, b, b_se = (math.nan if v is None else v for v in values)
        if not (a > 0 and b > 0):
            each.append(None)
            continue
        each.append(symmetry_index(a, b))
        # First order: d/dR = 400 L/(R + L)², d/dL = −400 R/(R + L)².
        se = 400 * math.hypot(a * b_se, b * a_se) / (a + b) ** 2
        if math.isfinite(se):
            known.append((symmetry_index(a, b), se))
    if not known:
        return each, None
    scatter = stdev(index for index, _ in known) / math.sqrt(len(known)) if len(known) > 1 else 0.0
    common = fmean(se for _, se in known)
    whole = Index(
        index_pct=fmean(index for index, _ in known), se_pct=math.hypot(common, scatter), reps=len(known)
    )
    return each, whole
