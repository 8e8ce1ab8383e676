"""``armarc sensor mount``: how the sensor sits on the wrist, from one short guided move."""

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
    from armarc.guided_mount import GuidedMount
    from armarc.recording import Metadata
    from armarc.sensor.calibration.store import StoredMount

SCHEMA = "armarc.sensor_mount/1"
GUIDE = """\
Recording how the sensor sits on the wrist takes 20 seconds
  1. Strap it on as you always do. Start recording.
  2. Stand still for three seconds: arm hanging straight, thumb forward.
  3. Twist: turn the hanging forearm palm in, palm out, twice, at an easy pace, elbow straight.
  4. Hang still for two seconds, thumb forward again.
  5. Raise the straight arm slowly straight to the front until it is level, thumb up all the way; hold for a second.
  6. Lower it, hang still for two seconds. Stop recording (Ctrl-C).
  7. armarc sensor mount FILE --sensor NAME --side right
With a phone:  armarc sensor mount --phone --side right  records and goes on by itself.
The twist shows the long axis of the forearm, the raise the thumb and where you face. Once per sensor and side, and
again when you wear the strap another way. Stop at pain.
"""


@taking(read_as=(without(READING, "gyroscope"), reading))
def mount(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="Recording that begins with the guided move.")
    ] = None,
    *,
    sensor: Annotated[
        str, typer.Option("--sensor", "-s", help="Name to keep it under; without it the recording's own.")
    ] = "",
    side: Annotated[
        str | None, typer.Option("--side", help="right or left; without it the recording's own.")
    ] = None,
    strap: Annotated[
        str | None,
        typer.Option(
            "--strap",
            help="back, inside, thumb or little-finger: where the sensor sits, z away from the skin; the move is "
            "held against it. Without it the recording's own, or that of your settings.",
        ),
    ] = None,
    hand_axis: Annotated[
        str | None,
        typer.Option("--hand-axis", help="Sensor axis that points to the hand, such as +x; the same."),
    ] = None,
    phone: Phone = False,
    host: PhoneHost = None,
    port: PhonePort = USUAL_PORT,
    out: PhoneOut = None,
    try_only: Annotated[bool, typer.Option("--try", help="Show the result and keep nothing.")] = False,
    show: Annotated[bool, typer.Option("--list", help="List what is kept.")] = False,
    forget: Annotated[str, typer.Option("--forget", metavar="NAME", help="Remove a sensor's mounts.")] = "",
    guide: Annotated[bool, typer.Option("--guide", help="Print the move, step by step.")] = False,
    as_json: AsJson = False,
    read_as: dict[str, object],
) -> None:
    """Find out from a still–twist–front-raise move which way arm and thumb lie in the sensor, and keep it.

    --guide prints the move. With it kept, later recordings of this sensor and side give plane and hand rotation
    without any option.
    """
    from armarc.errors import UsageError

    if guide:
        typer.echo(GUIDE, nl=False)
        return
    if show:
        _list(as_json)
        return
    if forget:
        from armarc.sensor.calibration.store import forget_mounts

        gone = forget_mounts(forget)
        if not gone:
            raise UsageError(f"no mount is kept for {forget!r}", "armarc sensor mount --list shows them")
        say(f"{gone} mount{'s' if gone > 1 else ''} of {forget} removed")
        return
    if phone:
        from armarc.cli.capturing import phone_file

        check_phone_alone(file=file is not None, rate=read_as["rate_hz"] is not None)
        if side is None:
            raise UsageError("which wrist is the phone on?", "add --side right or --side left")
        file = phone_file("mount", GUIDE, out, host, port)
    elif out is not None:
        raise UsageError("--out keeps what a phone sends", "add --phone")
    if file is None:
        raise UsageError(
            "expected a recording of the guided move, or --phone", "armarc sensor mount --guide prints it"
        )
    _mount(file, read_as, sensor, (side, strap, hand_axis), try_only, as_json)


