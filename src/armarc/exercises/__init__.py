"""The catalogue of exercises (TOML data) and its loader."""

from armarc.exercises.types import Band, Exercise

__all__ = ["Band", "Exercise"]
