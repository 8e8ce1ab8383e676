"""Options of ``armarc simulate``: a row each, with what it sets in the plan of a session."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.option_rows import OptionRow

if TYPE_CHECKING:
    from armarc.simulate import Body, SimulationOptions

REPS, BODY, REST, STRAP, SENSOR, FILE = "Reps", "Body", "Around the sets", "Strap", "Sensor", "File"


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulationRow(OptionRow):
    """An option of ``armarc simulate``; where its default is None the plan's own counts, or the drawn body's.

    Parameters
    ----------
    sets : str
        Field of `armarc.simulate.SimulationOptions`, or of a part of it as in ``"body.tip_s"``; empty for what the
        command itself makes something of.
    in_si : callable
        From what is typed to what is set.
    """

    sets: str = ""
    in_si: Callable[[Any], Any] = lambda value: value


def _row(name: str, panel: str, sets: str, text: str, default: Any = None, **more: Any) -> SimulationRow:
    kind = more.pop("kind", float if default is None else type(default))
    return SimulationRow(name=name, panel=panel, help=text, sets=sets, default=default, kind=kind, **more)


def _degrees(name: str, panel: str, sets: str, text: str, default: float | None = None) -> SimulationRow:
    return _row(name, panel, sets, text, default, metavar="DEG", in_si=math.radians)


def _percent(name: str, panel: str, sets: str, text: str, default: float | None = None) -> SimulationRow:
    return _row(name, panel, sets, text, default, metavar="PERCENT", in_si=_of_hundred)


def _of_hundred(value: float) -> float:
    return value / 100


ROWS = (
    _row("exercise", REPS, "", "Movement, by its catalogue name.", "lateral-raise"),
    _row("reps", REPS, "reps", "Reps per set.", 8),
    _row("sets", REPS, "sets", "Sets.", 1),
    _row(
        "tempo",
        REPS,
        "",
        "Seconds of eccentric / pause at the bottom / concentric / hold at the top.",
        "2/0.3/1.6/0.2",
        metavar="E/P/C/H",
    ),
    _row("hold_s", REPS, "hold_s", "Hold at the top, instead of the tempo's."),
    _row(
        "start_velocity",
        REPS,
        "",
        "Speed through the start gate, or 'free' (default 57 where it fits).",
        metavar="DEG/S",
        kind=str,
    ),
    _degrees("rom", REPS, "rom_rad", "Range of motion."),
    _degrees("bottom", REPS, "bottom_rad", "Angle at the bottom."),
    _row("plane", REPS, "", "Plane of elevation, 0 side, 90 front.", metavar="DEG"),
    _degrees("hand_rotation", REPS, "hand_rotation_rad", "Thumb above level at the top."),
    _degrees("hang_turn", REPS, "hang_turn_rad", "Thumb turned inward while hanging.", 0.0),
    _row("side", REPS, "side", "right or left.", "right"),
    _row("load", REPS, "", "Load for the header, for example 6kg.", kind=str),
    _row("swing_cm", REPS, "swing_m", "Shoulder travel in the concentric.", default=0.0, in_si=_of_hundred),
    _row("swing_returns", REPS, "swing_returns", "'within' the concentric or 'after' it.", "within"),
    _row(
        "dip_cm", REPS, "dip_m", "How far the shoulder sinks before the rep.", default=0.0, in_si=_of_hundred
    ),
    _percent("fatigue", REPS, "fatigue", "Speed lost by the last rep.", 0.0),
    _percent("variation", REPS, "variation", "Spread from rep to rep.", 3.0),
    _row("partial_last", REPS, "partial_last", "Last rep only half way.", False),
    _row("cheat_rep", REPS, "cheat_rep", "Swing rep N.", metavar="N", kind=int),
    _row("grind", REPS, "grind", "Sticking point of the last rep, 0 to 1.", 0.0),
    _row("tremor_deg", REPS, "tremor_rad", "8-12 Hz tremor.", default=0.0, in_si=math.radians),
    _row("pulses", REPS, "pulses", "Pulses at the top of every rep.", 0),
    _row("pulse_deg", REPS, "pulse_rad", "Depth of a pulse.", default=12.0, in_si=math.radians),
    _row("pulse_s", REPS, "pulse_s", "Time of a pulse.", 0.7),
    _degrees("sink", REPS, "sink_rad", "How far the arm sinks in every hold.", 0.0),
    _percent("double_tops", REPS, "double_tops", "Reps that sink and rise again at the top.", 0.0),
    _row("alternating", REPS, "alternating", "The other arm's rep follows each of this one's.", False),
    _row(
        "body",
        BODY,
        "",
        "Kind of body, drawn by the seed: rigid (an arm on a fixed shoulder), straight-elbow, bending-elbow, "
        "bent-elbow, tipping-trunk, rising-girdle, slipping-strap, resting-in-front. The options below change it.",
        "rigid",
        metavar="KIND",
    ),
    _degrees("elbow_bend", BODY, "body.elbow_bottom_rad", "Bend of the elbow at the bottom."),
    _degrees(
        "elbow_bend_top",
        BODY,
        "body.elbow_top_rad",
        "Bend of the elbow at the top (default: as at the bottom).",
    ),
    _degrees(
        "forearm_turn", BODY, "body.pronation_rad", "Turn of the forearm from bottom to top, + thumb inward."
    ),
    _row(
        "girdle_rise_cm",
        BODY,
        "body.girdle_rise_m",
        "Rise of the shoulder girdle with the level arm.",
        metavar="CM",
        in_si=_of_hundred,
    ),
    _degrees("lean", BODY, "body.lean_rad", "Standing lean of the trunk, + away from the arm."),
    _degrees("lean_travel", BODY, "body.lean_travel_rad", "Further lean away from the arm at the top."),
    _degrees("stoop", BODY, "body.stoop_rad", "Standing lean of the trunk forward."),
    _degrees("tip", BODY, "body.tip_rad", "Trunk tips forward at the start of each rep, and back."),
    _row("tip_s", BODY, "body.tip_s", "Time of tipping, each way.", metavar="SECONDS"),
    _row(
        "tip_lead_s",
        BODY,
        "body.tip_lead_s",
        "Tipping begins this long before the arm sets off.",
        metavar="SECONDS",
    ),
    _degrees("trunk_sway", BODY, "body.sway_rad", "Wander of the trunk about the hips."),
    _percent(
        "arm_with_trunk",
        BODY,
        "body.arm_follows_trunk",
        "Share of the trunk's tilt that the arm takes along (default 100).",
    ),
    _degrees(
        "rest_plane",
        BODY,
        "body.rest_plane_rad",
        "Plane in which the weight rests between reps, 75 before the thighs.",
    ),
    _degrees(
        "swing_rise",
        BODY,
        "body.swing_rise_rad",
        "Direction of --swing-cm above straight forward (default 66).",
    ),
    _percent(
        "swing_peak",
        BODY,
        "body.swing_peak",
        "Part of the concentric at which the swing is farthest out (default 50).",
    ),
    _row("still_s", REST, "still_s", "Standing still first.", 2.0),
    _row("twist", REST, "twist", "Palm in, palm out before the set.", False),
    _row("front_raise", REST, "front_raise", "A reference raise to the front.", False),
    _row("press_start", REST, "press_start", "Begins with start pressed before the face.", False),
    _row("press_stop", REST, "press_stop", "Ends with stop pressed before the face, 2-4 s after.", False),
    _row("walk_up", REST, "walk_up", "Walk up to the first set.", False),
    _row("walk_away", REST, "walk_away", "Walk away after the last set.", False),
    _row("pick_up", REST, "pick_up", "Pick the weight up, put it down.", False, has_no=True),
    _row("rest_s", REST, "rest_s", "Rest between sets.", 60.0),
    _row("walk", REST, "walk", "Walk about in the rests.", False),
    _row("fidget", REST, "fidget", "Drink and scratch in the rests.", False),
    _row("sway_mm", REST, "sway_m", "Wander of the trunk.", default=3.0, in_si=lambda mm: mm / 1000),
    _row("strap", STRAP, "mount.strap", "back, inside, thumb or little-finger.", "back"),
    _row("hand_axis", STRAP, "mount.hand_axis", "Sensor axis to the hand, +x … -z.", "+y"),
    _degrees("strap_roll", STRAP, "mount.roll_rad", "Strap turned about the forearm.", 0.0),
    _degrees("tilt", STRAP, "mount.tilt_rad", "Sensor axis off the forearm.", 3.0),
    _row(
        "sensor_height_cm", STRAP, "mount.height_m", "Sensor above the bone.", default=2.5, in_si=_of_hundred
    ),
    _row(
        "reach_m", STRAP, "mount.reach_m", "Pivot to sensor with a straight elbow (default: the movement's)."
    ),
    _degrees("strap_wobble", STRAP, "body.wobble_rad", "Wobble of the sensor about the wrist during reps."),
    _row("strap_wobble_hz", STRAP, "body.wobble_hz", "Its frequency (default 7).", metavar="HZ"),
    _row(
        "strap_wobble_damping",
        STRAP,
        "body.wobble_damping",
        "0 lasts through the rep (default), above: struck by each phase, dies away.",
        metavar="RATIO",
    ),
    _degrees(
        "strap_slip", STRAP, "body.slip_tilt_rad", "The strap slips askew in the middle of the middle set."
    ),
    _degrees("strap_slip_roll", STRAP, "body.slip_roll_rad", "It slips about the forearm there."),
    _row("noise", SENSOR, "sensor.noise", "ideal, good, common or poor sensor.", "common"),
    _row("rate", SENSOR, "sensor.rate_hz", "Samples per second.", 100.0),
    _row(
        "accel_range_g",
        SENSOR,
        "sensor.accelerometer_range_m_s2",
        "End of the accelerometer's range.",
        default=16.0,
        in_si=lambda g: g * 9.80665,
    ),
    _row(
        "gyro_range",
        SENSOR,
        "sensor.gyroscope_range_rad_s",
        "End of the gyroscope's range.",
        default=2000.0,
        metavar="DEG/S",
        in_si=math.radians,
    ),
    _row("gap", SENSOR, "", "Seconds without samples; repeatable.", metavar="AT:LENGTH", kind=list[str]),
    _row("drop_percent", SENSOR, "sensor.drop_fraction", "Samples lost.", default=0.0, in_si=_of_hundred),
    _row(
        "jitter_ms",
        SENSOR,
        "sensor.jitter_s",
        "Error of the time stamps.",
        default=0.0,
        in_si=lambda ms: ms / 1000,
    ),
    _row("temperature", SENSOR, "sensor.temperature", "Add a temperature column.", False),
    _row("seed", FILE, "", "Same seed, same recording.", 1),
    _row("truth_series", FILE, "", "Put the true path at 1 kHz into it.", False),
    _row(
        "chest",
        FILE,
        "",
        "Write OUT.chest.csv too: a second sensor on the chest, for process --trunk.",
        False,
    ),
    _row("force", FILE, "", "Overwrite what is there.", False),
)


def signature() -> inspect.Signature:
    """What ``armarc simulate`` takes."""
    place = inspect.Parameter.POSITIONAL_OR_KEYWORD
    target = Annotated[Path, typer.Argument(metavar="OUT.csv", help="The recording to write.")]
    first = (
        inspect.Parameter("ctx", place, annotation=typer.Context),
        inspect.Parameter("out", place, annotation=target),
    )
    return inspect.Signature([*first, *(row.parameter for row in ROWS)], return_annotation=None)


def simulation_options(said: dict[str, object], body: Body, **others: object) -> SimulationOptions:
    """The plan that the options ask for.

    Parameters
    ----------
    said : dict
        Every option's value; None leaves what the plan or the body has.
    body : Body
        Drawn by the seed; what was said changes it.
    **others
        Fields of `armarc.simulate.SimulationOptions` that follow from several options; an option of its own comes
        first.

    Raises
    ------
    UsageError
        A value lies outside what a body, a mount or a sensor can do.
    """
    from armarc.simulate import SimulationOptions

    parts: dict[str, dict[str, Any]] = {"": others, "body": {}, "mount": {}, "sensor": {}}
    for row in ROWS:
        part, _, name = row.sets.rpartition(".")
        if name and said[row.name] is not None:
            parts[part] |= {name: row.in_si(said[row.name])}
    options = replace(SimulationOptions(body=body), **parts.pop(""))
    return replace(options, **{part: replace(getattr(options, part), **set_) for part, set_ in parts.items()})
