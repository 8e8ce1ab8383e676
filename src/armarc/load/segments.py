"""Body segment parameters of the arm: mass, centre of mass and radius of gyration by segment.

Sources
-------
de Leva P (1996) Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters. J Biomech 29:1223-1230,
Table 4: centre of mass from the proximal end, radius of gyration about the centre of mass, both as a
share of the segment's length (shoulder-elbow, elbow-wrist, wrist-third knuckle).

Dempster's values as tabulated in Winter DA (2009) Biomechanics and Motor Control of Human Movement, 4th ed.,
Table 4.1. Its hand ends at the knuckle of the second finger, so its length here is wrist-knuckle too.
Segment lengths as shares of stature for it: upper arm 0.186, forearm 0.146 (Drillis and Contini 1966, values
from memory, to be measured where it matters).
"""

from __future__ import annotations

from dataclasses import dataclass

from armarc.errors import UsageError

GRIP_SHARE_OF_STATURE = 0.054
"""Wrist to the middle of a gripped handle: half of a flat hand's 0.108 of stature (estimate; measure it)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentShares:
    """One segment. Mass as a share of body mass, the rest as shares of the segment's length.

    Parameters
    ----------
    mass, centre, gyration, gyration_long : float
        Centre of mass from the proximal end; radii of gyration about the centre of mass, across and
        along the segment.
    length_of_stature : float
        Typical length as a share of stature.
    """

    mass: float
    centre: float
    gyration: float
    gyration_long: float
    length_of_stature: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentTable:
    """Shares for a whole arm, with the body the lengths were taken from."""

    key: str
    source: str
    reference_mass_kg: float
    reference_stature_m: float
    upper_arm: SegmentShares
    forearm: SegmentShares
    hand: SegmentShares


def _de_leva(key: str, mass_kg: float, stature_m: float, rows: tuple[tuple[float, ...], ...]) -> SegmentTable:
    shares = [
        SegmentShares(
            mass=m / 100,
            centre=c / 100,
            gyration=k / 100,
            gyration_long=kl / 100,
            length_of_stature=mm / 1000 / stature_m,
        )
        for m, c, k, kl, mm in rows
    ]
    return SegmentTable(
        key=key,
        source="de Leva 1996, J Biomech 29:1223, Table 4",
        reference_mass_kg=mass_kg,
        reference_stature_m=stature_m,
        upper_arm=shares[0],
        forearm=shares[1],
        hand=shares[2],
    )


# mass %, centre of mass %, radius of gyration (sagittal) %, (longitudinal) %, mean length mm
DE_LEVA_MALE = _de_leva(
    "de-leva-male",
    73.0,
    1.741,
    ((2.71, 57.72, 28.5, 15.8, 281.7), (1.62, 45.74, 27.6, 12.1, 268.9), (0.61, 79.00, 62.8, 40.1, 86.2)),
)
DE_LEVA_FEMALE = _de_leva(
    "de-leva-female",
    61.9,
    1.735,
    ((2.55, 57.54, 27.8, 14.8, 275.1), (1.38, 45.59, 26.1, 9.4, 264.3), (0.56, 74.74, 53.1, 33.5, 78.0)),
)
WINTER = SegmentTable(
    key="winter",
    source="Dempster in Winter 2009, 4th ed., Table 4.1",
    reference_mass_kg=73.0,
    reference_stature_m=1.741,
    # The table has no radius along the segment: de Leva's is used, it hardly matters for a raise.
    upper_arm=SegmentShares(
        mass=0.028, centre=0.436, gyration=0.322, gyration_long=0.158, length_of_stature=0.186
    ),
    forearm=SegmentShares(
        mass=0.016, centre=0.430, gyration=0.303, gyration_long=0.121, length_of_stature=0.146
    ),
    hand=SegmentShares(
        mass=0.006, centre=0.506, gyration=0.297, gyration_long=0.401, length_of_stature=0.0862 / 1.741
    ),
)
TABLES = {table.key: table for table in (DE_LEVA_MALE, DE_LEVA_FEMALE, WINTER)}
TABLE_CHOICES = ("de-leva", "winter")


def segment_table(choice: str = "de-leva", sex: str | None = None) -> SegmentTable:
    """Pick a table.

    Parameters
    ----------
    choice : str
        ``"de-leva"`` (by sex) or ``"winter"``.
    sex : str or None
        ``"male"`` or ``"female"``; None takes the male table.

    Raises
    ------
    UsageError
        For any other choice.
    """
    if choice == "winter":
        return WINTER
    if choice == "de-leva":
        return DE_LEVA_FEMALE if sex == "female" else DE_LEVA_MALE
    raise UsageError(f"there is no segment table {choice!r}", f"choose one of {', '.join(TABLE_CHOICES)}")
