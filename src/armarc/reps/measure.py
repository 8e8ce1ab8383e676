"""The measures of one rep."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.exercises import Exercise
from armarc.measures import without_unseen
from armarc.motion import ArmMotion, axial_change
from armarc.recording import FloatArray
from armarc.reps.crossings import value_at
from armarc.reps.instant_errors import INSTANT_FLOOR_S, InstantErrors, instant_errors, peak_instant_se
from armarc.reps.lowering import least_held
from armarc.reps.momentum import start_ratio
from armarc.reps.movements import Movement
from armarc.reps.phases import DOWN_SHARE, ON_RATE_RAD_S, Instants, find_instants, gate_passage
from armarc.reps.smoothness import sparc
from armarc.reps.summary import PERHAPS_NO_REP, is_clean
from armarc.reps.swing import NOT_YET, Swing
from armarc.reps.types import LOWERING, Phases, Rep
from armarc.reps.uncertainty import AngleErrors

PLANE_FROM_RAD = math.radians(30)
BOUNCE_SHARE = 0.5
BOUNCE_PAUSE_S = 0.05
COARSE_GATE_SAMPLES = 3.0
LEAST_BETWEEN = 2
"""So many bottoms between reps show where the others begin."""
BROUGHT_UP_SHARE = 0.25
"""A bottom this share of the range below the others is where the weight came from or went to (working limit: a press
begins half its range above the hanging arm, bottoms of raises differ by up to a tenth)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawRep:
    """A movement with its instants; what set-wide judgements are made on before the measures are final."""

    movement: Movement
    instants: Instants


def bound_reps(motion: ArmMotion, movements: tuple[Movement, ...]) -> list[RawRep]:
    """Find the instants of every movement; movements without a proper rise fall out.

    The weight comes up to where a press begins, and goes down from there after its last rep: where a set's first or
    last rep would begin or end far below the others, it does so at its rest nearest to the top.
    """
    raw = [
        RawRep(movement=m, instants=found) for m in movements if (found := _instants(motion, m)) is not None
    ]
    between = [one.instants.bottom_after_rad for one in raw[:-1]]
    if len(between) < LEAST_BETWEEN:
        return raw
    usual = float(np.median(between))
    first, last = raw[0], raw[-1]
    if not first.movement.is_begun and _is_far_below(first.instants.bottom_rad, usual, first):
        rests = _rests(motion, first, usual, first.movement.earliest, first.movement.top)
        raw[0] = _bounded(motion, first, replace(first.movement, earliest=rests[-1]) if len(rests) else None)
    if not last.movement.is_open and _is_far_below(last.instants.bottom_after_rad, usual, last):
        rests = _rests(motion, last, usual, last.movement.top, last.movement.latest)
        raw[-1] = _bounded(motion, last, replace(last.movement, latest=rests[0]) if len(rests) else None)
    return raw


def _is_far_below(bottom_rad: float, usual_rad: float, rep: RawRep) -> bool:
    return usual_rad - bottom_rad > BROUGHT_UP_SHARE * (rep.instants.top_rad - usual_rad)


def _rests(motion: ArmMotion, rep: RawRep, usual_rad: float, first: int, stop: int) -> list[int]:
    """Samples in which the arm rests no higher than a set's usual bottom and some of its range."""
    low = usual_rad + DOWN_SHARE * (rep.instants.top_rad - usual_rad)
    rests = np.abs(motion.angle_rate_rad_s[first:stop]) <= ON_RATE_RAD_S
    rests &= motion.angle_rad[first:stop] <= low
    return (first + np.flatnonzero(rests)).tolist()


def _bounded(motion: ArmMotion, before: RawRep, movement: Movement | None) -> RawRep:
    """A rep bounded anew within narrower limits; as it was where they hold no rep."""
    instants = None if movement is None else _instants(motion, movement)
    return before if movement is None or instants is None else RawRep(movement=movement, instants=instants)


def _instants(motion: ArmMotion, m: Movement) -> Instants | None:
    return find_instants(
        motion.angle_rad,
        motion.angle_rate_rad_s,
        m.earliest,
        m.top,
        m.latest + 1,
        motion.rate_hz,
        is_begun=m.is_begun,
    )


