"""Measures shoulder raises with one wrist sensor.

The names below are loaded when first used, so that ``import armarc`` is quick.

>>> import armarc
>>> recording = armarc.read_csv("recordings/strict-raise.csv", kept=armarc.NOTHING_KEPT)
>>> session = armarc.process(recording, load_kg=6, kept=armarc.NOTHING_KEPT)
>>> session.to_dict()["armarc_version"] == armarc.__version__
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from armarc.lazy import on_first_use

__version__ = "0.17.0"

if TYPE_CHECKING:
    from armarc.api import NOTHING_KEPT, Kept, MeasuringOptions, open_kept, process, read_csv
    from armarc.errors import ArmarcError
    from armarc.load import Lifter
    from armarc.pipeline import Session
    from armarc.recording import Recording, write_csv
    from armarc.results import Result, read_result

__all__ = [
    "NOTHING_KEPT",
    "ArmarcError",
    "Kept",
    "Lifter",
    "MeasuringOptions",
    "Recording",
    "Result",
    "Session",
    "__version__",
    "open_kept",
    "process",
    "read_csv",
    "read_result",
    "write_csv",
]

_ROOMS = frozenset(
    {"exercises", "load", "log", "motion", "recording", "report", "reps", "sensor", "settings", "simulate"}
)
"""Rooms that are there without an import of their own, as in ``armarc.motion.estimate_orientation``."""


_named = on_first_use(
    __name__,
    {
        "api": "Kept MeasuringOptions NOTHING_KEPT open_kept process read_csv",
        "errors": "ArmarcError",
        "load": "Lifter",
        "pipeline": "Session",
        "recording": "Recording write_csv",
        "results": "Result read_result",
    },
)


def __getattr__(name: str) -> Any:
    return import_module(f"armarc.{name}") if name in _ROOMS else _named(name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__, *_ROOMS})
