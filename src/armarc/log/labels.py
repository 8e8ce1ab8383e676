"""What a person says about a set: who, which variant, load, reps in reserve, a note, tags."""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass, field, replace

from armarc.errors import UsageError
from armarc.quantities import clean_name, composed

SIDES = ("left", "right")
LONGEST_NOTE = 10_000
MOST_TAGS = 100
CAUTION = "Pain means stop. If it stays, see a licensed practitioner."
"""Goes in front of a set after which pain was said."""
SAID_AFTER = ("rir", "rpe", "pain", "pain_place", "pain_at_deg", "note")
"""Labels that a person gives once a set is done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """Labels of a set; None leaves what the recording or its settings say.

    Parameters
    ----------
    lifter, exercise, variant : str or None
    side : str or None
        ``"left"`` or ``"right"``.
    load_kg : float or None, kg
    rir : float or None
        Reps in reserve, 0 or more.
    rpe : float or None
        Rating of perceived exertion on the 0–10 scale; 10 is 0 reps in reserve, 9 is 1 and so on
        (Zourdos et al. 2016, J Strength Cond Res 30:267).
    pain : float or None
        0 none, 10 the worst imaginable (numerical rating scale).
    pain_place : str or None
        Where it hurt, such as "front of the shoulder".
    pain_at_deg : float or None, deg
        Elevation at which it hurt.
    note : str or None
    tags : tuple of str
    session : str or None
        Name that tells two trainings of one day apart.
    """

    lifter: str | None = None
    exercise: str | None = None
    variant: str | None = None
    side: str | None = None
    load_kg: float | None = None
    rir: float | None = None
    rpe: float | None = None
    pain: float | None = None
    pain_place: str | None = None
    pain_at_deg: float | None = None
    note: str | None = None
    tags: tuple[str, ...] = field(default=())
    session: str | None = None

    def over(self, other: Labels) -> Labels:
        """These where something is said, else the other's; the tags of both."""
        said = {name: value for name in self.__slots__ if (value := getattr(self, name)) is not None}
        return replace(other, **(said | {"tags": (*other.tags, *self.tags)}))

    def checked(self) -> Labels:
        """Cleaned labels.

        Raises
        ------
        UsageError
            If one of them makes no sense.
        """
        if len(self.tags) > MOST_TAGS:
            raise UsageError(f"{len(self.tags)} tags at once", f"use at most {MOST_TAGS}")
        return replace(
            self,
            lifter=None if self.lifter is None else clean_name(self.lifter, "lifter", empty=False),
            exercise=None if self.exercise is None else clean_name(self.exercise, "exercise", empty=False),
            variant=None if self.variant is None else clean_name(self.variant, "variant"),
            side=check_side(self.side),
            load_kg=_number(self.load_kg, "load", 0, 2000),
            rir=_number(self.rir, "reps in reserve", 0, 50),
            rpe=_number(self.rpe, "RPE", 0, 10),
            pain=_number(self.pain, "pain", 0, 10),
            pain_place=None if self.pain_place is None else clean_name(self.pain_place, "place of the pain"),
            pain_at_deg=_number(self.pain_at_deg, "the angle of the pain", 0, 180),
            note=None if self.note is None else clean_note(self.note),
            tags=tuple(dict.fromkeys(clean_name(tag, "tag", empty=False).casefold() for tag in self.tags)),
            session=None if self.session is None else clean_name(self.session, "session"),
        )


def check_side(side: str | None) -> str | None:
    """Side as ``"left"``, ``"right"`` or None.

    Raises
    ------
    UsageError
        For anything else.
    """
    if side is None or side.strip() in ("", "-"):
        return None
    word = side.strip().casefold()
    for known in SIDES:
        if word in (known, known[0]):
            return known
    raise UsageError(f"side must be left or right, got {side!r}", "--side left or --side right")


def clean_note(text: str) -> str:
    """Free text, several lines allowed.

    Raises
    ------
    UsageError
        If it is too long or has control characters other than line ends and tabs.
    """
    note = composed(text, "note").replace("\r\n", "\n").replace("\r", "\n").strip()
    if len(note) > LONGEST_NOTE:
        raise UsageError(f"the note is {len(note)} characters long", f"use at most {LONGEST_NOTE}")
    if any(unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\t" for c in note):
        raise UsageError("the note has control characters in it", "use printable characters")
    return note


def _number(value: float | None, what: str, low: float, high: float) -> float | None:
    if value is None:
        return None
    if not math.isfinite(value) or not low <= value <= high:
        raise UsageError(f"{what} must be from {low:g} to {high:g}, got {value:g}")
    return float(value)