def measure_rep(
    motion: ArmMotion,
    raw: RawRep,
    exercise: Exercise,
    errors: AngleErrors,
    swing: Swing | None,
    number: int,
) -> Rep:
    """Measure one rep.

    Parameters
    ----------
    motion : ArmMotion
    raw : RawRep
    exercise : Exercise
        Gives gate, band and loaded range.
    errors : AngleErrors
        How uncertain θ is.
    swing : Swing or None
        Of this rep, from `armarc.reps.swing.body_swings`; None while its set is going on.
    number : int
        1, 2, … inside the set.

    Returns
    -------
    Rep
        `pause_s` and the flags that need the whole set are filled in by `finish_set`.
    """
    angle, rate, hz = motion.angle_rad, motion.angle_rate_rad_s, motion.rate_hz
    m, at = raw.movement, raw.instants
    first, last = math.floor(at.start), math.ceil(at.end)
    turned = _hand_rotation_change(motion, first, m.top)
    errors = replace(errors, hand_turn_rad=turned or 0.0)
    seconds = [float(motion.time_s[0]) + x / hz for x in (at.start, at.top_start, at.top_end, at.end)]
    phases = Phases(start_s=seconds[0], top_start_s=seconds[1], top_end_s=seconds[2], end_s=seconds[3])

    concentric = slice(first, max(math.ceil(at.top_start), first + 1) + 1)
    eccentric = slice(math.floor(at.top_end), last + 1)
    peak_at = first + int(rate[concentric].argmax())
    up_s, down_s = (at.top_start - at.start) / hz, (at.end - at.top_end) / hz
    travelled_up = value_at(angle, at.top_start) - value_at(angle, at.start)
    travelled_down = value_at(angle, at.top_end) - value_at(angle, at.end)

    edges = exercise.gate_above(at.bottom_rad)
    # A gate counted from the vertical may lie below this rep's bottom: then it never passes it.
    gate = None
    if not at.is_begun and edges[0] > 0:
        gate = gate_passage(angle, at, m.earliest, m.top, edges)
    speed, speed_se, gate_s, quality = None, None, None, []
    if gate is None:
        quality.append("no_gate")
    else:
        gate_s = (gate[1] - gate[0]) / hz
        speed = (edges[1] - edges[0]) / gate_s
        speed_se = errors.of_speed(speed, gate, at.start)
        if gate[1] - gate[0] < COARSE_GATE_SAMPLES:
            quality.append("coarse")
        if exercise.band is not None and exercise.band.edge_distance_rad_s(speed) < speed_se:
            quality.append("near_edge")
    ratio = start_ratio(speed, at.top_rad - at.bottom_rad, up_s, edges)
    swung = Swing(reason=NOT_YET) if swing is None else swing
    low = at.end if at.is_begun else at.start  # of a rep begun before the recording only the lowering is seen
    top_se, bottom_se = errors.of_angle(m.top), errors.of_angle(round(low))
    range_se = errors.of_range(m.top, low)
    held = None if at.unseen.intersection(LOWERING) else least_held(motion, at, top_se)
    firm = instant_errors(angle, rate, (m.earliest, m.top, m.latest + 1), at, errors, range_se, top_se)
    quality += _sample_flags(motion, raw)
    if swung.travel_m is not None and swung.travel_m - (swung.se_m or 0.0) > exercise.swung_m:
        quality.append("swung")
    if held is not None and held.share + held.se < exercise.dropped_share:
        quality.append("dropped")
    if at.is_begun:
        quality.append("open_start")
    if not at.is_complete:
        quality.append("open_end")
    if _stalls(angle, rate, at, m):
        quality.append("stall")
    if firm.is_undetermined:
        quality.append("creeping")
    if any(firm.overhead_s):
        quality.append("overhead")
    if m.is_doubtful:
        quality.append(PERHAPS_NO_REP)
    hand = motion.hand_rotation_in(slice(m.top, m.top + 1))
    measured = Rep(
        rep=number,
        unseen=at.unseen,
        phases=phases,
        first_sample=m.bottom,
        top_sample=m.top,
        stop_sample=m.bottom_after + 1,
        bottom_rad=at.bottom_rad,
        top_rad=at.top_rad,
        rom_rad=at.top_rad - at.bottom_rad,
        rom_se_rad=range_se,
        top_se_rad=top_se if errors.has_zero else None,
        concentric_s=up_s,
        hold_s=(at.top_end - at.top_start) / hz,
        eccentric_s=down_s,
        time_under_tension_s=(at.end - at.start) / hz,
        pause_s=None,
        start_velocity_rad_s=speed,
        start_velocity_se_rad_s=speed_se,
        start_ratio=ratio,
        start_ratio_se=None if ratio is None or not speed or speed_se is None else ratio * speed_se / speed,
        start_verdict=None if exercise.band is None or speed is None else exercise.band.verdict(speed),
        gate_s=None if gate is None else float(motion.time_s[0]) + gate[1] / hz,
        mean_concentric_rad_s=travelled_up / up_s if up_s > 0 else 0.0,
        mean_eccentric_rad_s=travelled_down / down_s if down_s > 0 else 0.0,
        peak_concentric_rad_s=float(rate[peak_at]),
        peak_eccentric_rad_s=max(float(-rate[eccentric].min()), 0.0),
        peak_concentric_at_rad=float(angle[peak_at]),
        drive_angle_rad=float(angle[peak_at]),
        lowering_ratio=down_s / up_s if up_s > 0 and at.is_complete and not at.is_begun else None,
        least_held_share=None if held is None else held.share,
        least_held_se_share=None if held is None else held.se,
        time_to_peak_s=max((peak_at - at.start) / hz, 0.0),
        plane_rad=_plane(motion, concentric),
        hand_rotation_rad=None if hand is None else float(hand[0]),
        hand_rotation_change_rad=turned,
        # Of the arm's own speed: a strap that wobbles, or a forearm that turns, is no jerk of the arm.
        smoothness_sparc=sparc(np.abs(rate[_between_turns(rate, at, m)]), hz),
        body_swing_m=swung.travel_m,
        body_swing_se_m=swung.whole_se_m,
        body_swing_reason=swung.reason,
        quality=tuple(quality),
        clean=is_clean(quality),
        **_loaded_range(angle[first : last + 1], exercise.loaded_range_rad, hz, errors, bottom_se),
        **_further_errors(motion, raw, errors, firm, bottom_se, range_se),
    )
    return without_unseen(measured, at.unseen)


