"""A finished set, measured by the offline road."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from armarc.choices import Choices
from armarc.errors import ArmarcError
from armarc.exercises import Band
from armarc.live.events import SCHEMA, SetEnded, event_record
from armarc.pipeline import Session, measure
from armarc.recording import Metadata, Recording
from armarc.reps import Rep
from armarc.results import Result, SetResult
from armarc.trunk import Trunk, measure_with_trunk

SAME_GATE_S = 0.5
"""The live and the measured gate of one rep lie closer than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChestPart:
    """What a sensor on the chest sent during a set (None: nothing), and its axis that faces forward."""

    recording: Recording | None
    forward: str = "+z"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLive:
    """What became of a live set.

    ``result`` is that of the offline road with this one set, its number the live one, its times
    counted from the first sample of ``raw``; None when it could not be measured, and ``problem`` says why. ``chest``
    is what a sensor on the chest sent meanwhile, ``turned`` which verdicts turned (`turned_verdicts`).
    """

    number: int
    time_s: float
    raw: Recording
    raw_start_s: float
    live: dict[str, object]
    result: Result | None
    problem: str = ""
    chest: Recording | None = None
    turned: list[dict[str, object]] = field(default_factory=list)

    def record(self) -> dict[str, Any]:
        """As an event of ``armarc.events/2``: ``set measured``."""
        return {
            "schema": SCHEMA,
            "event": "set measured",
            "time_s": round(self.time_s, 4),
            "set": self.number,
            "raw_start_s": round(self.raw_start_s, 4),
            "live": {k: v for k, v in self.live.items() if k not in ("schema", "event", "measures")},
            "turned": self.turned,
            "result": None if self.result is None else self.result.to_dict(),
            "problem": self.problem or None,
        }


def measure_live_set(
    event: SetEnded,
    choices: Choices,
    *,
    stamp: str | None = None,
    head: Metadata | None = None,
    chest: ChestPart | None = None,
) -> MeasuredLive:
    """Measure a set that has just ended; never raises for what a recording may hold.

    Parameters
    ----------
    event : SetEnded
    choices : Choices
    stamp : str or None
        When the raw part began, ISO 8601, for its metadata.
    head : Metadata or None
        What is known of the sensor, and whether its samples were corrected.
    chest : ChestPart or None
        Of a second sensor, on the chest: the trunk is measured with it.
    """
    # The load may have changed since the engine began.
    raw = replace(event.raw, metadata=replace(event.raw.metadata, load_kg=choices.load_kg))
    if head is not None:
        raw = replace(raw, metadata=replace(raw.metadata, sensor=head.sensor, other=head.other))
    if stamp is not None:
        raw = replace(raw, metadata=replace(raw.metadata, started_at=stamp))
    common: dict[str, Any] = {
        "number": event.set,
        "time_s": event.time_s,
        "raw": raw,
        "raw_start_s": event.raw_start_s,
        "live": event_record(event),
        "chest": None if chest is None else chest.recording,
    }
    try:
        result = _measured(raw, choices, chest, event.set).result()
        best = _set_of(event, result)
        before = 0 if best is None else best.set - event.set
        if 0 < before < event.set:  # what is said of sets names them as the session does
            result = _measured(raw, choices, chest, event.set - before).result()
            best = _set_of(event, result)
    except ArmarcError as error:
        return MeasuredLive(**common, result=None, problem=str(error))
    if best is None:
        return MeasuredLive(**common, result=None, problem="no set was found when it was measured again")
    told = replace(best, set=event.set, reps=tuple(_with_told(rep, event) for rep in best.reps))
    turned = turned_verdicts(told.reps, choices.exercise.band)
    return MeasuredLive(**common, result=replace(result, sets=(told,)), turned=turned)


def _set_of(event: SetEnded, result: Result) -> SetResult | None:
    """The measured set that is the live one."""
    start, end = event.start_s - event.raw_start_s, event.end_s - event.raw_start_s
    best = max(result.sets, key=lambda one: min(one.end_s, end) - max(one.start_s, start), default=None)
    return None if best is None or best.start_s > end or best.end_s < start else best


def _measured(raw: Recording, choices: Choices, chest: ChestPart | None, first_set: int) -> Session:
    """With the chest's sensor where it says something; without it, and why, where not."""
    if chest is None:
        return measure(raw, choices, first_set=first_set)
    if chest.recording is None:
        problem = "it sent nothing during this set"
    else:
        try:
            trunk = Trunk(recording=chest.recording, clock="same", forward=chest.forward)
            return measure_with_trunk(raw, trunk, choices, first_set=first_set)
        except ArmarcError as error:
            problem = error.message
    session = measure(raw, choices, first_set=first_set)
    return replace(session, warnings=(*session.warnings, f"chest sensor: {problem}"))


def _with_told(rep: Rep, event: SetEnded) -> Rep:
    """A measured rep with what was told of it at the gate."""
    if rep.gate_s is None:
        return rep
    for live in event.reps:
        near = live.gate_s is not None and abs(live.gate_s - event.raw_start_s - rep.gate_s) < SAME_GATE_S
        if near and live.told_velocity_rad_s is not None:
            told, se = live.told_velocity_rad_s, live.told_velocity_se_rad_s
            return replace(rep, told_velocity_rad_s=told, told_velocity_se_rad_s=se)
    return rep


def turned_verdicts(reps: Sequence[Rep], band: Band | None) -> list[dict[str, object]]:
    """Which reps measured otherwise than they were told at the gate: ``rep``, ``told``, ``measured``."""
    turned = []
    for rep in () if band is None else reps:
        if rep.told_velocity_rad_s is not None and rep.start_verdict is not None and band is not None:
            said = band.verdict(rep.told_velocity_rad_s)
            if said != rep.start_verdict:
                turned.append({"rep": rep.rep, "told": said, "measured": rep.start_verdict})
    return turned


def turned_words(turned: Sequence[dict[str, Any]]) -> str:
    """The same in words; empty when none did."""
    alike: dict[tuple[str, str], list[str]] = {}
    for one in turned:
        alike.setdefault((one["told"], one["measured"]), []).append(str(one["rep"]))
    return "; ".join(
        f"{'rep' if len(reps) == 1 else 'reps'} {', '.join(reps)} told {told}, measured {measured}"
        for (told, measured), reps in alike.items()
    )
