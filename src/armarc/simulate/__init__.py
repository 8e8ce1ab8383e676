"""A rigid arm or a whole body with known truth: plan a session, get the recording and what really happened."""

from armarc.simulate.body import Body
from armarc.simulate.choreography import Event
from armarc.simulate.grades import SENSOR_GRADES, SensorGrade
from armarc.simulate.options import SimulationOptions, plan_session
from armarc.simulate.patterns import PATTERNS, Pattern, find_pattern
from armarc.simulate.plan import MountPlan, RepPlan, SensorPlan, SessionPlan, SetPlan
from armarc.simulate.scenarios import BODIES, SCENARIOS, draw_body, draw_options, draw_session
from armarc.simulate.session import simulate_session
from armarc.simulate.truth import Truth, TruthRep, TruthSeries, TruthSet
from armarc.simulate.truth_file import read_truth, rep_record, truth_path, truth_record, write_truth

__all__ = [
    "BODIES",
    "PATTERNS",
    "SCENARIOS",
    "SENSOR_GRADES",
    "Body",
    "Event",
    "MountPlan",
    "Pattern",
    "RepPlan",
    "SensorGrade",
    "SensorPlan",
    "SessionPlan",
    "SetPlan",
    "SimulationOptions",
    "Truth",
    "TruthRep",
    "TruthSeries",
    "TruthSet",
    "draw_body",
    "draw_options",
    "draw_session",
    "find_pattern",
    "plan_session",
    "read_truth",
    "rep_record",
    "simulate_session",
    "truth_path",
    "truth_record",
    "write_truth",
]
