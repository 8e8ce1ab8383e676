"""`armarc sensor`: what is in reach, which is which, and how others speak."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.log_options import AsJson, say
from armarc.cli.sensor_calibrate import calibrate
from armarc.cli.sensor_check import check
from armarc.cli.sensor_mount import mount
from armarc.errors import InputError, SensorError, UsageError

if TYPE_CHECKING:
    from armarc.sensor.dialect import Dialect
    from armarc.sensor.remembered import Remembered

app = typer.Typer(no_args_is_help=True, help="Find, name, describe, check and calibrate wrist sensors.")
app.command("check")(check)
app.command("calibrate")(calibrate)
app.command("mount")(mount)

DescriptionOption = Annotated[
    list[Path] | None,
    typer.Option("--description", "-d", help="Description (TOML) of a sensor that speaks otherwise."),
]


@app.command("scan")
def scan(
    seconds: Annotated[float, typer.Option("--seconds", min=0.5, help="How long to listen.")] = 4.0,
    everything: Annotated[
        bool, typer.Option("--all", help="Also list devices that are no known sensor.")
    ] = False,
    connect: Annotated[
        bool, typer.Option("--connect/--no-connect", help="Ask each sensor for battery and firmware.")
    ] = True,
    description: DescriptionOption = None,
    as_json: AsJson = False,
) -> None:
    """List the sensors in reach."""
    import asyncio

    _quiet()
    rows = asyncio.run(_look(_dialects(description), seconds, connect))
    shown = [row for row in rows if everything or row["profile"]]
    if as_json:
        typer.echo(json.dumps({"schema": "armarc.sensors/1", "sensors": shown}, allow_nan=False))
        return
    if shown:
        _table(shown)
    hidden = len(rows) - len(shown)
    if not shown:
        typer.echo(
            "no sensor in reach; wake it (move it or press its button), bring it closer, charge it, and close "
            "any program that is connected to it",
            err=True,
        )
    if hidden:
        typer.echo(f"{hidden} other Bluetooth device{'s' if hidden > 1 else ''}; --all lists them", err=True)


@app.command("remember")
def remember_sensor(
    nickname: Annotated[str, typer.Argument(help="Such as left-strap.")],
    sensor: Annotated[
        str, typer.Option("--sensor", "-s", help="Name or address; without it: the one in reach.")
    ] = "",
    side: Annotated[str | None, typer.Option("--side", help="left or right.")] = None,
    timeout: Annotated[float, typer.Option("--timeout", min=1, help="How long to look for it, s.")] = 15.0,
    description: DescriptionOption = None,
) -> None:
    """Give a sensor a nickname and a side, kept by its serial number."""
    import asyncio

    from armarc.sensor.link.connection import visit
    from armarc.sensor.link.find import Wish, found, prepare_platform
    from armarc.sensor.remembered import Remembered, check_nickname, load_known, recall, remember, save_known

    nickname = check_nickname(nickname)
    if side not in (None, "left", "right"):
        raise UsageError(f"--side {side}: expected left or right")
    known = load_known()
    dialects = _dialects(description)
    _quiet()
    prepare_platform()

    async def meet() -> Remembered:
        async with found(Wish(text=sensor), dialects, timeout) as seen:
            facts = await visit(seen, dialects)
        return Remembered(
            nickname=nickname, name=facts.name, address=facts.address, serial=facts.serial, side=side
        )

    new = asyncio.run(meet())
    before = recall(known, new.serial or nickname) or recall(known, nickname)
    if before is not None and before.side is not None and before.side != side:
        now = f"the {side} one from now on" if side else "either from now on"
        typer.echo(f"warning: {before.nickname} was remembered for the {before.side} wrist; {now}", err=True)
    path = save_known(remember(known, new))
    by = f"serial number {new.serial}" if new.serial else f"address {new.address}, as it has no serial number"
    typer.echo(
        f"{nickname}: {_clean(new.name or new.address)}{f', {side} wrist' if side else ''} ({_clean(by)})"
    )
    typer.echo(f"kept in {path}", err=True)


@app.command("known")
def known_sensors(as_json: AsJson = False) -> None:
    """List the remembered sensors."""
    from dataclasses import asdict

    from armarc.sensor.remembered import load_known

    known = load_known()
    if as_json:
        document = {"schema": "armarc.known-sensors/1", "sensors": [asdict(one) for one in known]}
        typer.echo(json.dumps(document, allow_nan=False))
        return
    if not known:
        typer.echo("no sensor is remembered; armarc sensor remember NICKNAME keeps one", err=True)
    for one in known:
        fields = (one.nickname, one.side or "either side", one.name, one.serial or one.address)
        typer.echo("\t".join(_clean(text) for text in fields))


@app.command("forget")
def forget(nickname: Annotated[str, typer.Argument(help="Nickname or serial number.")]) -> None:
    """Remove a nickname."""
    from armarc.sensor.remembered import load_known, recall, save_known

    known = load_known()
    gone = recall(known, nickname)
    if gone is None:
        names = ", ".join(one.nickname for one in known) or "none"
        raise UsageError(f"no sensor is remembered as {nickname!r}", f"remembered: {names}")
    save_known(tuple(one for one in known if one is not gone))
    typer.echo(f"forgotten: {gone.nickname}")


@app.command("describe")
def describe(
    file: Annotated[Path | None, typer.Argument(help="Description to check.")] = None,
    example: Annotated[
        bool, typer.Option("--example", help="Print whole examples (invented sensors).")
    ] = False,
    folder: Annotated[bool, typer.Option("--folder", help="Print where descriptions are kept.")] = False,
    packet: Annotated[str, typer.Option("--packet", help="Decode one packet, in hexadecimal.")] = "",
) -> None:
    """Check a description of a sensor that does not speak the wrist profile.

    A description says in TOML where the bytes are; put it into the folder that --folder prints, or hand it to
    scan and record with --description.
    """
    from armarc.computer import config_folder
    from armarc.sensor.describe import decoder_of, load_description
    from armarc.sensor.describe.loader import FOLDER_NAME

    if folder:
        typer.echo(str(config_folder() / FOLDER_NAME))
        return
    if example:
        from importlib.resources import files

        examples = sorted((files("armarc.sensor.describe") / "examples").iterdir(), key=lambda one: one.name)
        for one_file in examples:
            if one_file.name.endswith((".toml", ".py")):
                typer.echo(f"# {one_file.name}\n{one_file.read_text('utf-8')}")
        say("each is a file of its own, by the name at its head")
        return
    if file is None:
        raise UsageError("expected a file to check, --example or --folder")
    one = load_description(file)
    decoder_of(one)
    timing = one.timing
    carried = (
        "device clock"
        if timing.time_modulus_s
        else "counter at the nominal rate"
        if timing.index_modulus
        else "nothing: lost samples cannot be seen, times are counted from the nominal rate"
    )
    for stream in (one,) if one.joined_with is None else (one, one.joined_with):
        typer.echo(f"{_clean(one.name)}: {stream.rate_hz:g} Hz, {_layout_words(stream)}")
    typer.echo(f"time is carried by: {carried}")
    if packet:
        _decode(one, packet)


def _layout_words(stream: Any) -> str:
    if stream.decoder:
        return f"decoded by {Path(stream.decoder).name}"
    if stream.format == "lines":
        return f"lines of {len(stream.sample)} columns"
    samples = str(stream.samples) if stream.samples else "as many as fit"
    sizes = f"{stream.header_bytes} + n · {stream.sample_bytes} + {stream.trailer_bytes} bytes"
    return f"{samples} samples in a packet of {sizes}"


def _decode(description: Any, packet: str) -> None:
    from armarc.sensor.describe import decoder_of

    try:
        data = bytes.fromhex(packet)
    except ValueError:
        raise UsageError('--packet expects hexadecimal bytes such as "a5 01 …"') from None
    try:
        batches = decoder_of(description)(data, 0)
    except SensorError as error:
        raise InputError(error.message, error.hint) from error
    if not batches:
        typer.echo("no whole sample in it: ignored, or more has to come first")
        return
    first = batches[0]
    if first.index is not None or first.device_time_s is not None:
        typer.echo(f"first sample: number {first.index}, device time {first.device_time_s} s")
    typer.echo("ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s")
    for batch in batches:
        for force, rate in zip(batch.specific_force_m_s2, batch.angular_velocity_rad_s, strict=True):
            typer.echo(",".join(f"{value:.5f}" for value in (*force + 0.0, *rate + 0.0)))


def _dialects(files: list[Path] | None) -> tuple[Dialect, ...]:
    from armarc.sensor.describe import DescribedDialect, load_description, load_descriptions
    from armarc.sensor.link.wrist import WristDialect

    described = (*(load_description(path) for path in files or []), *load_descriptions())
    return (WristDialect(), *(DescribedDialect(one) for one in described))


async def _look(dialects: tuple[Dialect, ...], seconds: float, connect: bool) -> list[dict[str, object]]:
    from armarc.sensor.link.connection import visit
    from armarc.sensor.link.find import look_around, prepare_platform
    from armarc.sensor.remembered import load_known

    known = load_known()
    prepare_platform()
    rows = []
    for seen in await look_around(dialects, seconds):
        row: dict[str, object] = {
            "name": seen.name or None,
            "address": seen.address,
            "rssi_dbm": seen.rssi_dbm,
            "profile": seen.dialect.name if seen.dialect else None,
            "battery_pct": None,
            "firmware": None,
            "serial": None,
            "nickname": None,
            "side": None,
            "problem": None,
        }
        if connect and seen.dialect is not None:
            try:
                facts = await visit(seen, dialects)
            except SensorError as error:
                row["problem"] = error.message
            else:
                row |= {
                    "profile": facts.profile,
                    "battery_pct": facts.battery_pct,
                    "firmware": facts.firmware or None,
                    "serial": facts.serial or None,
                }
        mine = next((one for one in known if _is(one, row)), None)
        if mine is not None:
            row |= {"nickname": mine.nickname, "side": mine.side}
        rows.append(row)
    return rows


def _is(known: Remembered, row: dict[str, object]) -> bool:
    if known.serial and row["serial"]:
        return bool(known.serial == row["serial"])
    return bool(known.address == row["address"])


def _table(rows: list[dict[str, Any]]) -> None:
    import sys

    heads = ("name", "address", "signal", "battery", "firmware", "speaks", "remembered as")
    lines = []
    for row in rows:
        signal = "connected" if row["rssi_dbm"] is None else f"{row['rssi_dbm']} dBm"
        battery = "" if row["battery_pct"] is None else f"{row['battery_pct']} %"
        mine = " ".join(text for text in (row["nickname"], row["side"]) if text)
        speaks = row["problem"] or row["profile"] or "unknown"
        name = row["name"] or "(unnamed)"
        lines.append(
            [_clean(t) for t in (name, row["address"], signal, battery, row["firmware"] or "", speaks, mine)]
        )
    if not sys.stdout.isatty():
        for line in (list(heads), *lines):
            typer.echo("\t".join(line))
        return
    from rich.markup import escape
    from rich.table import Table

    from armarc.cli.terminal import out_console

    table = Table(box=None, header_style="bold")
    for head in heads:
        # An address is there to be copied: it is never cut.
        table.add_column(head, overflow="fold", no_wrap=head == "address")
    for line in lines:
        table.add_row(*(escape(text) for text in line))
    out_console().print(table)


def _clean(text: str) -> str:
    """Names come over the air: no control characters reach the terminal."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _quiet() -> None:
    import logging

    for name in ("bleak", "dbus_fast"):
        logging.getLogger(name).addHandler(logging.NullHandler())