def _further_errors(
    motion: ArmMotion,
    raw: RawRep,
    errors: AngleErrors,
    firm: InstantErrors,
    bottom_se: float,
    range_se: float,
) -> dict[str, float | None]:
    """Standard errors of times, rates and directions, by the field of `Rep` they belong to."""
    angle, rate, hz = motion.angle_rad, motion.angle_rate_rad_s, motion.rate_hz
    at, top = raw.instants, raw.movement.top
    first, last = math.floor(at.start), math.ceil(at.end)
    up_s, down_s = (at.top_start - at.start) / hz, (at.end - at.top_end) / hz
    up = value_at(angle, at.top_start) - value_at(angle, at.start)
    down = value_at(angle, at.top_end) - value_at(angle, at.end)
    # A mean rate is a range over a time, and a peak rate grows with it: what stretches the one does the other.
    stretched = range_se / max(at.top_rad - at.bottom_rad, 1e-6)
    raising, lowering = rate[first : top + 1], rate[top : last + 1]
    fastest = int(raising.argmax())
    start, top_start, top_end, end = firm.se_s

    def mean_se(travelled: float, duration_s: float, ends_se: float) -> float | None:
        if duration_s <= 0:
            return None
        return math.hypot(max(errors.of_rate(1.0), stretched) * travelled / duration_s, ends_se)

    def peak_se(peak: float, sample: int) -> float:
        return max(errors.of_peak(peak, sample), stretched * abs(peak))

    return {
        "bottom_se_rad": bottom_se if errors.has_zero else None,
        "concentric_se_s": math.hypot(start, top_start),
        "hold_se_s": math.hypot(top_start, top_end),
        "eccentric_se_s": math.hypot(top_end, end),
        "time_under_tension_se_s": math.hypot(start, end),
        "mean_concentric_se_rad_s": mean_se(up, up_s, firm.mean_up_rad_s),
        "mean_eccentric_se_rad_s": mean_se(down, down_s, firm.mean_down_rad_s),
        "peak_concentric_se_rad_s": peak_se(float(raising[fastest]), first + fastest),
        "peak_eccentric_se_rad_s": peak_se(float(lowering.min()), top + int(lowering.argmin())),
        "time_to_peak_se_s": math.hypot(start, peak_instant_se(errors, raising, fastest)),
        "plane_se_rad": None if motion.forward is None else errors.of_plane(top),
        "hand_rotation_se_rad": None if motion.forward is None else errors.of_hand_rotation(top),
    }


def finish_set(reps: list[Rep], motion: ArmMotion) -> tuple[Rep, ...]:
    """Fill in pauses and the flags that compare a rep with its set (`partial`, `bounce`)."""
    ranges = [rep.rom_rad for rep in reps if rep.rom_rad is not None]
    median = float(np.median(ranges)) if ranges else 0.0
    finished = []
    for k, rep in enumerate(reps):
        following = reps[k + 1] if k + 1 < len(reps) else None
        pause = None
        if following is not None and "end" not in rep.unseen and "start" not in following.unseen:
            pause = max(following.phases.start_s - rep.phases.end_s, 0.0)
        quality = list(rep.quality)
        if rep.rom_rad is not None and rep.rom_rad < 0.7 * median:
            quality.append("partial")
        if pause is not None and pause < BOUNCE_PAUSE_S and _bounces(motion, rep):
            quality.append("bounce")
        finished.append(replace(rep, pause_s=pause, quality=tuple(quality), clean=is_clean(quality)))
    return tuple(finished)


