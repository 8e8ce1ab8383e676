"""What the shoulder had to do: lifter, resistances, moments, planning, line of pull.

Everything here is loaded on first use, so that importing the room costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from armarc.lazy import on_first_use

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

__getattr__ = on_first_use(
    __name__,
    {
        "comparison": "compare ideal_template measured_template",
        "grammar": "parse_all parse_resistances",
        "lifter": "Lifter Lifters load_lifters save_lifters",
        "moment_arms": "lines_of_pull",
        "plan_report": "make_report",
        "plan_words": "plan_record",
        "records": "load_record",
        "resistance": "Cable Dumbbell ElasticBand Machine Resistance describe",
        "set_load": "RepLoad SetLoad measure_load",
    },
)
