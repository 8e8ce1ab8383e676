"""Line of pull: by how much each part of the deltoid and the supraspinatus could lift, as geometry.

The numbers are those of a published musculoskeletal model of the upper limb (Saul et al. 2015, Comput
Methods Biomech Biomed Engin 18:1445, after Holzbaur, Murray, Delp 2005, Ann Biomed Eng 33:829), evaluated at
fixed postures of an open conversion of it, with the model's own scapular rhythm. They are not cadaver
measurements. Below 45° the model's deltoid arms are smaller than those reported from cadavers: use the shape
and the direction of change, not the size. Signs agree with tendon-excursion studies where those were within
reach: Ackland et al. 2008 (J Anat 213:383), Liu et al. 1997 (Clin Biomech 12:32), review Hik and Ackland 2019
(J Anat 234:1).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.recording import FloatArray

MUSCLES = ("anterior deltoid", "middle deltoid", "posterior deltoid", "supraspinatus")

SOURCE = (
    "Values of a published upper-limb model (Saul et al. 2015, after Holzbaur et al. 2005), not cadaver "
    "measurements; below 45° its deltoid arms are smaller than cadaver reports."
)
LIMITS = (
    "A moment arm is geometry: it says how well a pull could lift, not how hard a muscle works. Muscle "
    "activity is another question, and studies of it are small (Coratella et al. 2020, IJERPH 17:6015: ten "
    "people)."
)
DISAGREEMENTS = (
    "In the model, turning the hand inward changes the middle deltoid's arm by a few millimetres, up in the "
    "frontal plane and hardly at all in the scapular plane: it does not isolate it.",
    "The model gives the supraspinatus less leverage with the hand turned inward in the frontal plane; Liu "
    "et al. 1997 found that rotation changes all six muscles they measured, and not in a straight line.",
    "In the scapular plane the model's posterior deltoid lowers the arm, as Liu et al. 1997 found; in the "
    "frontal plane the model lets it lift at low angles, which no source within reach confirms.",
    "Whether any angle or hand position harms the shoulder is contested; nothing here says that one does. "
    "Pain means stop.",
)

ELEVATIONS_DEG = (10.0, 30.0, 45.0, 60.0, 75.0, 90.0, 105.0, 120.0)
LARGEST_ROTATION_RAD = math.radians(45)

# plane deg -> axial rotation deg (+ internal) -> muscle -> mm by elevation; + lifts
_TABLES: dict[float, dict[float, dict[str, tuple[float, ...]]]] = {
    0.0: {
        -45.0: {
            "anterior deltoid": (-10.6, -4.4, 1.9, 9.1, 16.5, 23.9, 30.6, 36.4),
            "middle deltoid": (0.4, 6.2, 10.4, 14.2, 17.4, 19.7, 20.1, 18.0),
            "posterior deltoid": (19.4, 17.1, 11.9, 4.1, -5.1, -14.1, -21.4, -26.2),
            "supraspinatus": (22.2, 21.7, 19.4, 13.8, 4.1, -6.5, -13.0, -15.2),
        },
        0.0: {
            "anterior deltoid": (-11.3, -6.1, -0.3, 6.5, 13.7, 21.0, 27.7, 33.6),
            "middle deltoid": (-1.2, 4.9, 9.6, 14.0, 17.9, 21.2, 23.6, 22.8),
            "posterior deltoid": (18.4, 16.1, 11.1, 3.8, -4.7, -13.0, -19.6, -24.0),
            "supraspinatus": (21.2, 19.5, 14.8, 5.8, -5.3, -13.8, -17.9, -19.1),
        },
        45.0: {
            "anterior deltoid": (-11.1, -6.9, -1.7, 4.6, 11.6, 18.6, 25.4, 31.4),
            "middle deltoid": (1.8, 7.9, 12.5, 17.0, 21.1, 24.6, 26.3, 24.4),
            "posterior deltoid": (17.5, 16.1, 12.1, 5.9, -1.8, -9.6, -16.3, -21.0),
            "supraspinatus": (5.8, 1.2, -3.1, -7.3, -10.6, -12.8, -13.8, -13.9),
        },
    },
    30.0: {
        -45.0: {"middle deltoid": (5.9, 9.3, 11.8, 14.1, 16.1, 17.1, 16.8, 15.9)},
        0.0: {
            "anterior deltoid": (12.9, 14.0, 15.2, 16.8, 18.6, 20.5, 22.3, 23.9),
            "middle deltoid": (2.0, 5.7, 8.5, 11.2, 13.8, 16.2, 18.3, 18.9),
            "posterior deltoid": (-4.6, -3.3, -2.9, -3.1, -3.8, -4.7, -5.9, -7.2),
            "supraspinatus": (18.0, 18.4, 17.9, 16.0, 11.6, 3.5, -6.3, -13.0),
        },
        45.0: {"middle deltoid": (1.3, 5.2, 8.2, 11.2, 14.1, 16.9, 19.4, 21.6)},
    },
    90.0: {
        0.0: {
            "anterior deltoid": (40.7, 44.8, 45.8, 44.0, 38.1, 27.1, 12.1, -3.5),
            "middle deltoid": (8.0, 12.4, 15.7, 18.8, 19.8, 20.1, 20.2, 19.9),
            "posterior deltoid": (-27.5, -24.1, -20.9, -16.9, -12.1, -6.6, -0.4, 6.1),
        },
    },
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LineOfPull:
    """Moment arms of one muscle by elevation.

    Parameters
    ----------
    muscle : str
    elevation_rad : ndarray, shape (n,), rad
    moment_arm_m : ndarray, shape (n,), m
        Positive lifts the arm; NaN where the tables do not reach.
    """

    muscle: str
    elevation_rad: FloatArray
    moment_arm_m: FloatArray


def axial_rotation(plane_rad: float, hand_rotation_rad: float, shoulder_share: float = 1.0) -> float:
    """Axial rotation of the upper arm (+ internal) that goes with a hand rotation at horizontal.

    With the thumb forward at the hanging arm and no axial rotation on the way, an arm raised to horizontal in
    plane γ has its thumb at an elevation of γ; turning the hand by the shoulder alone takes it to γ minus the
    rotation. The forearm can do part of the turning, which leaves the upper arm where it was.

    Parameters
    ----------
    plane_rad : float, rad
    hand_rotation_rad : float, rad
        Elevation of the thumb direction with the arm horizontal.
    shoulder_share : float
        How much of the turning the shoulder does, 0…1.

    Returns
    -------
    float, rad
    """
    if not 0 <= shoulder_share <= 1:
        raise UsageError(f"the shoulder's share of the turning lies between 0 and 1, got {shoulder_share:g}")
    return shoulder_share * (plane_rad - hand_rotation_rad)


def lines_of_pull(
    plane_rad: float, rotation_rad: float, elevation_rad: FloatArray
) -> tuple[tuple[LineOfPull, ...], tuple[str, ...]]:
    """Moment arms for elevation by linear interpolation between the tabulated postures.

    Parameters
    ----------
    plane_rad : float, rad
        Plane of elevation, 0 frontal, 90° sagittal; the tables cover 0 to 90°.
    rotation_rad : float, rad
        Axial rotation of the upper arm, + internal; the tables cover ±45° in the frontal plane, for the
        middle deltoid to the scapular plane, and none further forward.
    elevation_rad : ndarray, shape (n,), rad

    Returns
    -------
    lines : tuple of LineOfPull
        One per muscle; NaN where the tables do not reach. Nothing is extrapolated.
    notes : tuple of str

    Raises
    ------
    UsageError
        For a plane outside 0-90°.
    """
    plane = math.degrees(plane_rad)
    if not -1e-9 <= plane <= 90 + 1e-9:
        raise UsageError(
            f"the tables cover planes of elevation from 0 (frontal) to 90° (forward), got {plane:g}°"
        )
    plane = min(max(plane, 0.0), 90.0)
    notes = []
    rotation = rotation_rad
    if abs(rotation) > LARGEST_ROTATION_RAD + 1e-9:
        rotation = math.copysign(LARGEST_ROTATION_RAD, rotation)
        notes.append(
            f"the tables end at ±45° of axial rotation: {math.degrees(rotation_rad):.0f}° is shown as "
            f"{math.degrees(rotation):+.0f}°"
        )
    elevation = np.degrees(np.asarray(elevation_rad, float))
    lines = []
    missing = []
    for muscle in MUSCLES:
        values = _by_elevation(plane, math.degrees(rotation), muscle)
        if values is None:
            arm = np.full(elevation.shape, np.nan)
            missing.append(muscle)
        else:
            arm = np.interp(elevation, ELEVATIONS_DEG, values, left=np.nan, right=np.nan) / 1000
        lines.append(LineOfPull(muscle=muscle, elevation_rad=np.radians(elevation), moment_arm_m=arm))
    if missing:
        notes.append(
            f"not tabulated at plane {plane:.0f}° with {math.degrees(rotation):+.0f}° of axial rotation: "
            + ", ".join(missing)
        )
    if np.any((elevation < ELEVATIONS_DEG[0] - 1e-9) | (elevation > ELEVATIONS_DEG[-1] + 1e-9)):
        notes.append("the tables run from 10 to 120° of elevation")
    return tuple(lines), tuple(notes)


def _by_elevation(plane: float, rotation: float, muscle: str) -> FloatArray | None:
    planes = sorted(_TABLES)
    above = next(p for p in planes if p >= plane)
    below = max(p for p in planes if p <= plane)
    low = _at_plane(below, rotation, muscle)
    if above == below or low is None:
        return low
    high = _at_plane(above, rotation, muscle)
    if high is None:
        return None
    share = (plane - below) / (above - below)
    return np.asarray((1 - share) * low + share * high)


def _at_plane(plane: float, rotation: float, muscle: str) -> FloatArray | None:
    rows = {r: table[muscle] for r, table in _TABLES[plane].items() if muscle in table}
    turns = sorted(rows)
    if not turns or not turns[0] - 1e-9 <= rotation <= turns[-1] + 1e-9:
        return None
    columns = np.array([rows[turn] for turn in turns])
    return np.array([np.interp(rotation, turns, column) for column in columns.T])
