"""``armarc simulate``: make an invented recording with known truth."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armarc.cli import body_options
from armarc.cli.command_line import command_line

if TYPE_CHECKING:
    from armarc.simulate import Knobs

_REPS, _REST, _SENSOR, _FILE = "Reps", "Around the sets", "Sensor", "File"
_BODY, _MOUNT = body_options.BODY, body_options.STRAP


def simulate(
    ctx: typer.Context,
    out: Annotated[Path, typer.Argument(metavar="OUT.csv", help="The recording to write.")],
    exercise: Annotated[str, typer.Option(help="Movement, by its catalogue name.", rich_help_panel=_REPS)] = (
        "lateral-raise"
    ),
    reps: Annotated[int, typer.Option(help="Reps per set.", rich_help_panel=_REPS)] = 8,
    sets: Annotated[int, typer.Option(help="Sets.", rich_help_panel=_REPS)] = 1,
    tempo: Annotated[
        str,
        typer.Option(
            metavar="E/P/C/H",
            help="Seconds of eccentric / pause at the bottom / concentric / hold at the top.",
            rich_help_panel=_REPS,
        ),
    ] = "2/0.3/1.6/0.2",
    hold_s: Annotated[
        float | None, typer.Option(help="Hold at the top, instead of the tempo's.", rich_help_panel=_REPS)
    ] = None,
    start_velocity: Annotated[
        str | None,
        typer.Option(
            metavar="DEG/S",
            help="Speed through the start gate, or 'free' (default 57 where it fits).",
            rich_help_panel=_REPS,
        ),
    ] = None,
    rom: Annotated[
        float | None, typer.Option(metavar="DEG", help="Range of motion.", rich_help_panel=_REPS)
    ] = None,
    bottom: Annotated[
        float | None, typer.Option(metavar="DEG", help="Angle at the bottom.", rich_help_panel=_REPS)
    ] = None,
    plane: Annotated[
        float | None,
        typer.Option(metavar="DEG", help="Plane of elevation, 0 side, 90 front.", rich_help_panel=_REPS),
    ] = None,
    hand_rotation: Annotated[
        float | None, typer.Option(metavar="DEG", help="Thumb above level at the top.", rich_help_panel=_REPS)
    ] = None,
    hang_turn: Annotated[
        float,
        typer.Option(metavar="DEG", help="Thumb turned inward while hanging.", rich_help_panel=_REPS),
    ] = 0.0,
    side: Annotated[str, typer.Option(help="right or left.", rich_help_panel=_REPS)] = "right",
    load: Annotated[
        str | None, typer.Option(help="Load for the header, for example 6kg.", rich_help_panel=_REPS)
    ] = None,
    swing_cm: Annotated[
        float, typer.Option(help="Shoulder travel in the concentric.", rich_help_panel=_REPS)
    ] = 0.0,
    swing_returns: Annotated[
        str,
        typer.Option(help="'within' the concentric or 'after' it.", rich_help_panel=_REPS),
    ] = "within",
    dip_cm: Annotated[
        float, typer.Option(help="How far the shoulder sinks before the rep.", rich_help_panel=_REPS)
    ] = 0.0,
    fatigue: Annotated[
        float, typer.Option(metavar="PERCENT", help="Speed lost by the last rep.", rich_help_panel=_REPS)
    ] = 0.0,
    variation: Annotated[
        float, typer.Option(metavar="PERCENT", help="Spread from rep to rep.", rich_help_panel=_REPS)
    ] = 3.0,
    partial_last: Annotated[
        bool, typer.Option("--partial-last", help="Last rep only half way.", rich_help_panel=_REPS)
    ] = False,
    cheat_rep: Annotated[
        int | None, typer.Option(metavar="N", help="Swing rep N.", rich_help_panel=_REPS)
    ] = None,
    grind: Annotated[
        float, typer.Option(help="Sticking point of the last rep, 0 to 1.", rich_help_panel=_REPS)
    ] = 0.0,
    tremor_deg: Annotated[float, typer.Option(help="8-12 Hz tremor.", rich_help_panel=_REPS)] = 0.0,
    pulses: Annotated[int, typer.Option(help="Pulses at the top of every rep.", rich_help_panel=_REPS)] = 0,
    pulse_deg: Annotated[float, typer.Option(help="Depth of a pulse.", rich_help_panel=_REPS)] = 12.0,
    pulse_s: Annotated[float, typer.Option(help="Time of a pulse.", rich_help_panel=_REPS)] = 0.7,
    double_tops: Annotated[
        float,
        typer.Option(
            metavar="PERCENT", help="Reps that sink and rise again at the top.", rich_help_panel=_REPS
        ),
    ] = 0.0,
    alternating: Annotated[
        bool,
        typer.Option(
            "--alternating", help="The other arm's rep follows each of this one's.", rich_help_panel=_REPS
        ),
    ] = False,
    body: Annotated[
        str,
        typer.Option(
            metavar="KIND",
            help="Kind of body, drawn by the seed: rigid (an arm on a fixed shoulder), straight-elbow, bending-elbow, "
            "bent-elbow, tipping-trunk, rising-girdle, slipping-strap, resting-in-front. "
            "The options below change it.",
            rich_help_panel=_BODY,
        ),
    ] = "rigid",
    elbow_bend: body_options.ElbowBend = None,
    elbow_bend_top: body_options.ElbowBendTop = None,
    forearm_turn: body_options.ForearmTurn = None,
    girdle_rise_cm: body_options.GirdleRiseCm = None,
    lean: body_options.Lean = None,
    lean_travel: body_options.LeanTravel = None,
    stoop: body_options.Stoop = None,
    tip: body_options.Tip = None,
    tip_s: body_options.TipS = None,
    tip_lead_s: body_options.TipLeadS = None,
    trunk_sway: body_options.TrunkSway = None,
    arm_with_trunk: body_options.ArmWithTrunk = None,
    rest_plane: body_options.RestPlane = None,
    swing_rise: body_options.SwingRise = None,
    swing_peak: body_options.SwingPeak = None,
    still_s: Annotated[float, typer.Option(help="Standing still first.", rich_help_panel=_REST)] = 2.0,
    twist: Annotated[
        bool, typer.Option("--twist", help="Palm in, palm out before the set.", rich_help_panel=_REST)
    ] = False,
    front_raise: Annotated[
        bool, typer.Option("--front-raise", help="A reference raise to the front.", rich_help_panel=_REST)
    ] = False,
    press_start: Annotated[
        bool,
        typer.Option(
            "--press-start", help="Begins with start pressed before the face.", rich_help_panel=_REST
        ),
    ] = False,
    press_stop: Annotated[
        bool,
        typer.Option(
            "--press-stop", help="Ends with stop pressed before the face, 2-4 s after.", rich_help_panel=_REST
        ),
    ] = False,
    walk_up: Annotated[
        bool, typer.Option("--walk-up", help="Walk up to the first set.", rich_help_panel=_REST)
    ] = False,
    walk_away: Annotated[
        bool, typer.Option("--walk-away", help="Walk away after the last set.", rich_help_panel=_REST)
    ] = False,
    pick_up: Annotated[
        bool,
        typer.Option(
            "--pick-up/--no-pick-up", help="Pick the weight up, put it down.", rich_help_panel=_REST
        ),
    ] = False,
    rest_s: Annotated[float, typer.Option(help="Rest between sets.", rich_help_panel=_REST)] = 60.0,
    walk: Annotated[
        bool, typer.Option("--walk", help="Walk about in the rests.", rich_help_panel=_REST)
    ] = False,
    fidget: Annotated[
        bool, typer.Option("--fidget", help="Drink and scratch in the rests.", rich_help_panel=_REST)
    ] = False,
    sway_mm: Annotated[float, typer.Option(help="Wander of the trunk.", rich_help_panel=_REST)] = 3.0,
    strap: Annotated[
        str, typer.Option(help="back, inside, thumb or little-finger.", rich_help_panel=_MOUNT)
    ] = "back",
    hand_axis: Annotated[
        str, typer.Option(help="Sensor axis to the hand, +x … -z.", rich_help_panel=_MOUNT)
    ] = "+y",
    strap_roll: Annotated[
        float, typer.Option(metavar="DEG", help="Strap turned about the forearm.", rich_help_panel=_MOUNT)
    ] = 0.0,
    tilt: Annotated[
        float, typer.Option(metavar="DEG", help="Sensor axis off the forearm.", rich_help_panel=_MOUNT)
    ] = 3.0,
    sensor_height_cm: Annotated[
        float, typer.Option(help="Sensor above the bone.", rich_help_panel=_MOUNT)
    ] = 2.5,
    reach_m: Annotated[
        float | None,
        typer.Option(
            help="Pivot to sensor with a straight elbow (default: the movement's).", rich_help_panel=_MOUNT
        ),
    ] = None,
    strap_wobble: body_options.StrapWobble = None,
    strap_wobble_hz: body_options.StrapWobbleHz = None,
    strap_wobble_damping: body_options.StrapWobbleDamping = None,
    strap_slip: body_options.StrapSlip = None,
    strap_slip_roll: body_options.StrapSlipRoll = None,
    noise: Annotated[
        str, typer.Option(help="ideal, good, common or poor sensor.", rich_help_panel=_SENSOR)
    ] = "common",
    rate: Annotated[float, typer.Option(help="Samples per second.", rich_help_panel=_SENSOR)] = 100.0,
    accel_range_g: Annotated[
        float, typer.Option(help="End of the accelerometer's range.", rich_help_panel=_SENSOR)
    ] = 16.0,
    gyro_range: Annotated[
        float, typer.Option(metavar="DEG/S", help="End of the gyroscope's range.", rich_help_panel=_SENSOR)
    ] = 2000.0,
    gap: Annotated[
        list[str] | None,
        typer.Option(
            metavar="AT:LENGTH", help="Seconds without samples; repeatable.", rich_help_panel=_SENSOR
        ),
    ] = None,
    drop_percent: Annotated[float, typer.Option(help="Samples lost.", rich_help_panel=_SENSOR)] = 0.0,
    jitter_ms: Annotated[
        float, typer.Option(help="Error of the time stamps.", rich_help_panel=_SENSOR)
    ] = 0.0,
    temperature: Annotated[
        bool, typer.Option("--temperature", help="Add a temperature column.", rich_help_panel=_SENSOR)
    ] = False,
    seed: Annotated[int, typer.Option(help="Same seed, same recording.", rich_help_panel=_FILE)] = 1,
    truth_series: Annotated[
        bool,
        typer.Option("--truth-series", help="Put the true path at 1 kHz into it.", rich_help_panel=_FILE),
    ] = False,
    chest: Annotated[
        bool,
        typer.Option(
            "--chest",
            help="Write OUT.chest.csv too: a second sensor on the chest, for process --trunk.",
            rich_help_panel=_FILE,
        ),
    ] = False,
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite what is there.", rich_help_panel=_FILE)
    ] = False,
) -> None:
    """Make an invented recording and the truth about it (OUT.csv and OUT.truth.json)."""
    import math

    from armarc.quantities import parse_load, parse_tempo
    from armarc.simulate import Knobs, MountPlan, SensorPlan, draw_body, find_pattern

    _check_target(out, chest, force)
    eccentric_s, pause_s, concentric_s, top_s = parse_tempo(tempo)
    pattern = find_pattern(exercise)
    if plane is not None:
        from dataclasses import replace

        from armarc.errors import UsageError

        if pattern.about_vertical:
            raise UsageError(f"{exercise} has no plane of elevation to choose", "leave --plane out")
        pattern = replace(pattern, plane_rad=math.radians(plane))
    _check_seed(seed)
    shaped = body_options.shape_body(
        draw_body(body, seed),
        degrees={
            "elbow_bottom_rad": elbow_bend,
            "elbow_top_rad": elbow_bend_top,
            "pronation_rad": forearm_turn,
            "lean_rad": lean,
            "lean_travel_rad": lean_travel,
            "stoop_rad": stoop,
            "tip_rad": tip,
            "sway_rad": trunk_sway,
            "rest_plane_rad": rest_plane,
            "swing_rise_rad": swing_rise,
            "wobble_rad": strap_wobble,
            "slip_tilt_rad": strap_slip,
            "slip_roll_rad": strap_slip_roll,
        },
        hundredths={
            "arm_follows_trunk": arm_with_trunk,
            "swing_peak": swing_peak,
            "girdle_rise_m": girdle_rise_cm,
        },
        plain={
            "tip_s": tip_s,
            "tip_lead_s": tip_lead_s,
            "wobble_hz": strap_wobble_hz,
            "wobble_damping": strap_wobble_damping,
        },
    )
    knobs = Knobs(
        reps=reps,
        sets=sets,
        eccentric_s=eccentric_s,
        pause_s=pause_s,
        concentric_s=concentric_s,
        hold_s=top_s if hold_s is None else hold_s,
        start_velocity_rad_s=_start_velocity(start_velocity, concentric_s, rom),
        bottom_rad=None if bottom is None else math.radians(bottom),
        rom_rad=None if rom is None else math.radians(rom),
        swing_m=swing_cm / 100,
        swing_returns=swing_returns,
        dip_m=dip_cm / 100,
        fatigue=fatigue / 100,
        variation=variation / 100,
        partial_last=partial_last,
        cheat_rep=cheat_rep,
        grind=grind,
        tremor_rad=math.radians(tremor_deg),
        pulses=pulses,
        pulse_rad=math.radians(pulse_deg),
        pulse_s=pulse_s,
        double_tops=double_tops / 100,
        alternating=alternating,
        pattern=pattern,
        side=side,
        still_s=still_s,
        press_start=press_start,
        press_stop=press_stop,
        walk_up=walk_up,
        walk_away=walk_away,
        twist=twist,
        front_raise=front_raise,
        pick_up=pick_up,
        walk=walk,
        fidget=fidget,
        rest_s=rest_s,
        sway_m=sway_mm / 1000,
        hand_rotation_rad=None if hand_rotation is None else math.radians(hand_rotation),
        hang_turn_rad=math.radians(hang_turn),
        load_kg=None if load is None else parse_load(load),
        body=shaped,
        mount=MountPlan(
            strap=strap,
            hand_axis=hand_axis,
            roll_rad=math.radians(strap_roll),
            tilt_rad=math.radians(tilt),
            height_m=sensor_height_cm / 100,
            reach_m=reach_m,
        ),
        sensor=SensorPlan(
            noise=noise,
            rate_hz=rate,
            accelerometer_range_m_s2=accel_range_g * 9.80665,
            gyroscope_range_rad_s=math.radians(gyro_range),
            gaps_s=tuple(_parse_gap(text) for text in gap or ()),
            drop_fraction=drop_percent / 100,
            jitter_s=jitter_ms / 1000,
            temperature=temperature,
        ),
    )
    _make(out, knobs, seed, truth_series, chest, command_line(ctx, out))


def _check_target(out: Path, chest: bool, force: bool) -> None:
    from armarc.cli.outputs import guard_for
    from armarc.errors import UsageError
    from armarc.outputs import RECORDING

    if out.suffix.lower() != ".csv":
        raise UsageError(f"the recording's name must end in .csv, got {out.name!r}", f"try {out.stem}.csv")
    if not out.parent.is_dir():
        raise UsageError(f"there is no folder {str(out.parent)!r}", "make it first")
    guard = guard_for(force=True)
    targets = (out, out.with_suffix(".truth.json"), *([out.with_suffix(".chest.csv")] if chest else []))
    for path in targets:
        guard.check(path, RECORDING)  # not even by force over the log
    taken = [path for path in targets if path.exists()]
    if taken and not force:
        raise UsageError(f"{str(taken[0])!r} is already there", "choose another name or add --force")


def _check_seed(seed: int) -> None:
    from armarc.errors import UsageError

    if seed < 0:
        raise UsageError(f"a seed is 0 or more, got {seed}", "any whole number will do")


def _parse_gap(text: str) -> tuple[float, float]:
    from armarc.errors import UsageError

    try:
        at, length = (float(part) for part in text.split(":"))
    except ValueError:
        raise UsageError(
            f"expected a gap as AT:LENGTH in seconds, got {text!r}", "for example 5:0.3"
        ) from None
    return at, length


def _start_velocity(text: str | None, concentric_s: float, rom_deg: float | None) -> float | None:
    import math

    from armarc.errors import UsageError
    from armarc.simulate.rep_shape import SMALLEST_GATED_ROM_RAD, shortest_concentric_s

    if text is None:
        usual = math.radians(57)
        small = rom_deg is not None and math.radians(rom_deg) <= SMALLEST_GATED_ROM_RAD
        return None if small or concentric_s < shortest_concentric_s(usual) else usual
    if text == "free":
        return None
    try:
        return math.radians(float(text))
    except ValueError:
        raise UsageError(
            f"expected a start velocity in °/s or 'free', got {text!r}", "for example 57"
        ) from None


def _make(out: Path, knobs: Knobs, seed: int, truth_series: bool, chest: bool, command: str) -> None:
    from dataclasses import replace

    from armarc.cli.terminal import error_console
    from armarc.errors import UsageError
    from armarc.recording import write_csv
    from armarc.simulate import plan_session, simulate_session, truth_path, write_truth

    talk = error_console()
    with talk.status("simulating …"):
        recording, truth = simulate_session(plan_session(knobs, seed), seed)
    metadata = recording.metadata
    metadata = replace(metadata, note=f"{metadata.note} Made with: {command}")
    recording = replace(recording, metadata=metadata)
    try:
        if chest:
            from armarc.simulate.trunk_sensor import simulate_chest

            write_csv(simulate_chest(plan_session(knobs, seed), seed), out.with_suffix(".chest.csv"))
        write_csv(recording, out)
        write_truth(truth_path(out), truth, recording, file=out.name, series=truth_series)
    except OSError as error:
        raise UsageError(f"cannot write {str(out)!r}: {error.strerror}", "choose another place") from None
    lost = f", {len(recording.gaps)} gaps" if recording.gaps else ""
    clipped = int(recording.is_clipped.sum())
    lost += f", {clipped} clipped samples" if clipped else ""
    talk.print(
        f"wrote {out}: {len(truth.reps)} reps in {len(truth.sets)} set(s), {recording.duration_s:.1f} s at "
        f"{recording.rate_hz:g} Hz{lost}\n"
        f"wrote {truth_path(out)}: what really happened\n"
        "This data is invented: no person was measured.",
        markup=False,
        soft_wrap=True,
    )
