"""What the last sessions of a task leave open: a description by a stated rule, not an order."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from armarc.log.coaching import NextRule
from armarc.log.measures import find_measure
from armarc.log.reading import LoggedSet
from armarc.log.records import has_pain
from armarc.log.table import SetTable, as_table, first_seen
from armarc.recording import FloatArray

ASKED = REPS, CLEAN, ROM, RIR, IN_BAND = tuple(
    find_measure(key) for key in ("reps", "clean_reps", "rom_deg", "rir", "in_band_pct")
)
"""Measures of sets that the rule looks at."""


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
        Share of the judged starts inside the band; mean range against that of all sets before. None where not known.
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
    sets: Sequence[LoggedSet] | SetTable,
    rule: NextRule,
    lighter_days: Collection[int] = frozenset(),
    pained: Collection[int] = frozenset(),
) -> NextStep:
    """Where a task stands.

    Parameters
    ----------
    sets : sequence of LoggedSet, or SetTable with the values of `ASKED`
        Of one lifter, exercise, variant and side; at least one.
    rule : NextRule
    lighter_days : collection of int
        Mondays of lighter weeks, as `datetime.date.toordinal` counts; their sets take no part.
    pained : collection of int
        Numbers of the sets of a table with pain; sets of the log say so themselves.
    """
    if not isinstance(sets, SetTable):
        pained = {one.id for one in sets if has_pain(one)}
    table = as_table(sets, *ASKED).in_time
    # Day 1 of the calendar was a Monday.
    is_usual = ~np.isin(table.day - (table.day - 1) % 7, list(lighter_days))
    usual = table.take(is_usual) if is_usual.any() and not is_usual.all() else table
    at_load = usual.task == usual.task[-1]
    sessions = first_seen(usual.session[at_load])[-round(rule.sessions) :]
    is_last = np.isin(usual.session, sessions)
    # A set measured before there were clean reps says nothing of them.
    last = usual.take(is_last & at_load & ~np.isnan(usual.of(CLEAN)))
    rom, was = _mean(last.of(ROM)), _mean(usual.of(ROM)[~is_last])
    rir, share = last.of(RIR), last.of(IN_BAND)
    judged = ~np.isnan(share)
    newest = table.set_id[table.session == table.session[-1]]
    return NextStep(
        rule=rule,
        load_kg=usual.tasks[usual.task[-1]].load_kg,
        sessions=len(np.unique(last.session)),
        clean=round(last.of(CLEAN).sum()),
        reps=round(last.of(REPS).sum()),
        lowest_rir=float(np.nanmin(rir)) if (~np.isnan(rir)).any() else None,
        in_band_pct=float(np.average(share[judged], weights=last.of(REPS)[judged])) if judged.any() else None,
        rom_kept_pct=100 * rom / was if rom and was else None,
        pain=any(number in pained for number in newest.tolist()),
    )


def _mean(values: FloatArray) -> float | None:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else None
