"""What the shoulder had to do in a measured recording, beside the measures of its reps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from armarc.pipeline import Session

if TYPE_CHECKING:
    from armarc.load import Lifter, Resistance, SetLoad

FREE_WEIGHTS = ("dumbbell", "any")


def measured_loads(
    session: Session, lifter: Lifter, resistances: tuple[Resistance, ...] | None = None
) -> tuple[tuple[SetLoad, ...], str]:
    """Work out the shoulder's moment for every set, where it can be.

    Parameters
    ----------
    session : Session
    lifter : Lifter
    resistances : tuple of Resistance or None
        What resists; None takes the stated load as a dumbbell where the exercise is lifted with one.

    Returns
    -------
    loads, why_not : tuple of SetLoad, str
        One per set, or none and the reason.
    """
    from armarc.load import measure_load

    exercise = session.choices.exercise
    if exercise.sensor_place != "wrist":
        return (), f"shoulder moments need a straight arm: {exercise.name} bends the elbow"
    if resistances is None:
        if session.choices.load_kg is None:
            return (), ""
        if exercise.resistance not in FREE_WEIGHTS:
            return (), (
                f"the load is known but not how it pulls: describe the {exercise.resistance} with --resistance "
                "to get shoulder moments"
            )
    return (
        tuple(
            measure_load(
                session.motions[session.motion_of_set[k]],
                measured,
                lifter=lifter,
                resistances=resistances,
                loaded_range_rad=exercise.loaded_range_rad,
            )
            for k, measured in enumerate(session.sets)
        ),
        "",
    )


def add_loads(result: dict[str, Any], loads: tuple[SetLoad, ...]) -> None:
    """Put the loads into a result: their keys into every rep, the rest under ``load`` in every set.

    Parameters
    ----------
    result : dict
        From `Session.to_dict`; changed in place.
    loads : tuple of SetLoad
        One per set.
    """
    from armarc.load import load_record

    for measured, load in zip(result["sets"], loads, strict=True):
        record = load_record(load)
        by_rep = {rep["rep"]: rep for rep in record.pop("reps")}
        for rep in measured["reps"]:
            rep.update({key: value for key, value in by_rep.get(rep["rep"], {}).items() if key != "rep"})
        measured["load"] = record
