"""Where on the arm a sensor sits: which reaches are an arm's, and how high above the bone it lies."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where on the arm a sensor sits: how far from the pivot it can be, and how high above the bone.

    Parameters
    ----------
    least_reach_m, most_reach_m : float, m
        Of grown people, by any exercise (own judgement, no source).
    unknown_height_m : float, m
        Spread of the height where the strap's place was not stated.
    height_m, height_se_m : float, m
        Half a limb and half a sensor, used where only the strap's place was stated (common practice, no source).
    faces_outward : bool
        Whether a sensor whose strap's place nobody stated is taken to lie flat, its z axis away from the skin. Above
        the elbow the height turns the line to the sensor by some 15°, and the assumption is worth its risk; at the
        wrist it is 2–3°, within the standard error.
    """

    least_reach_m: float
    most_reach_m: float
    unknown_height_m: float
    height_m: float
    height_se_m: float
    faces_outward: bool = False


WRIST = Place(least_reach_m=0.3, most_reach_m=0.85, unknown_height_m=0.022, height_m=0.025, height_se_m=0.006)
FOREARM = replace(WRIST, least_reach_m=0.15)
"""At the wrist too, but it may turn about the elbow: not an exercise that raises the arm."""
UPPER_ARM = Place(
    least_reach_m=0.1,
    most_reach_m=0.4,
    unknown_height_m=0.035,
    height_m=0.035,
    height_se_m=0.02,
    faces_outward=True,
)


def place_of(sensor_place: str, coordinate: str) -> Place:
    """Look up where an exercise's sensor sits, by the words of its entry."""
    if sensor_place == "upper arm":
        return UPPER_ARM
    return WRIST if coordinate == "elevation" else FOREARM


def is_upper_arms(reach_m: float | None) -> bool:
    """Whether a sensor so far from the shoulder can sit above the elbow; one nobody knows the reach of, too."""
    return reach_m is None or reach_m <= UPPER_ARM.most_reach_m
