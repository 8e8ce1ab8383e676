"""Measures shoulder raises with one wrist sensor.

The names below are loaded when first used, so that ``import armarc`` is quick.

>>> import armarc
>>> recording = armarc.read_csv("set.csv")            # doctest: +SKIP
>>> session = armarc.process(recording, side="left")  # doctest: +SKIP
>>> session.frame()                                   # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.2.0"

if TYPE_CHECKING:
    from armarc.errors import ArmarcError
    from armarc.pipeline import Session, process
    from armarc.recording import Recording, read_csv, write_csv

__all__ = ["ArmarcError", "Recording", "Session", "__version__", "process", "read_csv", "write_csv"]

_HOMES = {
    "ArmarcError": "armarc.errors",
    "Recording": "armarc.recording",
    "Session": "armarc.pipeline",
    "process": "armarc.pipeline",
    "read_csv": "armarc.recording",
    "write_csv": "armarc.recording",
}


_ROOMS = frozenset(
    {"exercises", "load", "log", "motion", "recording", "report", "reps", "sensor", "settings", "simulate"}
)
"""Rooms that are there without an import of their own, as in ``armarc.motion.estimate_orientation``."""


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    if name in _ROOMS:
        return import_module(f"armarc.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
