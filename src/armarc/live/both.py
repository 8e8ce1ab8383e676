"""Both arms in one live set: rep beside rep, and how far the sides differ with its error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from armarc.live.events import SCHEMA
from armarc.live.offline import MeasuredLive
from armarc.log.both_arms import LEAST_OVERLAP, Index, paired_index, paired_reps, shared
from armarc.results import SetResult

COMPARED = (("start_velocity_deg_s", "start"), ("rom_deg", "range"))


@dataclass(frozen=True, slots=True, kw_only=True)
class BothArms:
    """Two sets that were lifted together.

    Parameters
    ----------
    left, right : int
        Numbers of the sets.
    reps : tuple of (int, int)
        Numbers of the reps that belong together.
    index : dict of str to Index
        Symmetry index of each measure that has one.
    """

    left: int
    right: int
    reps: tuple[tuple[int, int], ...]
    index: dict[str, Index]

    def words(self) -> str:
        """For the lifter."""
        said = [f"{word} {self.index[key].words()}" for key, word in COMPARED if key in self.index]
        return f"both arms, {len(self.reps)} reps: {'; '.join(said) or 'nothing to compare'}"

    def record(self) -> dict[str, Any]:
        """As an event: ``both arms``."""
        return {
            "schema": SCHEMA,
            "event": "both arms",
            "left_set": self.left,
            "right_set": self.right,
            "reps": [list(pair) for pair in self.reps],
            "symmetry_index": {
                key: {"index_pct": round(one.index_pct, 2), "index_pct_se": round(one.se_pct, 2)}
                for key, one in self.index.items()
            },
        }


def side_of(measured: MeasuredLive) -> str:
    """The arm of a set."""
    return measured.raw.metadata.side or ""


def lifted_together(measured: MeasuredLive, others: Sequence[MeasuredLive]) -> MeasuredLive | None:
    """The set of the other arm that ran at the same time; None where there is none."""
    if measured.result is None:
        return None
    mine = _span(measured, measured.result.sets[0])
    beside = [
        one
        for one in others
        if one.result is not None
        and side_of(one) != side_of(measured)
        and shared(mine, _span(one, one.result.sets[0])) >= LEAST_OVERLAP
    ]
    return max(beside, key=lambda one: one.number, default=None)


def compared(left: MeasuredLive, right: MeasuredLive) -> BothArms:
    """Two measured sets that were lifted together, rep beside rep."""
    reps = [() if one.result is None else one.result.sets[0].reps for one in (left, right)]
    spans = [
        [(rep.phases.start_s + one.raw_start_s, rep.phases.end_s + one.raw_start_s) for rep in each]
        for one, each in zip((left, right), reps, strict=True)
    ]
    places = paired_reps(spans[0], spans[1])
    pairs = [(reps[0][i], reps[1][j]) for i, j in places]
    found = {key: paired_index(pairs, key)[1] for key, _ in COMPARED}
    return BothArms(
        left=left.number,
        right=right.number,
        reps=tuple((a.rep, b.rep) for a, b in pairs),
        index={key: one for key, one in found.items() if one is not None},
    )


def _span(measured: MeasuredLive, one: SetResult) -> tuple[float, float]:
    """Start and end of a set on the session's clock."""
    return one.start_s + measured.raw_start_s, one.end_s + measured.raw_start_s
