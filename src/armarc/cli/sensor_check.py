"""``armarc sensor check``: how good the sensor itself is, from a recording of it lying still."""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.log_options import AsJson, print_json, print_table, say
from armarc.cli.measuring_options import READING, reading
from armarc.cli.option_rows import taking, without
from armarc.cli.outputs import Dark, Force, check_picture, guard_for
from armarc.cli.phone import USUAL_PORT, Phone, PhoneHost, PhonePort, check_phone_alone, open_phone

if TYPE_CHECKING:
    from armarc.sensor.bench.types import SensorCheck


@taking(read_as=(without(READING, "gyroscope", "axes", "gravity_sign"), reading))
def check(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE",
            help="Recording (CSV) of the sensor lying still. Without it the sensor is listened to.",
        ),
    ] = None,
    *,
    sensor: Annotated[
        str | None,
        typer.Option("--sensor", "-s", help="Listen to this one (nickname, name, address or serial number)."),
    ] = None,
    phone: Phone = False,
    host: PhoneHost = None,
    port: PhonePort = USUAL_PORT,
    seconds: Annotated[
        float, typer.Option("--seconds", min=5, help="How long to listen; two minutes tell the bias.")
    ] = 120.0,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="OUT.csv", help="Keep what was listened to here; else under the time of day."
        ),
    ] = None,
    as_json: AsJson = False,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot", metavar="OUT.png", help="Picture (.png, .svg or .pdf) of the Allan deviation."
        ),
    ] = None,
    dark: Dark = False,
    force: Force = False,
    read_as: dict[str, Any],
) -> None:
    """Measure noise, bias, drift, rate and losses, and say in plain words what they are good for.

    Lay the sensor on a table nobody leans on: 10 s tell the noise, two minutes the random walk and the bias, an hour
    its drift. The still part is found by itself.
    """
    from armarc.cli.capturing import captured_file
    from armarc.errors import NothingToMeasure, UsageError
    from armarc.recording import read_csv
    from armarc.sensor.bench.check import check_sensor
    from armarc.sensor.bench.verdict import check_record
    from armarc.sensor.calibration import find_calibration, gyroscope_scale_se

    guard = guard_for([file, out], force=force)
    if plot is not None:
        check_picture(plot, guard)
    if phone:
        check_phone_alone(
            sensor=sensor is not None, file=file is not None, rate=read_as["rate_hz"] is not None
        )
    if file is None:
        say(f"lay the sensor on a steady table; listening for {seconds:g} s of samples, Ctrl-C ends earlier")
        file = captured_file(
            "check",
            out,
            note="sensor check: lying still",
            sensor=sensor or "",
            seconds=seconds,
            phone=partial(open_phone, host, port, task="check") if phone else None,
        )
    elif sensor is not None or out is not None:
        raise UsageError("samples come from a sensor or from a file, not both", "leave one of them out")
    recording = read_csv(file, **read_as)
    calibration = find_calibration(recording.metadata)
    gyroscope = None if calibration is None else calibration.gyroscope
    found = check_sensor(
        recording,
        scale_se=None if gyroscope is None else gyroscope_scale_se(calibration),
        accelerometer_calibrated=calibration is not None and calibration.accelerometer is not None,
    )
    for warning in recording.warnings:
        say(f"note: {warning}")
    if as_json:
        print_json(check_record(found))
    else:
        _tables(found)
        for sentence in found.findings:
            typer.echo(f"- {sentence}")
    if plot is not None and found.still is not None:
        from armarc.report.sensor_figures import draw_allan
        from armarc.report.sizes import save_figure

        save_figure(draw_allan(found, dark=dark), plot, guard)
        say(f"picture written to {plot}")
    if found.still is None:
        raise NothingToMeasure(
            f"{file}: {found.not_still}", "lay the sensor on a steady table and record two minutes"
        )


def _tables(found: SensorCheck) -> None:
    stream = found.stream
    lines = [
        ["samples", f"{stream.samples}", f"{stream.duration_s:.1f} s"],
        ["rate", f"{stream.rate_hz:.3f} Hz", f"jitter {1000 * stream.jitter_s:.2f} ms"],
        ["missing", f"{stream.missing_samples}", f"{100 * stream.missing_share:.2f} %"],
        ["gaps", f"{stream.gaps}", f"longest step {1000 * stream.longest_gap_s:.0f} ms"],
        ["clipped", f"{stream.clipped_samples}", ""],
    ]
    still = found.still
    if still is not None:
        lines.append(
            ["still", f"{still.duration_s:.1f} s", f"from {still.start_s:.1f} to {still.end_s:.1f} s"]
        )
        lines.append(
            [
                "gravity",
                f"{still.gravity_m_s2:.4f} m/s²",
                f"{100 * (still.gravity_m_s2 / 9.80665 - 1):+.2f} %",
            ]
        )
    if still is not None and still.temperature_c is not None:
        low, high = still.temperature_c
        lines.append(["temperature", f"{high:.1f} °C", "" if low == high else f"from {low:.1f} °C"])
    print_table(["Stream", "", ""], lines, right=frozenset({1}))
    if still is None:
        return
    _axes(found)


def _axes(found: SensorCheck) -> None:
    from armarc.recording import STANDARD_GRAVITY_M_S2

    still = found.still
    assert still is not None
    typer.echo("")
    deg, micro = math.degrees(1), 1e6 / STANDARD_GRAVITY_M_S2
    lines = []
    for name, axis in zip("xyz", still.gyroscope, strict=True):
        terms = axis.terms
        line = [name, f"{deg * axis.mean:+.4f}", f"{deg * axis.sample_sd:.4f}"]
        if terms is None:
            lines.append([*line, "–", "–", "–", _slope(axis.per_kelvin, 1000 * deg)])
            continue
        bound = "" if terms.floor_seen else "≤ "
        instability = "–" if terms.instability is None else f"{bound}{3600 * deg * terms.instability:.2f}"
        line += [f"{1000 * deg * terms.density:.2f}", f"{60 * deg * terms.random_walk:.3f}", instability]
        lines.append([*line, _slope(axis.per_kelvin, 1000 * deg)])
    heads = ["Gyroscope", "bias °/s", "noise °/s", "mdps/√Hz", "walk °/√h"]
    print_table([*heads, "instability °/h", "mdps/K"], lines, right=frozenset(range(1, 7)))
    typer.echo("")
    lines = []
    for name, axis in zip("xyz", still.accelerometer, strict=True):
        terms = axis.terms
        line = [name, f"{axis.mean:+.4f}", f"{axis.sample_sd:.4f}"]
        if terms is None:
            lines.append([*line, "–", "–", "–", _slope(axis.per_kelvin, micro)])
            continue
        bound = "" if terms.floor_seen else "≤ "
        instability = "–" if terms.instability is None else f"{bound}{micro * terms.instability:.1f}"
        line += [f"{micro * terms.density:.0f}", f"{60 * terms.random_walk:.4f}", instability]
        lines.append([*line, _slope(axis.per_kelvin, micro)])
    heads = ["Accelerometer", "mean m/s²", "noise m/s²", "µg/√Hz", "walk m/s/√h"]
    print_table([*heads, "instability µg", "µg/K"], lines, right=frozenset(range(1, 7)))
    say(
        "Densities (/√Hz) are one-sided, as in datasheets: √2 times the random walk N of IEEE Std 952 "
        "(1 °/√s = 60 °/√h). Bias instability is the lowest point of the overlapping Allan deviation over 0.664; "
        "≤ marks an upper bound."
    )


def _slope(value: float | None, factor: float) -> str:
    return "–" if value is None else f"{factor * value:+.2f}"