def _mount(
    file: Path,
    reading: dict[str, Any],
    sensor: str,
    worn: tuple[str | None, str | None, str | None],
    try_only: bool,
    as_json: bool,
) -> None:
    import time

    from armarc.errors import UsageError
    from armarc.guided_mount import find_guided_mount, keep_as, refuse_conflict, thumb_words
    from armarc.recording import read_csv
    from armarc.sensor.calibration import apply_calibration, find_calibration
    from armarc.sensor.calibration.store import save_mount
    from armarc.settings import load_settings

    side, strap, hand_axis = worn
    saved = load_settings()
    recording = read_csv(file, **reading)
    name = sensor.strip() or recording.metadata.sensor or ""
    if not name:
        raise UsageError("the recording does not name its sensor", "name it: --sensor left-strap")
    head = recording.metadata
    chosen = (side or head.side or "").strip().casefold()
    if chosen not in ("right", "left"):
        raise UsageError(
            f"{side!r} is not a side" if side else "the recording does not say which arm it was",
            "add --side right or --side left",
        )
    calibration = find_calibration(recording.metadata) or find_calibration(name)
    found = find_guided_mount(apply_calibration(recording, calibration))
    for note in _side_conflicts(chosen, name, head):
        say(f"warning: {note}")
    refuse_conflict(
        found,
        side=chosen,
        strap=strap or head.strap or saved.options.strap,
        hand_axis=hand_axis or head.hand_axis or saved.options.hand_axis,
        file=recording.source.file,
    )
    words = thumb_words(found, chosen)
    kept = keep_as(found, recording, sensor=name, side=chosen, made_at=time.strftime("%Y-%m-%dT%H:%M:%S%z"))
    for note in found.notes:
        say(f"note: {note}")
    kept_in = None if try_only else save_mount(kept)
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "kept": not try_only,
                **_record(kept),
                **_move_record(found),
                "thumb": words,
            }
        )
    else:
        _table(kept, found)
        typer.echo(words[0].upper() + words[1:])
    say("nothing was kept (--try)" if kept_in is None else f"kept for {name}, {chosen} wrist, in {kept_in}")


def _side_conflicts(side: str, name: str, head: Metadata) -> list[str]:
    """Whatever else says a side, and says another one: a mount of the other wrist mirrors the thumb."""
    from armarc.sensor.calibration.store import identity
    from armarc.sensor.remembered import load_known, recall

    said = []
    if head.side in ("left", "right") and head.side != side:
        said.append(f"the recording says {head.side} wrist, you said {side}: a wrong side mirrors the thumb")
    known = load_known()
    mine = recall(known, name) or recall(known, identity(head)["serial"] or name)
    if mine is not None and mine.side is not None and mine.side != side:
        said.append(
            f"{mine.nickname} is remembered for the {mine.side} wrist, this mount is for the {side} one"
        )
    return said


def _table(kept: StoredMount, found: GuidedMount) -> None:
    lines = [
        ["arm (to the hand)", _words(kept.arm_axis), f"±{math.degrees(kept.arm_se_rad):.1f}°"],
        ["thumb (forward when hanging)", _words(kept.thumb_axis), f"±{math.degrees(kept.thumb_se_rad):.1f}°"],
    ]
    print_table(["Direction", "in sensor axes x, y, z", "standard error"], lines)
    twist_start, twist_end, start, top = found.times_s
    typer.echo(
        f"Twist from {twist_start:.1f} to {twist_end:.1f} s, front raise of {math.degrees(found.raise_rad):.0f}° from "
        f"{start:.1f} to {top:.1f} s; the hand turned by {math.degrees(found.hand_turn_rad):+.0f}° in it"
    )


def _words(axis: Any) -> str:
    return ", ".join(f"{value:+.3f}" for value in axis)


def _record(kept: StoredMount) -> dict[str, object]:
    return {
        "sensor": kept.sensor,
        "serial": kept.serial or None,
        "side": kept.side,
        "made_at": kept.made_at,
        "file": kept.file,
        "arm_axis": [float(f"{value:.6g}") for value in kept.arm_axis],
        "thumb_axis": [float(f"{value:.6g}") for value in kept.thumb_axis],
        "arm_se_deg": float(f"{math.degrees(kept.arm_se_rad):.6g}"),
        "thumb_se_deg": float(f"{math.degrees(kept.thumb_se_rad):.6g}"),
    }


def _move_record(found: GuidedMount) -> dict[str, object]:
    names = ("twist_start_s", "twist_end_s", "raise_start_s", "raise_top_s")
    times = {name: float(f"{value:.6g}") for name, value in zip(names, found.times_s, strict=True)}
    return times | {
        "raise_deg": float(f"{math.degrees(found.raise_rad):.6g}"),
        "hand_turn_deg": float(f"{math.degrees(found.hand_turn_rad):.6g}"),
        "notes": list(found.notes),
    }


def _list(as_json: bool) -> None:
    from armarc.sensor.calibration.store import load_mounts

    known = load_mounts()
    if as_json:
        print_json({"schema": "armarc.sensor_mounts/1", "mounts": [_record(one) for one in known]})
        return
    if not known:
        say("no mount is kept; armarc sensor mount --guide prints the move that shows one")
        return
    lines = [
        [one.sensor, one.side, one.made_at, _words(one.arm_axis), _words(one.thumb_axis)] for one in known
    ]
    print_table(["Sensor", "side", "made", "arm", "thumb"], lines)
