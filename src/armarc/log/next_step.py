"""What the last sessions of a task leave open: a description by a stated rule, not an order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from armarc.log.reading import LoggedSet

SESSIONS = 3
CLEAN_SHARE = 0.9
LOWEST_RIR = 1.0
RULE = (
    f"Rule (our own, no source): a small step is open when at least {100 * CLEAN_SHARE:.0f} % of the reps at the "
    f"newest load were clean over its last {SESSIONS} sessions and no set said less than {LOWEST_RIR:g} rep in "
    "reserve; else the load stays. It describes and does not order. A step is the smallest your weights allow. Never "
    "chase the number; with pain nothing is open."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """Where a task stands at its newest load.

    Parameters
    ----------
    load_kg : float or None
        Newest load.
    sessions : int
        Sessions looked at, the last ones at that load.
    clean, reps : int
    lowest_rir : float or None
        The least that was said.
    """

    load_kg: float | None
    sessions: int
    clean: int
    reps: int
    lowest_rir: float | None

    @property
    def is_open(self) -> bool:
        """Whether a small step is open by `RULE`."""
        return (
            self.load_kg is not None
            and self.sessions >= SESSIONS
            and self.clean >= CLEAN_SHARE * self.reps > 0
            and (self.lowest_rir is None or self.lowest_rir >= LOWEST_RIR)
        )

    @property
    def words(self) -> str:
        """Why it is open or not."""
        if self.load_kg is None:
            return "no load stated"
        facts = f"{self.clean} of {self.reps} reps clean at {self.load_kg:.4g} kg"
        if self.sessions < SESSIONS:
            return (
                f"stays, {self.sessions} session{'s' * (self.sessions != 1)} at {self.load_kg:.4g} kg so far"
            )
        if self.lowest_rir is not None and self.lowest_rir < LOWEST_RIR:
            return f"stays, {self.lowest_rir:g} RIR said"
        return f"a small step is open, {facts}" if self.is_open else f"stays, {facts}"


def next_step(entries: Sequence[LoggedSet]) -> NextStep:
    """Where a task stands.

    Parameters
    ----------
    entries : sequence of LoggedSet
        Of one lifter, exercise, variant and side, oldest first; at least one.
    """
    load = entries[-1].load_kg
    at_load = [entry for entry in entries if entry.load_kg == load]
    sessions = list(dict.fromkeys(entry.session_id for entry in at_load))[-SESSIONS:]
    # A set measured before there were clean reps says nothing of them.
    last = [one for one in at_load if one.session_id in sessions and "clean_reps" in one.summary]
    said = [entry.rir for entry in last if entry.rir is not None]
    return NextStep(
        load_kg=load,
        sessions=len({entry.session_id for entry in last}),
        clean=sum(int(entry.summary["clean_reps"] or 0) for entry in last),
        reps=sum(entry.reps for entry in last),
        lowest_rir=min(said) if said else None,
    )
