"""Keys on the terminal between sets: one key opens a line to type in, Enter gives the order, Esc forgets it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from armarc.errors import UsageError
from armarc.live.desk import Order, Say, switch_of
from armarc.log.labels import Labels
from armarc.tasks import Task

ENTER, ESCAPE, BACK = "\n", "\x1b", "\x7f"
LONGEST_LINE = 200
MOST_LISTED = 9
HELP = "l lifter  e exercise  s side  k load"
HELP_AFTER = "0-9 RIR  p pain  n note  " + HELP
ASKS = {
    "l": "lifter",
    "e": "exercise",
    "k": "load (8kg, 17.5lb)",
    "p": "pain 0-10, place, angle (4 front 80)",
    "n": "note",
}
_PAIN = re.compile(
    r"\s*(?P<pain>\d{1,2}(?:\.\d)?)\b[\s,]*(?P<place>.*?)[\s,]*(?:(?P<at>\d{1,3})\s*°?)?\s*", re.DOTALL
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pad:
    """What is being typed.

    Parameters
    ----------
    asking : str
        Key of `ASKS`; empty while nothing is typed.
    typed : str
    listed : tuple of str
        What a number stands for: lifters or exercises, newest first.
    problem : str
        What was wrong with the last line.
    """

    asking: str = ""
    typed: str = ""
    listed: tuple[str, ...] = ()
    problem: str = ""

    def words(self) -> str:
        """The line for the screen; empty while nothing is typed."""
        if not self.asking:
            return self.problem
        numbered = "  ".join(f"{n} {name}" for n, name in enumerate(self.listed, start=1))
        return f"{ASKS[self.asking]}: {self.typed}▏" + (f"   {numbered}" if numbered else "")

    def press(
        self, key: str, task: Task, *, lifters: Sequence[str], exercises: Sequence[str], after_set: bool
    ) -> tuple[Pad, Order | None]:
        """The state after a key, and the order it completes.

        Parameters
        ----------
        key : str
            One character; others than these and the printable ones do nothing.
        task : Task
            Of the next set: what a switch of sides starts from.
        lifters, exercises : sequence of str
            What may be picked by number.
        after_set : bool
            Whether there is a set to say something about.
        """
        if self.asking:
            return self._typing(key)
        if key == "s":
            return Pad(), switch_of(side="left" if task.side == "right" else "right")
        if after_set and key.isascii() and key.isdigit():
            return Pad(), Say(labels=Labels(rir=float(key)))
        if key in ("p", "n") and not after_set:
            return Pad(problem="no set is done yet"), None
        if key in ASKS:
            listed = {"l": lifters, "e": exercises}.get(key, ())
            return Pad(asking=key, listed=tuple(listed)[:MOST_LISTED]), None
        return Pad(), None

    def _typing(self, key: str) -> tuple[Pad, Order | None]:
        if key == ESCAPE:
            return Pad(), None
        if key in (ENTER, "\r"):
            try:
                return Pad(), self._order()
            except UsageError as error:
                return Pad(problem=error.message), None
        if key in (BACK, "\b"):
            return replace(self, typed=self.typed[:-1]), None
        if key.isprintable() and len(self.typed) < LONGEST_LINE:
            return replace(self, typed=self.typed + key), None
        return self, None

    def _order(self) -> Order | None:
        text = self.typed.strip()
        if not text:
            return None
        if self.asking in ("l", "e") and text.isascii() and text.isdigit():
            if not 1 <= int(text) <= len(self.listed):
                raise UsageError(f"there is no {text} in the list")
            text = self.listed[int(text) - 1]
        match self.asking:
            case "l":
                known = {name.casefold(): name for name in self.listed}
                return switch_of(lifter=known.get(text.casefold(), text))
            case "e":
                return switch_of(exercise=text)
            case "k":
                return switch_of(load=text)
            case "p":
                return Say(labels=pain_of(text))
            case _:
                return Say(labels=Labels(note=text).checked())


def pain_of(text: str) -> Labels:
    """Pain as it is typed: ``4``, ``4 front``, ``4 front of the shoulder 80``.

    Raises
    ------
    UsageError
        It does not begin with a number from 0 to 10, or the angle is none.
    """
    found = _PAIN.fullmatch(text)
    if found is None:
        raise UsageError(f"{text!r} is no pain", "a number from 0 to 10, then where, then at which angle")
    at = found["at"]
    return Labels(
        pain=float(found["pain"]),
        pain_place=found["place"] or None,
        pain_at_deg=None if at is None else float(at),
    ).checked()
