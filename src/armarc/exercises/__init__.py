"""The catalogue of exercises (TOML data) and its loader."""

from armarc.exercises.loader import DEFAULT_EXERCISE, exercises_folder, find_exercise, load_catalogue
from armarc.exercises.types import (
    GATES_FROM,
    SENSOR_PLACES,
    TEMPLATE,
    Band,
    Exercise,
    band_words,
    coordinate_meaning,
    exercise_record,
    sensor_advice,
)

__all__ = [
    "DEFAULT_EXERCISE",
    "GATES_FROM",
    "SENSOR_PLACES",
    "TEMPLATE",
    "Band",
    "Exercise",
    "band_words",
    "coordinate_meaning",
    "exercise_record",
    "exercises_folder",
    "find_exercise",
    "load_catalogue",
    "sensor_advice",
]
