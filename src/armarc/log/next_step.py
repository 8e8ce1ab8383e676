"""What the last sessions of a task leave open: a description by a stated rule, not an order."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from armarc.log.coaching import NextRule
from armarc.log.reading import LoggedSet


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """Where a task stands at its newest load.

    Parameters
    ----------
    rule : NextRule
    load_kg : float or None
        Newest load, lighter weeks left out.
    sessions : int
        Sessions looked at, the last ones at that load.
    clean, reps : int
    lowest_rir : float or None
        The least that was said.
    in_band_pct, rom_kept_pct : float or None
        Share of starts inside the band; mean range against that of all sets before. None where not known.
    pain : bool
        Whether pain was noted after a set of the newest session, or a set is tagged ``pain``.
    """

    rule: NextRule
    load_kg: float | None
    sessions: int
    clean: int
    reps: int
    lowest_rir: float | None
    in_band_pct: float | None = None
    rom_kept_pct: float | None = None
    pain: bool = False

    @property
    def is_open(self) -> bool:
        """Whether a small step is open by the rule."""
        return self.load_kg is not None and not self._against

    @property
    def next_kg(self) -> float | None:
        """Load that the rule leaves open next: one step up, one step back, or the same."""
        if self.load_kg is None:
            return None
        if self.is_open:
            return self.load_kg + self.rule.step_kg
        back = self.sessions and not self.pain and 100 * self.clean < self.rule.back_clean_pct * self.reps
        return max(self.load_kg - self.rule.step_kg, 0.0) if back else self.load_kg

    @property
    def _against(self) -> str:
        """The first thing that speaks against a step; empty where nothing does."""
        rule = self.rule
        at = f"at {self.load_kg:.4g} kg"
        if self.pain:
            return "pain was noted"
        if self.sessions < rule.sessions:
            return f"{self.sessions} session{'s' * (self.sessions != 1)} {at} so far"
        if not self.reps or 100 * self.clean < rule.clean_pct * self.reps:
            return f"{self.clean} of {self.reps} reps clean {at}"
        if self.lowest_rir is not None and self.lowest_rir < rule.lowest_rir:
            return f"{self.lowest_rir:g} RIR said"
        if self.in_band_pct is not None and self.in_band_pct < rule.in_band_pct:
            return f"{self.in_band_pct:.0f} % of the starts in the band"
        if self.rom_kept_pct is not None and self.rom_kept_pct < rule.rom_kept_pct:
            return f"range {self.rom_kept_pct:.0f} % of what it was"
        return ""

    @property
    def words(self) -> str:
        """What is open, and why."""
        if self.load_kg is None or self.next_kg is None:
            return "no load stated"
        if not self.is_open:
            if self.next_kg < self.load_kg:
                return f"a step back to {self.next_kg:.4g} kg, {self._against}"
            return f"stays, {self._against}"
        facts = f"{self.clean} of {self.reps} reps clean at {self.load_kg:.4g} kg"
        step = 100 * self.rule.step_kg / self.load_kg if self.load_kg else float("inf")
        said = f"a small step is open, {self.next_kg:.4g} kg, {facts}"
        if step > self.rule.largest_step_pct:
            said += f" (a step of {step:.0f} %: more reps first)" if self.load_kg else ""
        return said


def next_step(
    entries: Sequence[LoggedSet], rule: NextRule, lighter_days: Collection[int] = frozenset()
) -> NextStep:
    """Where a task stands.

    Parameters
    ----------
    entries : sequence of LoggedSet
        Of one lifter, exercise, variant and side, oldest first; at least one.
    rule : NextRule
    lighter_days : collection of int
        Mondays of lighter weeks, as `datetime.date.toordinal` counts; their sets take no part.
    """
    usual = [one for one in entries if _monday(one) not in lighter_days] or list(entries)
    load = usual[-1].load_kg
    at_load = [entry for entry in usual if entry.load_kg == load]
    sessions = list(dict.fromkeys(entry.session_id for entry in at_load))[-round(rule.sessions) :]
    # A set measured before there were clean reps says nothing of them.
    last = [one for one in at_load if one.session_id in sessions and "clean_reps" in one.summary]
    before = [one for one in usual if one.session_id not in sessions]
    said = [entry.rir for entry in last if entry.rir is not None]
    rom, was = _mean(last, "mean_rom_deg"), _mean(before, "mean_rom_deg")
    newest = [one for one in entries if one.session_id == entries[-1].session_id]
    return NextStep(
        rule=rule,
        load_kg=load,
        sessions=len({entry.session_id for entry in last}),
        clean=sum(int(entry.summary["clean_reps"] or 0) for entry in last),
        reps=sum(entry.reps for entry in last),
        lowest_rir=min(said) if said else None,
        in_band_pct=_in_band_pct(last),
        rom_kept_pct=100 * rom / was if rom and was else None,
        pain=any(one.pain or "pain" in one.tags for one in newest),
    )


def _monday(entry: LoggedSet) -> int:
    return entry.day.toordinal() - entry.day.weekday()


def _mean(entries: Sequence[LoggedSet], key: str) -> float | None:
    known = [float(one.summary[key]) for one in entries if one.summary.get(key) is not None]
    return float(np.mean(known)) if known else None


def _in_band_pct(entries: Sequence[LoggedSet]) -> float | None:
    judged = [(one.summary.get("in_band") or {}, one.reps) for one in entries]
    counted = [(band["count"], reps) for band, reps in judged if band.get("count") is not None]
    reps = sum(each for _, each in counted)
    return 100 * sum(count for count, _ in counted) / reps if reps else None
