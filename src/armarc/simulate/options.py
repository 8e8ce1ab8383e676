"""From a handful of options to a full plan, with the spread and the fatigue of real sets."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np

from armarc.errors import UsageError
from armarc.simulate.plan import RepPlan, SessionPlan, SessionSetup, SetPlan
from armarc.simulate.rep_shape import SMALLEST_GATED_ROM_RAD, concentric_knots, shortest_concentric_s


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulationOptions(SessionSetup):
    """What a simulated session is to be like, SI; beside what `SessionSetup` has.

    Parameters
    ----------
    reps, sets : int
    eccentric_s, pause_s, concentric_s, hold_s : float, s
        The tempo, rest to rest.
    start_velocity_rad_s : float or None, rad/s
        Wanted speed through the start gate; None leaves it to a minimum-jerk concentric.
    bottom_rad, top_rad : float or None, rad
        None takes the exercise's.
    rom_rad : float or None, rad
        Sets the top, given the bottom.
    swing_m, dip_m : float, m
    swing_returns : str
    fatigue : float
        Share by which speed falls and times grow from the first to the last rep; the range of motion falls
        by a third of it.
    variation : float
        Coefficient of variation from rep to rep (times, start velocity); angles vary by a quarter of it
        in rad.
    partial_last : bool
        The last rep of each set reaches only a bit more than half of the range.
    cheat_rep : int or None
        Number of a rep that is swung: fast start, 5 cm more of shoulder travel, a bit more range.
    grind : float
        Sticking point of the last rep, 0 to 1.
    pulses, pulse_rad, pulse_s
        Of every rep, see `RepPlan`.
    sink_rad : float, rad
        Of every rep's hold, see `RepPlan`.
    double_tops : float
        Share of the reps, drawn by chance, that sink a little at the top and rise once more.
    alternating : bool
        The other arm does its rep after each of this one's, which takes 2 to 4 s instead of `pause_s`.
    """

    reps: int = 8
    sets: int = 1
    eccentric_s: float = 2.0
    pause_s: float = 0.3
    concentric_s: float = 1.6
    hold_s: float = 0.2
    start_velocity_rad_s: float | None = math.radians(57)
    bottom_rad: float | None = None
    top_rad: float | None = None
    rom_rad: float | None = None
    swing_m: float = 0.0
    dip_m: float = 0.0
    swing_returns: str = "within"
    fatigue: float = 0.0
    variation: float = 0.03
    partial_last: bool = False
    cheat_rep: int | None = None
    grind: float = 0.0
    tremor_rad: float = 0.0
    pulses: int = 0
    pulse_rad: float = math.radians(12)
    pulse_s: float = 0.7
    sink_rad: float = 0.0
    double_tops: float = 0.0
    alternating: bool = False
    pick_up: bool = False
    walk: bool = False
    fidget: bool = False
    rest_s: float = 60.0


def plan_session(options: SimulationOptions, seed: int = 0) -> SessionPlan:
    """Turn options into a plan; the seed drives the spread from rep to rep.

    Raises
    ------
    UsageError
        If the options contradict each other.
    """
    if not 1 <= options.reps <= 500:
        raise UsageError(f"a set has 1 to 500 reps, got {options.reps}", "8 is usual")
    if not 1 <= options.sets <= 50:
        raise UsageError(f"a session has 1 to 50 sets, got {options.sets}", "3 is usual")
    if not 0 <= options.fatigue < 0.9:
        raise UsageError(
            f"fatigue must lie between 0 and 90 %, got {100 * options.fatigue:g} %", "20 % is a hard set"
        )
    if not 0 <= options.variation <= 0.5:
        raise UsageError(
            f"variation must lie between 0 and 50 %, got {100 * options.variation:g} %", "3 % is usual"
        )
    if options.cheat_rep is not None and not 1 <= options.cheat_rep <= options.reps:
        raise UsageError(f"there is no rep {options.cheat_rep} to cheat", f"1 to {options.reps}")
    if not 0 <= options.double_tops <= 1:
        raise UsageError(
            f"double tops must lie between 0 and 100 % of the reps, got {100 * options.double_tops:g} %",
            "20 % is a restless set",
        )
    bottom = options.pattern.bottom_rad if options.bottom_rad is None else options.bottom_rad
    top = options.pattern.top_rad if options.top_rad is None else options.top_rad
    if options.rom_rad is not None:
        if options.top_rad is not None and not math.isclose(options.top_rad - bottom, options.rom_rad):
            raise UsageError("top and range of motion contradict each other", "give one of them")
        top = bottom + options.rom_rad
    # The wish itself must be possible; the spread around it is then fitted in.
    concentric_knots(
        RepPlan(
            bottom_rad=bottom,
            top_rad=top,
            concentric_s=options.concentric_s,
            start_velocity_rad_s=options.start_velocity_rad_s,
        ),
        0.0,
    )
    rng, habits = np.random.default_rng([seed, 7]), np.random.default_rng([seed, 8])
    sets = tuple(
        SetPlan(
            reps=_with_habits(_spread_reps(options, bottom, top, rng), options, habits),
            rest_s=options.rest_s,
            pick_up=options.pick_up,
            put_down=options.pick_up,
            walk=options.walk,
            fidget=options.fidget,
            alternating=options.alternating,
        )
        for _ in range(options.sets)
    )
    same = {one.name: getattr(options, one.name) for one in fields(SessionSetup)}
    return SessionPlan(sets=sets, **same)


def _spread_reps(
    options: SimulationOptions, bottom: float, top: float, rng: np.random.Generator
) -> tuple[RepPlan, ...]:
    reps: list[RepPlan] = []
    here = bottom
    # An elevation cannot be negative: the arm would be on the other side.
    lowest = -math.inf if options.pattern.about_vertical else 0.0
    for i in range(options.reps):
        tired = options.fatigue * i / max(options.reps - 1, 1)
        times, angles = 1 + options.variation * rng.standard_normal(4), rng.standard_normal(2)
        times = np.clip(times, 0.7, 1.4)
        angles = np.clip(angles, -2, 2) * options.variation / 4
        rom = (top - bottom) * (1 - tired / 3)
        start = options.start_velocity_rad_s
        if start is not None:
            start = (
                start * (1 - tired) * float(np.clip(1 + options.variation * rng.standard_normal(), 0.7, 1.4))
            )
        rep = RepPlan(
            bottom_rad=here,
            end_rad=max(bottom + float(angles[0]), lowest),
            top_rad=bottom + rom + float(angles[1]),
            concentric_s=options.concentric_s / (1 - tired) * float(times[0]),
            hold_s=options.hold_s * float(times[1]),
            eccentric_s=options.eccentric_s / (1 - tired / 2) * float(times[2]),
            pause_s=options.pause_s * float(times[3]),
            start_velocity_rad_s=start,
            swing_m=options.swing_m,
            dip_m=options.dip_m,
            swing_returns=options.swing_returns,
            tremor_rad=options.tremor_rad,
        )
        if options.cheat_rep == i + 1:
            rep = _cheated(rep)
        if i == options.reps - 1:
            rep = replace(rep, grind=options.grind)
            if options.partial_last:
                rep = replace(rep, top_rad=rep.bottom_rad + 0.55 * (rep.top_rad - rep.bottom_rad))
        rep = _fitted(rep)
        reps.append(rep)
        here = rep.lowest_end_rad
    return tuple(reps)


def _with_habits(
    reps: tuple[RepPlan, ...], options: SimulationOptions, rng: np.random.Generator
) -> tuple[RepPlan, ...]:
    """Pulses, double tops and the other arm's turns."""
    out = []
    for i, rep in enumerate(reps):
        pulses, depth, each_s = options.pulses, options.pulse_rad, options.pulse_s
        # Shallower than a pulse.
        sunk, again_s = float(rng.uniform(0.06, 0.15)), float(rng.uniform(0.5, 0.9))
        if rng.random() < options.double_tops:
            pulses, depth, each_s = 1, sunk * (rep.top_rad - rep.bottom_rad), again_s
        pause_s = float(rng.uniform(2, 4)) if options.alternating and i + 1 < len(reps) else rep.pause_s
        sink = 0.0 if pulses and not options.pulses else options.sink_rad
        out.append(
            replace(rep, pulses=pulses, pulse_rad=depth, pulse_s=each_s, sink_rad=sink, pause_s=pause_s)
        )
    return tuple(out)


def _fitted(rep: RepPlan) -> RepPlan:
    start = rep.start_velocity_rad_s
    if start is None:
        return rep
    if rep.top_rad - rep.bottom_rad <= SMALLEST_GATED_ROM_RAD:
        return replace(rep, start_velocity_rad_s=None)
    return replace(rep, concentric_s=max(rep.concentric_s, shortest_concentric_s(start)))


def _cheated(rep: RepPlan) -> RepPlan:
    start = rep.start_velocity_rad_s
    return replace(
        rep,
        start_velocity_rad_s=None if start is None else max(1.8 * start, math.radians(110)),
        concentric_s=max(0.8 * rep.concentric_s, 0.9),
        swing_m=rep.swing_m + 0.05,
        dip_m=max(rep.dip_m, 0.015),
        top_rad=rep.top_rad + math.radians(6),
    )
