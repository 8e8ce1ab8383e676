"""``armarc sensor calibrate``: offsets and scales of a sensor from recordings of it on a table."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.log_options import AsJson, print_json, print_table, say
from armarc.cli.measuring_options import READING, reading
from armarc.cli.option_rows import taking, without
from armarc.cli.phone import USUAL_PORT, Phone, PhoneHost, PhoneOut, PhonePort, check_phone_alone

if TYPE_CHECKING:
    from armarc.sensor.calibration import Calibration, CalibrationRun

SCHEMA = "armarc.sensor_calibration/1"
GUIDE = """\
Calibrating a sensor: one recording of about two minutes on a table
  1. Switch the sensor on ten minutes before: it must be warm. Start recording. Lay it flat and let go for two
     seconds.
  2. Tip it over its long edge by a quarter turn, let go for two seconds; four times, until it lies flat again.
  3. The same over its short edge, four times: every one of its six sides has then been up. A wall helps the
     narrow ones.
  4. Tip it once over its long edge so that it stands on that side. Now roll it over the edges that lead away from
     you, four quarter turns; this turns its third axis. Tip it back.
  5. Prop it up askew in four or more other poses, two seconds each.
  6. Stop recording (Ctrl-C):  armarc sensor calibrate FILE --sensor NAME
