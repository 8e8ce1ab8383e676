"""What the shoulder had to do: lifter, resistances, moments, planning, line of pull.

Everything here is loaded on first use, so that importing the room costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.load.comparison import compare, ideal_template, measured_template
    from armarc.load.grammar import parse_all, parse_resistances
    from armarc.load.lifter import Lifter, Lifters, load_lifters, save_lifters
    from armarc.load.moment_arms import lines_of_pull
    from armarc.load.plan_report import make_report
    from armarc.load.plan_words import plan_record
    from armarc.load.records import load_record
    from armarc.load.resistance import Cable, Dumbbell, ElasticBand, Machine, Resistance, describe
    from armarc.load.set_load import RepLoad, SetLoad, measure_load

_PLACES = {
    "compare": "comparison",
    "ideal_template": "comparison",
    "measured_template": "comparison",
    "parse_all": "grammar",
    "parse_resistances": "grammar",
    "Lifter": "lifter",
    "Lifters": "lifter",
    "load_lifters": "lifter",
    "save_lifters": "lifter",
    "lines_of_pull": "moment_arms",
    "make_report": "plan_report",
    "plan_record": "plan_words",
    "load_record": "records",
    "Cable": "resistance",
    "Dumbbell": "resistance",
    "ElasticBand": "resistance",
    "Machine": "resistance",
    "Resistance": "resistance",
    "describe": "resistance",
    "RepLoad": "set_load",
    "SetLoad": "set_load",
    "measure_load": "set_load",
}

__all__ = [
    "Cable",
    "Dumbbell",
    "ElasticBand",
    "Lifter",
    "Lifters",
    "Machine",
    "RepLoad",
    "Resistance",
    "SetLoad",
    "compare",
    "describe",
    "ideal_template",
    "lines_of_pull",
    "load_lifters",
    "load_record",
    "make_report",
    "measure_load",
    "measured_template",
    "parse_all",
    "parse_resistances",
    "plan_record",
    "save_lifters",
]


def __getattr__(name: str) -> Any:
    if name in _PLACES:
        return getattr(import_module(f"armarc.load.{_PLACES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