def _sample_flags(motion: ArmMotion, raw: RawRep) -> list[str]:
    inside = slice(raw.movement.bottom, raw.movement.bottom_after + 1)
    started = slice(math.floor(raw.instants.start), math.ceil(raw.instants.end) + 1)
    flags = []
    if motion.missing[inside].any() or motion.missing[started].any():
        flags.append("gap")
    if motion.clipped[started].any():
        flags.append("clipped")
    return flags


def _between_turns(rate: FloatArray, at: Instants, m: Movement) -> slice:
    """Samples of the way up between its turning points: cut at 5 °/s a slow raise would end in two steps, which are
    not smooth."""
    still_before = np.flatnonzero(rate[m.earliest : math.floor(at.start) + 1] <= 0)
    still_after = np.flatnonzero(rate[math.ceil(at.top_start) : m.latest + 1] <= 0)
    first = m.earliest + int(still_before[-1]) if len(still_before) else math.floor(at.start)
    last = math.ceil(at.top_start) + (int(still_after[0]) if len(still_after) else 0)
    return slice(first, max(last, first + 1) + 1)


def _stalls(angle: FloatArray, rate: FloatArray, at: Instants, m: Movement) -> bool:
    """Whether the raise comes to a stop on its way up."""
    rom = at.top_rad - at.bottom_rad
    way = slice(math.ceil(at.start), m.top)
    middle = (angle[way] > at.bottom_rad + 0.15 * rom) & (angle[way] < at.top_rad - 0.15 * rom)
    return bool((rate[way][middle] <= 0).any())


def _bounces(motion: ArmMotion, rep: Rep) -> bool:
    """Whether the arm drops into the bottom and rebounds instead of being lowered onto it."""
    part = slice(rep.top_sample, rep.stop_sample)
    if rep.rom_rad is None or rep.peak_eccentric_rad_s is None:
        return False
    low = motion.angle_rad[rep.stop_sample - 1] + 0.1 * rep.rom_rad
    near = motion.angle_rad[part] <= low
    if not near.any():
        return False
    entry = -float(motion.angle_rate_rad_s[part][int(np.argmax(near))])
    return entry > BOUNCE_SHARE * rep.peak_eccentric_rad_s


def _loaded_range(
    angle: FloatArray,
    loaded: tuple[float, float] | None,
    rate_hz: float,
    errors: AngleErrors,
    bottom_se: float,
) -> dict[str, float | None]:
    """Time in the loaded range, and what an angle that reads one standard error more or less makes of it."""
    if loaded is None:
        return {"loaded_range_s": None, "loaded_range_se_s": None}
    low, high = (edge + np.array([0.0, -bottom_se, bottom_se]) for edge in loaded)
    inside, less, more = _times_inside(angle, low, high, rate_hz).tolist()
    se = math.hypot((more - less) / 2, errors.of_rate(inside), 2 * INSTANT_FLOOR_S)
    return {"loaded_range_s": inside, "loaded_range_se_s": se}


def _times_inside(angle: FloatArray, low: FloatArray, high: FloatArray, rate_hz: float) -> FloatArray:
    """Time a sampled curve spends between each `low` and `high`, with the crossings interpolated, s."""
    start, stop = np.minimum(angle[:-1], angle[1:]), np.maximum(angle[:-1], angle[1:])
    low, high = low[:, None], high[:, None]
    span = stop - start
    overlap = np.minimum(stop, high) - np.maximum(start, low)
    inside = (start >= low) & (stop <= high)
    share = np.where(span > 0, np.clip(overlap, 0, None) / np.where(span > 0, span, 1.0), inside)
    return np.asarray(share.sum(axis=1) / rate_hz)


def _plane(motion: ArmMotion, concentric: slice) -> float | None:
    """Circular mean of the plane over the concentric above 30°, weighted by sin²θ."""
    plane, elevation = motion.plane_in(concentric), motion.elevation_rad[concentric]
    if plane is None:
        return None
    use = (elevation > PLANE_FROM_RAD) & np.isfinite(plane)
    if not use.any():
        return None
    weight = np.sin(elevation[use]) ** 2
    return math.atan2(float(weight @ np.sin(plane[use])), float(weight @ np.cos(plane[use])))


def _hand_rotation_change(motion: ArmMotion, start: int, top: int) -> float | None:
    if motion.coordinate != "elevation":
        return None
    q = motion.quaternion
    return axial_change(q[start], q[top], motion.mounting.arm_axis, motion.side)
