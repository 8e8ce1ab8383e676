"""A run: look-alike movements that may be a set."""

from __future__ import annotations

from dataclasses import dataclass

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.likeness import Template
from armarc.reps.movements import Movement


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Look-alike movements, in samples of the path, and how well they make a set.

    ``cost`` is what it paid of its score for being a set at all, ``rank`` the score with what the rests say of which
    end is the bottom; ``curve``, ``sign`` and ``axis`` say on which angle they were found, ``members`` which of its
    ``candidates`` they are, ``is_walk`` that an arm swung so in walking or loosening up (`armarc.reps.strides`),
    ``may_be_walk`` that one may have (`armarc.reps.bounce`), ``is_elbow`` and ``is_line`` that it turns about the
    elbow or goes along a line where a raise was named, ``may_be_handling`` that it may be none (`armarc.reps.joint`).
    """

    score: float
    rank: float
    movements: tuple[Movement, ...]
    template: Template
    curve: str
    sign: float
    axis: FloatArray
    candidates: Candidates
    members: tuple[int, ...]
    cost: float = 0.0
    is_walk: bool = False
    may_be_walk: bool = False
    is_elbow: bool = False
    is_line: bool = False
    may_be_handling: bool = False

    @property
    def size(self) -> int:
        return len(self.members)

    @property
    def first(self) -> int:
        return self.movements[0].bottom

    @property
    def last(self) -> int:
        return self.movements[-1].bottom_after
