"""A mark of the lifter's own: how much slower or shorter a full rep may be than the best one before it is said.

Off unless somebody sets it. It describes what was measured; what follows from it is the lifter's to say: velocity loss
and reps in reserve vary between days and people (Jukic et al. 2023).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from armarc.live.events import EngineEvent, RepEnded, RepWithdrawn, SetEnded, full_so_far
from armarc.reps.summary import loss
from armarc.reps.types import Rep

CAVEAT = "varies between days and people"
LEAST_REPS = 2
"""Full reps before a loss is one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """A mark was reached with this rep.

    Parameters
    ----------
    rep : int
    what : str
        ``"velocity"`` or ``"rom"``.
    loss_pct, mark_pct : float, %
    """

    rep: int
    what: str
    loss_pct: float
    mark_pct: float

    def words(self) -> str:
        """For people."""
        name = {"velocity": "velocity loss", "rom": "range lost"}[self.what]
        return f"{name} {self.loss_pct:.0f} %, your mark {self.mark_pct:g} %"


@dataclass(frozen=True, slots=True, kw_only=True)
class StopMark:
    """What the running set has shown so far; each mark is told once in a set.

    Parameters
    ----------
    velocity_loss_pct, rom_loss_pct : float or None, %
        The marks; None or 0 is off.
    reps : tuple of Rep
    told : frozenset of str
    """

    velocity_loss_pct: float | None = None
    rom_loss_pct: float | None = None
    reps: tuple[Rep, ...] = ()
    told: frozenset[str] = field(default_factory=frozenset)

    def step(self, event: EngineEvent) -> tuple[StopMark, tuple[Reached, ...]]:
        """The state after an event, and the marks reached with it."""
        match event:
            case RepEnded():
                earlier = () if event.reps == 1 else self.reps
                place = event.rep - 1
                reps = (*earlier[:place], event.measured, *earlier[place:])
                state = replace(self, reps=reps, told=self.told if earlier else frozenset())
                # A rep that was recognised late, before others, is not the newest one: nothing is over because of it.
                return state._judged(event.rep) if event.rep == len(reps) else (state, ())
            case RepWithdrawn():
                place = event.rep - 1
                return replace(self, reps=(*self.reps[:place], *self.reps[place + 1 :])), ()
            case SetEnded():
                return replace(self, reps=(), told=frozenset()), ()
            case _:
                return self, ()

    def _judged(self, rep: int) -> tuple[StopMark, tuple[Reached, ...]]:
        full = full_so_far(self.reps)
        # The newest rep must be a full one: a last rep cut short is slow for another reason.
        if len(full) < LEAST_REPS or full[-1] is not self.reps[-1]:
            return self, ()
        lost = {
            "velocity": (loss([one.mean_concentric_rad_s for one in full]), self.velocity_loss_pct),
            "rom": (loss([one.rom_rad for one in full]), self.rom_loss_pct),
        }
        reached = tuple(
            Reached(rep=rep, what=what, loss_pct=100 * share, mark_pct=mark)
            for what, (share, mark) in lost.items()
            if share is not None and mark and what not in self.told and 100 * share >= mark
        )
        return replace(self, told=self.told | {one.what for one in reached}), reached
