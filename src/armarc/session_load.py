"""What the shoulder had to do in the sets of a recording, beside the measures of its reps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from armarc.choices import Choices
from armarc.computer import shell_word
from armarc.motion import ArmMotion
from armarc.motion.place import place_of
from armarc.reps import MeasuredSet
from armarc.reps.swing import Swing

if TYPE_CHECKING:
    from armarc.load import SetLoad

FREE_WEIGHTS = ("dumbbell", "any")


def measured_loads(
    choices: Choices,
    measured: Sequence[tuple[ArmMotion, MeasuredSet]],
    swings: Sequence[Sequence[Swing]],
) -> tuple[tuple[SetLoad, ...], tuple[str, ...]]:
    """Work out the shoulder's moment for every set, where it can be.

    Parameters
    ----------
    choices : Choices
        With the lifter's body; where no resistance is described, the stated load is taken for a dumbbell if the
        exercise is lifted with one.
    measured : sequence of (ArmMotion, MeasuredSet)
        Every set with the motion it was measured on.
    swings : sequence of sequences of Swing
        How the shoulder moved, per set and rep.

    Returns
    -------
    loads, said : tuple of SetLoad, tuple of str
        One per set, or none; and what is to be known about it, or why there is none.

    Raises
    ------
    UsageError
        A resistance cannot be understood.
    """
    if not measured or (choices.resistance is None and choices.load_kg is None):
        return (), ()
    from armarc.load import measure_load, parse_all

    exercise, lifter = choices.exercise, choices.lifter
    place = place_of(exercise.sensor_place, exercise.coordinate)
    reaches = [motion.mounting.reach_m for motion, _ in measured]
    if exercise.sensor_place != "wrist" or any(r is not None and r < place.least_reach_m for r in reaches):
        return (), (
            "shoulder moments need the wrist: a sensor on the upper arm does not see where the load is",
        )
    if choices.resistance is None and exercise.resistance not in FREE_WEIGHTS:
        return (), (
            f"the load is known but not how it pulls: describe the {exercise.resistance} with --resistance "
            "to get shoulder moments",
        )
    resistances = None if choices.resistance is None else parse_all(list(choices.resistance))
    loads = tuple(
        measure_load(
            motion,
            one,
            lifter=lifter,
            resistances=resistances,
            loaded_range_rad=exercise.loaded_range_rad,
            swings=swings[k],
        )
        for k, (motion, one) in enumerate(measured)
    )
    if lifter.name is None or lifter.given:
        return loads, ()
    return loads, (
        f"no measures of {lifter.name} are kept: shoulder moments are those of a reference body of "
        f"{lifter.table.reference_mass_kg:g} kg; "
        f"armarc lifter set {shell_word(lifter.name)} --body-mass … --stature …",
    )
