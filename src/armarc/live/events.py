"""What the live engine tells, and how it looks as JSON (schema ``armarc.events/2``).

Every event carries ``time_s``: the signal time it belongs to, in seconds on the clock of the samples. ``rep`` is
the number inside the running set and ``reps`` how many reps of it count at this moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from armarc.measures import record_of
from armarc.published import as_published, published
from armarc.recording import Recording
from armarc.reps.likeness import PARTIAL
from armarc.reps.records import seconds
from armarc.reps.summary import full_reps, loss, tempo
from armarc.reps.types import Rep

SCHEMA = "armarc.events/2"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """The direction of the arm in the sensor is known (again); ``method`` as in `armarc.motion.Mounting`."""

    time_s: float
    method: str = field(metadata=as_published(key="mounting"))
    uncertainty_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RepStarted:
    """The arm has left the bottom and entered the start gate."""

    time_s: float
    rep: int
    bottom_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GateCrossed:
    """The arm has passed the start gate; what is told of it, before the start velocity is measured.

    ``late`` marks a verdict on a movement that was recognised as a rep only afterwards: no longer of use as a cue.
    ``provisional``: the verdict may turn. The arm's direction is not known from a movement yet, only from how it hung,
    or an edge of the band lies within one standard error of the value.
    """

    time_s: float
    rep: int
    told_velocity_rad_s: float
    told_velocity_se_rad_s: float | None = field(
        default=None, metadata=as_published(key="told_velocity_deg_s_se")
    )
    verdict: str | None = field(metadata=as_published(key="told_verdict"))
    late: bool = False
    provisional: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TopReached:
    """The arm has turned round; told again when it rises higher after all."""

    time_s: float
    rep: int
    top_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RepEnded:
    """A rep counts. ``measured`` holds its live measures; numbers start at 1 in each set. ``provisional`` as at the
    gate."""

    time_s: float
    rep: int
    reps: int
    measured: Rep
    tempo: str
    provisional: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RepWithdrawn:
    """What had been taken for a rep is none; ``reps`` is the count without it, the others move up."""

    time_s: float
    rep: int
    reps: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetEnded:
    """A set is over.

    ``reason`` is ``"rest"``, ``"gap"`` or ``"stop"``; ``raw`` holds its samples with some time on either side, to be
    measured offline (not part of the JSON). ``raw_start_s`` is the signal time of its first sample.
    """

    time_s: float
    set: int
    reps: tuple[Rep, ...]
    start_s: float
    end_s: float
    tempo: str
    velocity_loss_pct: float | None
    reason: str
    raw: Recording
    raw_start_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GapSeen:
    """Samples are missing between two times.

    ``restarted``: too long to bridge, all begins anew. ``may_hide_rep``: a set is under way and a rep may have gone
    with them.
    """

    time_s: float
    start_s: float
    end_s: float
    restarted: bool
    may_hide_rep: bool = False


EngineEvent = Ready | RepStarted | GateCrossed | TopReached | RepEnded | RepWithdrawn | SetEnded | GapSeen

NAMES: dict[type[Any], str] = {
    Ready: "ready",
    RepStarted: "rep started",
    GateCrossed: "gate crossed",
    TopReached: "top",
    RepEnded: "rep ended",
    RepWithdrawn: "rep withdrawn",
    SetEnded: "set ended",
    GapSeen: "gap",
}


def event_record(event: EngineEvent) -> dict[str, object]:
    """One event as a JSON-ready object, schema ``armarc.events/2``; degrees at this edge."""
    record: dict[str, object] = {
        "schema": SCHEMA,
        "event": NAMES[type(event)],
        "time_s": seconds(event.time_s),
    }
    match event:
        case RepEnded():
            record |= {
                "rep": event.rep,
                "reps": event.reps,
                "tempo": event.tempo,
                "provisional": event.provisional,
            }
            record["measures"] = record_of(event.measured) | {"rep": event.rep}
        case SetEnded():
            record |= {
                "set": event.set,
                "reps": len(event.reps),
                "start_s": seconds(event.start_s),
                "end_s": seconds(event.end_s),
                "tempo": event.tempo,
                "velocity_loss_pct": event.velocity_loss_pct,
                "reason": event.reason,
                "measures": [record_of(rep) for rep in event.reps],
            }
        case _:
            record |= published(event)
    return record


def full_so_far(reps: Sequence[Rep]) -> list[Rep]:
    """Full reps of a set that live counted: without those much shorter than usual, which nobody has flagged yet."""
    usual = median([one.rom_rad for one in reps if one.rom_rad is not None] or [0.0])
    return [one for one in full_reps(reps) if one.rom_rad is None or one.rom_rad >= PARTIAL * usual]


def set_ended(
    number: int, reps: tuple[Rep, ...], reason: str, time_s: float, raw: Recording, raw_start_s: float
) -> SetEnded:
    """Sum up the live reps of a set."""
    slower = loss([rep.mean_concentric_rad_s for rep in full_so_far(reps)])
    return SetEnded(
        time_s=time_s,
        set=number,
        reps=reps,
        start_s=reps[0].phases.start_s,
        end_s=reps[-1].phases.end_s,
        tempo=tempo(reps),
        velocity_loss_pct=None if slower is None else round(100 * slower, 2),
        reason=reason,
        raw=raw,
        raw_start_s=raw_start_s,
    )
