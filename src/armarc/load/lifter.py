"""The lifter's body, what the moment is computed for; and lifters' measures in ``lifter.toml``, one table for each."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from armarc.computer import config_folder
from armarc.errors import FormatError, UsageError
from armarc.files import write_kept
from armarc.load.segments import GRIP_SHARE_OF_STATURE, TABLE_CHOICES, SegmentTable, segment_table
from armarc.quantities import DEFAULT_LIFTER, clean_name, spelled_as
from armarc.strict_toml import Check, checked, number, one_of, quoted, read_toml

SEXES = ("male", "female")

LIMITS: dict[str, tuple[float, float, str]] = {
    "body_mass_kg": (20.0, 350.0, "kg"),
    "stature_m": (1.0, 2.6, "m"),
    "upper_arm_m": (0.15, 0.5, "m"),
    "forearm_m": (0.12, 0.45, "m"),
    "grip_m": (0.0, 0.2, "m"),
}
"""Smallest and largest value taken for each measure of a body; anything else is a slip of the unit."""

MEASURES = (*LIMITS, "sex")
"""What may be measured or stated of a body."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifter:
    """A body. Every field may be left out; the reference body of the segment table then stands in.

    Parameters
    ----------
    name : str or None
        Whose body it is; None where nobody was named.
    body_mass_kg : float or None, kg
    stature_m : float or None, m
    sex : str or None
        ``"male"`` or ``"female"``: which segment table.
    upper_arm_m : float or None, m
        Shoulder joint centre to elbow.
    forearm_m : float or None, m
        Elbow to wrist.
    grip_m : float or None, m
        Wrist to the middle of the gripped handle.
    segment_table : str
        ``"de-leva"`` or ``"winter"``.

    Raises
    ------
    UsageError
        For a value no body has.

    Examples
    --------
    >>> import armarc
    >>> anna = armarc.Lifter(name="Anna", body_mass_kg=61, stature_m=1.68)
    >>> anna.completed().upper_arm_m > 0.2
    True
    """

    name: str | None = None
    body_mass_kg: float | None = None
    stature_m: float | None = None
    sex: str | None = None
    upper_arm_m: float | None = None
    forearm_m: float | None = None
    grip_m: float | None = None
    segment_table: str = "de-leva"

    def __post_init__(self) -> None:
        if self.sex is not None and self.sex not in SEXES:
            raise UsageError(
                f"sex picks the segment table and is male or female, got {self.sex!r}",
                "leave it out to use the male table",
            )
        for name, (low, high, unit) in LIMITS.items():
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and low <= value <= high):
                raise UsageError(
                    f"{name} is expected between {low:g} and {high:g} {unit}, got {value:g}",
                    f"give it in {unit}",
                )
        segment_table(self.segment_table, self.sex)

    @property
    def table(self) -> SegmentTable:
        """The segment table this body uses."""
        return segment_table(self.segment_table, self.sex)

    @property
    def given(self) -> tuple[str, ...]:
        """Names of the measures that are not the reference body's."""
        return tuple(name for name in MEASURES if getattr(self, name) is not None)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was not measured, as sentences."""
        table = self.table
        said = []
        if self.body_mass_kg is None:
            said.append(f"body mass not given: reference {table.reference_mass_kg:g} kg ({table.source})")
        if self.stature_m is None and (self.upper_arm_m is None or self.forearm_m is None):
            said.append(f"stature not given: reference {table.reference_stature_m:g} m")
        if self.sex is None and self.segment_table == "de-leva":
            said.append("sex not given: male segment table")
        if self.upper_arm_m is None or self.forearm_m is None:
            said.append("arm lengths estimated from stature")
        return tuple(said)

    def same_body(self, other: Lifter) -> bool:
        """Whether the measures are the same, whoever it is."""
        return replace(self, name=None) == replace(other, name=None)

    def record(self) -> dict[str, Any]:
        """The body as it is used, JSON-ready: every measure in force, and under ``given`` those that were stated."""
        body = self.completed()
        return {
            "lifter": self.name,
            "body_mass_kg": round(body.body_mass_kg, 6),
            "stature_m": round(self.stature_m or self.table.reference_stature_m, 6),
            "sex": self.sex or ("male" if self.segment_table == "de-leva" else None),
            "upper_arm_m": round(body.upper_arm_m, 6),
            "forearm_m": round(body.forearm_m, 6),
            "grip_m": round(body.grip_m, 6),
            "segment_table": self.segment_table,
            "given": list(self.given),
        }

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Lifter:
        """The body that `record` tells of, as it was stated.

        Raises
        ------
        UsageError
            It is no such record.
        """
        given = record.get("given")
        if not isinstance(given, list) or not all(name in MEASURES for name in given):
            raise UsageError("this is no record of a body", "measure the recording again with --lifter")
        values = {name: record.get(name) for name in given}
        name, table = record.get("lifter"), record.get("segment_table")
        try:
            return cls(name=name, segment_table="de-leva" if table is None else table, **values)
        except TypeError:
            raise UsageError("a record of a body holds numbers", "measure the recording again") from None

    def completed(self) -> CompleteBody:
        """Fill what is missing from the table's reference body, scaled by stature."""
        table = self.table
        stature = table.reference_stature_m if self.stature_m is None else self.stature_m

        def length(measured: float | None, share: float) -> float:
            return share * stature if measured is None else measured

        return CompleteBody(
            body_mass_kg=table.reference_mass_kg if self.body_mass_kg is None else self.body_mass_kg,
            upper_arm_m=length(self.upper_arm_m, table.upper_arm.length_of_stature),
            forearm_m=length(self.forearm_m, table.forearm.length_of_stature),
            hand_m=table.hand.length_of_stature * stature,
            grip_m=length(self.grip_m, GRIP_SHARE_OF_STATURE),
            table=table,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CompleteBody:
    """A body with nothing missing; lengths in m, ``hand_m`` from the wrist to the knuckles."""

    body_mass_kg: float
    upper_arm_m: float
    forearm_m: float
    hand_m: float
    grip_m: float
    table: SegmentTable

    def scaled(self, *, mass: float = 1.0, length: float = 1.0, grip_shift_m: float = 0.0) -> CompleteBody:
        """Return the same body with its masses and lengths multiplied, for error propagation."""
        return replace(
            self,
            body_mass_kg=self.body_mass_kg * mass,
            upper_arm_m=self.upper_arm_m * length,
            forearm_m=self.forearm_m * length,
            hand_m=self.hand_m * length,
            grip_m=self.grip_m + grip_shift_m,
        )


REFERENCE_LIFTER = Lifter()


FIELDS = tuple(name for name in Lifter.__dataclass_fields__ if name != "name")

OWN_NAMES = (None, DEFAULT_LIFTER)
"""How the lifter is named whose measures stand without a name: not at all, or as the log calls them."""

CHECKS: dict[str, Check] = {
    **{name: number(low, high, unit) for name, (low, high, unit) in LIMITS.items()},
    "sex": one_of(SEXES),
    "segment_table": one_of(TABLE_CHOICES),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifters:
    """The bodies that are kept: that of whoever is meant when nobody is named, and others by name."""

    own: Lifter = field(default_factory=Lifter)
    others: Mapping[str, Lifter] = field(default_factory=dict)

    def find(self, name: str | None) -> Lifter:
        """Body of a lifter; one of whom nothing is kept is the reference body, never somebody else's.

        Raises
        ------
        UsageError
            The name cannot be one.
        """
        if name is None:
            return self.own
        name = clean_name(name, "lifter", empty=False)
        name = spelled_as(name, (*self.others, DEFAULT_LIFTER))
        if name in self.others:
            return self.others[name]
        return self.own if name in OWN_NAMES else Lifter(name=name)

    def with_(self, lifter: Lifter) -> Lifters:
        """The same with one body changed or added."""
        if lifter.name in OWN_NAMES:
            return replace(self, own=replace(lifter, name=None))
        return replace(self, others={**self.others, str(lifter.name): lifter})

    def __iter__(self) -> Iterator[Lifter]:
        yield self.own
        yield from self.others.values()


def lifter_path(folder: Path | None = None) -> Path:
    """Where the measures are kept; the file need not exist."""
    return (config_folder() if folder is None else folder) / "lifter.toml"


def load_lifters(folder: Path | None = None) -> Lifters:
    """Read the measures of all lifters, from the configuration folder or another; reference bodies without a file.

    Raises
    ------
    InputError, FormatError
        The file cannot be read, or a key is unknown or out of range.
    """
    file = lifter_path(folder)
    if not file.exists():
        return Lifters()
    table = read_toml(file)
    named = table.pop("lifter", {})
    if not isinstance(named, dict) or not all(isinstance(one, dict) for one in named.values()):
        raise FormatError(
            "lifters are tables with a name", 'write  [lifter."Anna"]  above their measures', file=str(file)
        )
    own = Lifter(**checked(table, CHECKS, file=str(file)))
    others: dict[str, Lifter] = {}
    for words, measures in named.items():
        try:
            name = clean_name(words, "lifter", empty=False)
        except UsageError as error:
            raise FormatError(str(error), file=str(file), column="lifter") from None
        if name in others or name in OWN_NAMES:
            raise FormatError(
                f"the lifter {name} is there twice", f"{DEFAULT_LIFTER} stands without a name", file=str(file)
            )
        others[name] = Lifter(name=name, **checked(measures, CHECKS, file=str(file), name=f"lifter.{name}"))
    return Lifters(own=own, others=others)


def save_lifters(lifters: Lifters, folder: Path | None = None) -> Path:
    """Write the measures of all lifters; whole or not at all.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        It cannot be written.
    """
    file = lifter_path(folder)
    lines = ["# Bodies of lifters; everything is optional. Lengths in m, mass in kg."]
    for lifter in lifters:
        if lifter.name is not None:
            lines += ["", f"[lifter.{quoted(lifter.name)}]"]
        for name in FIELDS:
            value: object = getattr(lifter, name)
            if value is not None:
                lines.append(f"{name} = {quoted(value) if isinstance(value, str) else repr(value)}")
    return write_kept(file, "\n".join(lines) + "\n")


def length_m(text: str) -> float:
    """Read a length: ``1.75``, ``1.75m``, ``175cm`` or ``318mm``, in m.

    Raises
    ------
    UsageError
        Not a length.
    """
    word = text.strip().casefold().replace(",", ".")
    for unit, factor in (("mm", 0.001), ("cm", 0.01), ("m", 1.0), ("", 1.0)):
        if word.endswith(unit):
            try:
                return float(word.removesuffix(unit)) * factor
            except ValueError:
                break
    raise UsageError(f"expected a length such as 1.75, 175cm or 318mm, got {text!r}")
