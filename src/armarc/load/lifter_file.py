"""The measures of lifters on disk: ``lifter.toml`` in the configuration folder, one table per name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from armarc.errors import FormatError, UsageError
from armarc.files import write_kept
from armarc.folders import config_folder
from armarc.load.lifter import LIMITS, SEXES, Lifter
from armarc.load.segments import TABLE_CHOICES
from armarc.quantities import DEFAULT_LIFTER, clean_name
from armarc.strict_toml import Check, checked, number, one_of, quoted, read_toml

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
            value: Any = getattr(lifter, name)
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