With a phone:  armarc sensor calibrate --phone  records and goes on by itself.
The quarter turns between the rests calibrate the gyroscope; turn in one go, in under ten seconds, and let go in
between. Gravity does not see turns flat on the table: make them along an edge, all by the same angle, and say
which, as in  --turn 360.
"""


@taking(read_as=(without(READING, "gyroscope"), reading))
def calibrate(
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE…", help="Recordings of one sensor on a table.")
    ] = None,
    *,
    sensor: Annotated[
        str, typer.Option("--sensor", "-s", help="Name to keep it under; without it the recording's own.")
    ] = "",
    turn: Annotated[
        float | None,
        typer.Option(
            "--turn", metavar="DEG", help="Angle of the turns made flat on the table, such as 90 or 360."
        ),
    ] = None,
    gravity: Annotated[
        float, typer.Option("--gravity", metavar="M/S2", help="Local gravity, if you know it better.")
    ] = 9.80665,
    phone: Phone = False,
    host: PhoneHost = None,
    port: PhonePort = USUAL_PORT,
    out: PhoneOut = None,
    try_only: Annotated[bool, typer.Option("--try", help="Show the result and keep nothing.")] = False,
    show: Annotated[bool, typer.Option("--list", help="List what is kept.")] = False,
    forget: Annotated[
        str, typer.Option("--forget", metavar="NAME", help="Remove a sensor's calibrations.")
    ] = "",
    guide: Annotated[bool, typer.Option("--guide", help="Print how to make the recording.")] = False,
    as_json: AsJson = False,
    read_as: dict[str, object],
) -> None:
    """Calibrate a sensor and keep the result for its recordings.

    Accelerometer offset, scale and cross-axis come from rests on six sides or more; gyroscope scale and alignment from
    the turns between them. Poor data is refused with the reason. --guide says how.
    """
    from armarc.errors import UsageError

    if guide:
        typer.echo(GUIDE, nl=False)
        return
    if show:
        _list(as_json)
        return
    if forget:
        _forget(forget)
        return
    if phone:
        from armarc.cli.capturing import phone_file

        check_phone_alone(file=bool(files), rate=read_as["rate_hz"] is not None)
        files = [phone_file("calibrate", GUIDE, out, host, port)]
    elif out is not None:
        raise UsageError("--out keeps what a phone sends", "add --phone")
    if not files:
        raise UsageError(
            "expected recordings to calibrate from, or --phone", "armarc sensor calibrate --guide says how"
        )
    _calibrate(files, read_as, sensor, turn, gravity, try_only, as_json)


def _calibrate(
    files: list[Path],
    reading: dict[str, Any],
    sensor: str,
    turn: float | None,
    gravity: float,
    try_only: bool,
    as_json: bool,
) -> None:
    import time

    from armarc.errors import InputError, UsageError
    from armarc.recording import read_csv
    from armarc.sensor.calibration import calibrate as run
    from armarc.sensor.calibration import find_calibration, save_calibration

    recordings = [read_csv(file, **reading) for file in files]
    name = sensor.strip() or next((one.metadata.sensor for one in recordings if one.metadata.sensor), "")
    if not name:
        raise UsageError("the recordings do not name their sensor", "name it: --sensor left-strap")
    found = run(
        recordings,
        sensor=name,
        made_at=time.strftime("%Y-%m-%dT%H:%M:%S%z"),
        turn_rad=None if turn is None else math.radians(turn),
        gravity_m_s2=gravity,
        known=find_calibration(name),
    )
    for half, why in found.refused.items():
        if half not in found.failed:
            say(f"{half} not calibrated: {why}")
    for note in found.notes:
        say(f"note: {note}")
    theirs = {one.metadata.sensor for one in recordings if one.metadata.sensor} - {name}
    if theirs and not found.calibration.serial:
        names = ", ".join(sorted(theirs))
        say(f"note: the recordings name their sensor {names}; only those that say {name} are corrected")
    kept_in = None if try_only else save_calibration(found.calibration)
    if as_json:
        print_json({"schema": SCHEMA, "kept": not try_only, **_record(found)})
    else:
        _tables(found)
    kept = "nothing was kept (--try)" if kept_in is None else f"kept for {name} in {kept_in}"
    if found.failed:
        # Last, and as an error: a table that looks fine must not hide what is not there.
        made = ", ".join(half for half in ("accelerometer", "gyroscope") if half not in found.refused)
        raise InputError(
            f"{' and '.join(found.failed)} not calibrated: {found.refused[found.failed[0]]}",
            f"the {made} alone was calibrated; {kept}",
        )
    say(kept)


def _tables(found: CalibrationRun) -> None:
    a, g = found.calibration.accelerometer, found.calibration.gyroscope
    lines: list[list[str]] = []
    if a is not None:
        for k, axis in enumerate("xyz"):
            lines.append(
                [
                    f"accelerometer {axis}",
                    f"{a.offset_m_s2[k]:+.4f} ± {a.offset_se_m_s2[k]:.4f} m/s²",
                    f"{100 * (a.matrix[k, k] - 1):+.3f} ± {100 * a.scale_se[k]:.3f} %",
                ]
            )
    if g is not None:
        for k, axis in enumerate("xyz"):
            turned = "" if axis in g.turned_axes else " (not turned)"
            lines.append(
                [
                    f"gyroscope {axis}",
                    f"{math.degrees(g.bias_rad_s[k]):+.4f} ± {math.degrees(g.bias_se_rad_s):.2f} °/s",
                    f"{100 * (g.matrix[k, k] - 1):+.3f} ± {100 * g.scale_se[k]:.3f} %{turned}",
                ]
            )
    print_table(["Correction", "offset or bias", "scale"], lines)
    if a is not None:
        typer.echo(
            f"Gravity from pose to pose ({a.rests} rests, {a.poses} poses): ±{a.spread_before_m_s2:.4f} m/s² before, "
            f"±{a.spread_after_m_s2:.4f} m/s² after"
        )
    if g is not None:
        typer.echo(
            f"Angle of a turn ({g.turns} turns, {math.degrees(g.mean_turn_rad):.0f}° on average): "
            f"±{math.degrees(g.error_before_rad):.2f}° before, ±{math.degrees(g.error_after_rad):.2f}° after"
        )
    say(
        "Root mean squares; after: each pose and turn predicted from all the others. ± is one standard error."
    )


def _record(found: CalibrationRun) -> dict[str, object]:
    return {
        "calibration": _calibration_record(found.calibration),
        "refused": found.refused,
        "left_out": list(found.notes),
        "rests": found.rests,
        "moves": found.moves,
    }


def _calibration_record(one: Calibration) -> dict[str, object]:
    a, g = one.accelerometer, one.gyroscope
    return {
        "sensor": one.sensor,
        "serial": one.serial or None,
        "made_at": one.made_at,
        "files": list(one.files),
        "temperature_c": one.temperature_c,
        "accelerometer": None
        if a is None
        else {
            "offset_m_s2": _numbers(a.offset_m_s2),
            "offset_se_m_s2": _numbers(a.offset_se_m_s2),
            "matrix": [_numbers(row) for row in a.matrix],
            "scale_se": _numbers(a.scale_se),
            "cross_se": float(f"{a.cross_se:.6g}"),
            "poses": a.poses,
            "rests": a.rests,
            "gravity_spread_before_m_s2": float(f"{a.spread_before_m_s2:.6g}"),
            "gravity_spread_after_m_s2": float(f"{a.spread_after_m_s2:.6g}"),
        },
        "gyroscope": None
        if g is None
        else {
            "bias_deg_s": _numbers(g.bias_rad_s, math.degrees(1)),
            "bias_se_deg_s": float(f"{math.degrees(g.bias_se_rad_s):.6g}"),
            "matrix": [_numbers(row) for row in g.matrix],
            "scale_se": _numbers(g.scale_se),
            "cross_se": float(f"{g.cross_se:.6g}"),
            "turned_axes": list(g.turned_axes),
            "turns": g.turns,
            "mean_turn_deg": float(f"{math.degrees(g.mean_turn_rad):.6g}"),
            "turn_error_before_deg": float(f"{math.degrees(g.error_before_rad):.6g}"),
            "turn_error_after_deg": float(f"{math.degrees(g.error_after_rad):.6g}"),
        },
    }


def _numbers(values: Any, factor: float = 1.0) -> list[float]:
    return [float(f"{factor * value:.9g}") for value in values]


def _list(as_json: bool) -> None:
    from armarc.sensor.calibration import load_calibrations

    known = load_calibrations()
    if as_json:
        print_json(
            {
                "schema": "armarc.sensor_calibrations/1",
                "calibrations": [_calibration_record(one) for one in known],
            }
        )
        return
    if not known:
        say("no calibration is kept; armarc sensor calibrate --guide says how to make one")
        return
    lines = []
    for one in known:
        a, g = one.accelerometer, one.gyroscope
        lines.append(
            [
                one.sensor,
                one.serial or "–",
                one.made_at,
                "–" if a is None else f"{a.poses} poses",
                "–"
                if g is None
                else f"{', '.join(g.turned_axes) or 'no axis'}, ±{100 * float(g.scale_se.max()):.2f} %",
            ]
        )
    print_table(["Sensor", "serial number", "made", "accelerometer", "gyroscope scale"], lines)


def _forget(name: str) -> None:
    from armarc.errors import UsageError
    from armarc.sensor.calibration import forget_calibration

    gone = forget_calibration(name)
    if not gone:
        raise UsageError(f"no calibration is kept for {name!r}", "armarc sensor calibrate --list shows them")
    say(f"{gone} calibration{'s' if gone > 1 else ''} of {name} removed")
