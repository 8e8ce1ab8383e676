"""What armarc knows about an exercise, and that as plain records in degrees."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from armarc.errors import UsageError
from armarc.published import published

GATES_FROM = ("bottom", "vertical")
COORDINATES = ("elevation", "horizontal", "movement")
SENSOR_PLACES = ("wrist", "upper arm")


def band_words(band_deg_s: Sequence[float], basis: str | None, *, dash: str = "-") -> str:
    """A band in words: ``working band 45-70 °/s, no source``, or what an own band rests on.

    Not every terminal can print the dash that pictures and pages have.
    """
    edges = f"{round(band_deg_s[0], 3):g}{dash}{round(band_deg_s[1], 3):g} °/s"
    return f"own band {edges} {basis}" if basis else f"working band {edges}, no source"


@dataclass(frozen=True, slots=True)
class Band:
    """Target band of the start velocity, rad/s; ``basis`` says what an own band rests on, empty for a working band."""

    low_rad_s: float
    high_rad_s: float
    basis: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.low_rad_s < self.high_rad_s or not math.isfinite(self.high_rad_s):
            raise UsageError(
                f"a band needs two rising speeds, got {math.degrees(self.low_rad_s):g} to "
                f"{math.degrees(self.high_rad_s):g} °/s",
                "for example 45 to 70",
            )

    @property
    def words(self) -> str:
        """The band and what it rests on, as it stands wherever a band is printed."""
        return band_words(self._edges_deg_s, self.basis)

    @property
    def picture_words(self) -> str:
        """The same as it stands in pictures."""
        return band_words(self._edges_deg_s, self.basis, dash="–")

    @property
    def _edges_deg_s(self) -> tuple[float, float]:
        return math.degrees(self.low_rad_s), math.degrees(self.high_rad_s)

    def verdict(self, start_velocity_rad_s: float) -> str:
        """Say ``"below"``, ``"inside"`` or ``"above"``; the edges are inside."""
        if start_velocity_rad_s < self.low_rad_s:
            return "below"
        return "above" if start_velocity_rad_s > self.high_rad_s else "inside"

    def edge_distance_rad_s(self, start_velocity_rad_s: float) -> float:
        """How far a start is from the nearer edge, rad/s."""
        return min(abs(start_velocity_rad_s - edge) for edge in (self.low_rad_s, self.high_rad_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """One catalogue entry.

    Parameters
    ----------
    key : str
        Short name used on the command line, e.g. ``"lateral-raise"``.
    name : str
    sensor_place : str
        ``"wrist"`` or ``"upper arm"``.
    coordinate : str
        Which angle counts: ``"elevation"``, ``"horizontal"`` or ``"movement"``.
    gate_from : str
        Where the gate counts from: ``"bottom"`` of each rep, or the ``"vertical"`` for lifters whose bottom varies.
    gate_rad : tuple of float, rad
        Start gate, as rise above the bottom of the rep.
    band : Band or None
    loaded_range_rad : tuple of float, rad, or None
        In the exercise's own angle.
    smallest_rom_rad : float, rad
        Anything smaller is not a rep.
    swung_m : float, m
        A rep whose body swing is surely larger is flagged ``swung`` (our own working limit, no source).
    dropped_share : float
        A rep of whose static moment less was held somewhere while lowering is flagged ``dropped`` (our own working
        limit, no source).
    plane_rad : float, rad, or None
        Plane of elevation the raise is meant in (0 to the side, π/2 forward), where the recording does not tell it.
    rest_s : float, s
        A pause at the bottom at least this long ends the set.
    caution : str
    resistance : str
        ``"dumbbell"``, ``"cable"``, ``"machine"``, ``"band"`` or ``"any"``.
    source : str
        Where the entry came from: ``"armarc"`` or a file name.
    aliases : tuple of str
        Other names people use for it.
    note : str
        What the numbers rest on, and how the exercise is meant here.
    """

    key: str
    name: str
    sensor_place: str = "wrist"
    coordinate: str = "elevation"
    gate_rad: tuple[float, float] = (math.radians(10), math.radians(20))
    gate_from: str = "bottom"
    band: Band | None = None
    loaded_range_rad: tuple[float, float] | None = None
    smallest_rom_rad: float = math.radians(30)
    swung_m: float = 0.03
    dropped_share: float = 0.5
    plane_rad: float | None = None
    rest_s: float = 10.0
    caution: str = ""
    resistance: str = "any"
    source: str = "armarc"
    aliases: tuple[str, ...] = ()
    note: str = ""

    def gate_above(self, bottom_rad: float) -> tuple[float, float]:
        """Edges of the start gate above a rep's bottom, rad; below 0 where the bottom lies above an edge."""
        low, high = self.gate_rad
        return (low, high) if self.gate_from == "bottom" else (low - bottom_rad, high - bottom_rad)


