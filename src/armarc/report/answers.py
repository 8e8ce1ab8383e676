"""What a set comes to in one sentence, said before any table, and what the flags of its reps mean."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from armarc.measures import number_of
from armarc.reps.flags import FLAGS
from armarc.reps.summary import SetSummary, last_rep
from armarc.reps.types import Rep

if TYPE_CHECKING:
    from armarc.results import SetResult

WORTH_SAYING_PCT = 5.0
"""A loss of velocity below this is not mentioned: reps of a rested lifter differ by as much (working limit,
no source)."""

SPOILING = {
    "another_exercise": "of another exercise",
    "perhaps_no_rep": "perhaps no rep but picking up or putting down",
    "swung": "swung",
    "dropped": "dropped on the way down",
    "partial": "partial",
    "gap": "measured with samples missing",
    "clipped": "beyond the sensor's range",
    "open_start": "cut off by the start of the recording",
    "open_end": "cut off before the arm was down again",
    "unsteady_sensor": "measured with a slipping strap",
}
"""Flags a sentence about the set names, and how; what a person did comes first."""

DOUBTS = {
    "bent_elbow": "the elbow bent",
    "trunk_moved": "the trunk moved",
    "loose_strap": "the strap wobbled",
}
"""Flags of a whole set that make its numbers less certain."""

_SUPERSCRIPTS = "ᵃᵇᶜᵈᵉᶠᵍʰⁱʲᵏˡᵐⁿᵒᵖʳˢᵗᵘᵛʷ"


def flag_words(flag: str) -> str:
    """Say what a flag means."""
    return FLAGS.get(flag, flag.replace("_", " "))


def flag_letters(reps: Sequence[Sequence[str]]) -> dict[str, str]:
    """Give each flag that occurs a raised letter, in order of first use."""
    seen = dict.fromkeys(flag for flags in reps for flag in flags)
    return {flag: _SUPERSCRIPTS[min(i, len(_SUPERSCRIPTS) - 1)] for i, flag in enumerate(seen)}


def letters_of(quality: Sequence[str], letters: Mapping[str, str]) -> str:
    """The raised letters of a rep, in the order of the alphabet."""
    return "".join(letter for flag, letter in letters.items() if flag in quality)


def set_answer(reps: Sequence[Rep], summary: SetSummary) -> str:
    """One sentence: starts inside the band, velocity lost, and what was not clean."""
    said = [_starts(reps, summary)]
    loss_pct = 100 * (summary.velocity_loss_share or 0.0)
    if loss_pct >= WORTH_SAYING_PCT:
        said.append(f"{last_rep(reps)} {loss_pct:.0f} % slower than the best")
    faults = _faults(reps)
    said += faults or ["clean"]
    flags = Counter(flag for rep in reps for flag in rep.quality)
    doubts = [words for flag, words in DOUBTS.items() if 2 * flags[flag] > len(reps)]
    doubt = f"; less certain than usual: {', '.join(doubts)}" if doubts else ""
    return ", ".join(said) + doubt + "."


def session_answer(sets: Sequence[SetResult]) -> str:
    """One sentence over several sets: reps, starts inside the band, and the set that differs most in speed."""
    reps = [rep for one in sets for rep in one.reps]
    said = [f"{len(sets)} sets of {', '.join(str(len(one.reps)) for one in sets)} reps"]
    judged = [rep.start_verdict for rep in reps if rep.start_verdict]
    if judged:
        near = sum("near_edge" in rep.quality for rep in reps)
        doubt = f" ({near} too near an edge to be sure)" if near else ""
        said.append(f"{judged.count('inside')} of {len(judged)} starts in the band{doubt}")
    means = [one.summary.means["mean_concentric_deg_s"] for one in sets]
    first, last = means[0], means[-1]
    if first and last is not None and abs(last - first) >= WORTH_SAYING_PCT / 100 * first:
        change = 100 * (last - first) / first
        said.append(f"last set {abs(change):.0f} % {'faster' if change > 0 else 'slower'} than the first")
    spoiled = sum(not rep.clean for rep in reps)
    said.append(f"{spoiled} reps not clean" if spoiled > 1 else "1 rep not clean" if spoiled else "all clean")
    return ", ".join(said) + "."


def _starts(reps: Sequence[Rep], summary: SetSummary) -> str:
    judged = [rep.start_verdict for rep in reps if rep.start_verdict]
    if not judged or summary.in_band is None:
        return f"{len(reps)} rep{'s' * (len(reps) != 1)}"
    said = f"{judged.count('inside')} of {len(judged)} in the band"
    more = [f"{judged.count(way)} {way}" for way in ("below", "above") if way in judged]
    near = sum("near_edge" in rep.quality for rep in reps)
    more += [f"{near} too near an edge to be sure"] if near else []
    return f"{said} ({', '.join(more)})" if more else said


def _spoiled(rep: Rep) -> list[str]:
    return [flag for flag in SPOILING if flag in rep.quality]


def _faults(reps: Sequence[Rep]) -> list[str]:
    said = []
    for flag, words in SPOILING.items():
        which = [rep for rep in reps if _spoiled(rep)[:1] == [flag]]
        if len(which) == 1:
            said.append(f"rep {which[0].rep} was {words}{_evidence(which[0], flag)}")
        elif which and len(which) == len(reps):
            said.append(f"every rep was {words}")
        elif which:
            numbers = [str(rep.rep) for rep in which]
            said.append(f"reps {', '.join(numbers[:-1])} and {numbers[-1]} were {words}")
    return said


def _evidence(rep: Rep, flag: str) -> str:
    """The numbers behind a fault, in brackets."""
    seen = []
    if flag == "swung":
        if rep.start_velocity_rad_s is not None:
            seen.append(f"start {number_of(rep, 'start_velocity_deg_s'):.0f} °/s")
        if rep.body_swing_m is not None:
            seen.append(f"shoulder moved {100 * rep.body_swing_m:.1f} cm")
    elif flag == "dropped":
        seen.append(f"down in {rep.eccentric_s:.1f} s")
    elif flag == "partial":
        seen.append(f"{number_of(rep, 'rom_deg'):.0f}°")
    return f" ({', '.join(seen)})" if seen else ""
