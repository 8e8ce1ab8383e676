"""Sets in a session, reps in a set, phases, measures, target bands."""

from armarc.reps.types import MeasuredSet, Phases, Rep

__all__ = ["MeasuredSet", "Phases", "Rep"]