_PLACES = {
    "wrist": "on the wrist like a watch, snug enough that it does not turn",
    "upper arm": "on the outside of the upper arm just above the elbow, because the elbow bends in this lift",
}
_COORDINATES = {
    "elevation": "elevation of the arm: 0° hanging, 90° level",
    "horizontal": "horizontal angle about the vertical axis; if the movement turns about another axis, "
    "the angle about that one",
    "movement": "angle of the movement about its own main axis",
}

TEMPLATE = """\
# Own exercises for armarc. Save under any name ending in .toml in the folder that
# `armarc exercises --folder` prints.
# One table per exercise, as many as you like. A key armarc already knows changes only what you write here.

[my-cable-raise]                       # the key you type: small letters, digits, hyphens
name = "Lateral raise, my cable"       # what tables and pictures show
based_on = "cable-lateral-raise"       # start from this entry; leave out to start from nothing
# aliases = ["blue cable raise"]       # other names you may type
# sensor_place = "wrist"               # "wrist" or "upper arm" (bent-elbow lifts)
# coordinate = "elevation"             # the angle that counts: "elevation", "horizontal" or "movement"
# gate_deg = [10, 20]                  # start gate: rise above the bottom of the rep, degrees
# band_deg_s = [45, 70]                # target band of the start velocity, °/s, or "none"
# loaded_range_deg = [30, 60]          # where the load should meet the muscle, degrees, or "none"
# smallest_rom_deg = 30                # anything smaller is not a rep, degrees
# swung_cm = 3                         # more body swing than this is flagged (our own working limit)
# dropped_pct = 50                     # less of the static moment held while lowering is flagged (the same)
# plane_deg = 0                        # plane the raise is meant in: 0 to the side, 90 forward, or "none"
# rest_s = 10                          # a pause at the bottom this long ends the set, seconds
# resistance = "cable"                 # "dumbbell", "cable", "machine", "band" or "any"
# caution = "..."                      # shown with the exercise
# note = "..."                         # what your numbers rest on
"""
"""Commented TOML to start an own entry from."""


def sensor_advice(exercise: Exercise) -> str:
    """Say where the sensor goes."""
    return _PLACES[exercise.sensor_place]


def coordinate_meaning(exercise: Exercise) -> str:
    """Say which angle counts."""
    return _COORDINATES[exercise.coordinate]


_KEYS = (
    *("key", "name", "aliases", "sensor_place", "coordinate", "gate_deg", "band_deg_s", "loaded_range_deg"),
    *(
        "smallest_rom_deg",
        "swung_cm",
        "dropped_pct",
        "plane_deg",
        "rest_s",
        "resistance",
        "note",
        "caution",
        "source",
    ),
)


def exercise_record(exercise: Exercise) -> dict[str, Any]:
    """One entry in degrees, with the keys of a catalogue file."""
    band = None if exercise.band is None else published(exercise.band, 6)
    edges = None if band is None else [band["low_deg_s"], band["high_deg_s"]]
    record = published(exercise, 6) | {"band_deg_s": edges}
    return {key: record[key] for key in _KEYS}
