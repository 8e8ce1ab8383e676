"""``armarc live``: reps, verdicts and sets while they are lifted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import measuring_options as measuring
from armarc.cli.option_rows import only, taking, without
from armarc.cli.phone import Phones, PhonesCommand, check_phone_alone, phones_worn

if TYPE_CHECKING:
    from armarc.options import MeasuringOptions

COMMAND = PhonesCommand
_MEASURED = (
    *("exercise", "side", "load", "resistance", "lifter", "band", "gate", "gate_from", "rest"),
    *("sensor_place", "mounting", "strap", "hand_axis"),
)
_FROM, _FACES, _AFTER = "Where the samples come from", "Faces", "After a set"


@taking(
    stated=(only(measuring.MEASURING, *_MEASURED), measuring.stated),
    labels=(without(measuring.LABELS, "rpe"), dict),
)
def live(
    sensor: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PLACE=]SENSOR",
            help="Nickname, name or address; without it the one sensor in reach. Several: left=NAME right=NAME, "
            "wrist=NAME chest=NAME.",
        ),
    ] = None,
    *,
    stated: MeasuringOptions,
    from_file: Annotated[
        list[Path] | None,
        typer.Option(
            "--from",
            metavar="FILE",
            help="Play a recording instead of a sensor; again for the other arm's or the chest's of one capture.",
            rich_help_panel=_FROM,
        ),
    ] = None,
    speed: Annotated[
        str, typer.Option(metavar="X|max", help="How fast to play it.", rich_help_panel=_FROM)
    ] = "1",
    phone: Phones = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="OUT.csv",
            help="File of the raw stream; with a sensor always written, named by date and time unless you say.",
            rich_help_panel=_FROM,
        ),
    ] = None,
    trunk_forward: Annotated[
        str,
        typer.Option(
            metavar="AXIS",
            help="Axis of a chest sensor that faces away from the breastbone.",
            rich_help_panel=_FROM,
        ),
    ] = "+z",
    rate: Annotated[
        float | None,
        typer.Option(min=25, max=1000, help="Samples/s; 200 if not stated.", rich_help_panel=_FROM),
    ] = None,
    description: Annotated[
        list[Path] | None,
        typer.Option(
            "--description",
            "-d",
            help="Description (TOML) of a sensor that speaks otherwise.",
            rich_help_panel=_FROM,
        ),
    ] = None,
    json_: Annotated[
        bool,
        typer.Option(
            "--json",
            help="One JSON object per event on stdout (also when stdout is no terminal).",
            rich_help_panel=_FACES,
        ),
    ] = False,
    sound: Annotated[
        bool,
        typer.Option(
            "--sound",
            help="A tone per start: low below, middle inside, high twice above.",
            rich_help_panel=_FACES,
        ),
    ] = False,
    say: Annotated[bool, typer.Option("--say", help="Speak the rep count.", rich_help_panel=_FACES)] = False,
    web: Annotated[
        bool,
        typer.Option("--web", help="Show it on a page for a phone or tablet, too.", rich_help_panel=_FACES),
    ] = False,
    host: Annotated[
        str | None,
        typer.Option(
            help="Address the page listens on; 0.0.0.0 opens it to the network, behind a token; "
            "127.0.0.1 if not stated, 0.0.0.0 with --phone.",
            rich_help_panel=_FACES,
        ),
    ] = None,
    port: Annotated[
        int,
        typer.Option(min=0, max=65535, help="Port of the page; 0 takes a free one.", rich_help_panel=_FACES),
    ] = 8765,
    hook: Annotated[
        str | None,
        typer.Option(
            metavar="COMMAND",
            help="Run it after every set, the set as JSON on its stdin.",
            rich_help_panel=_AFTER,
        ),
    ] = None,
    stop_at: Annotated[
        float | None,
        typer.Option(
            min=0,
            max=90,
            metavar="PCT",
            help="Your own mark of velocity loss over full reps: shown and sounded when reached; 0 is off. It varies "
            "between days and people.",
            rich_help_panel=_FACES,
        ),
    ] = None,
    stop_rom: Annotated[
        float | None,
        typer.Option(
            min=0,
            max=90,
            metavar="PCT",
            help="The same for the range of motion lost.",
            rich_help_panel=_FACES,
        ),
    ] = None,
    log: Annotated[
        bool | None,
        typer.Option(
            "--log/--no-log",
            help="Write every set into the training log; as the last time if not stated.",
            rich_help_panel=measuring.LOGGED,
            show_default=False,
        ),
    ] = None,
    labels: dict[str, Any],
    log_file: Annotated[
        str | None, typer.Option(help="Another log than the usual one.", rich_help_panel=measuring.LOGGED)
    ] = None,
) -> None:
    """Lift and know: the start velocity against the band during the rep, reps and sets as they happen.

    Stand still for a moment with the arm hanging, then lift. What you do not state is taken as the last time: lifter,
    exercise, arm, load, sensor, log. Keys between sets: l lifter, e exercise, s side, k load; after a set 0-9 reps in
    reserve, p pain, n note; the page of --web has the same. Ctrl-C ends in good order and keeps the running set; a
    second one waits for no hook, a third for nothing. Try it without a sensor: armarc live --from FILE --speed 4.
    """
    import asyncio

    from armarc.cli.capturing import stream_options
    from armarc.cli.live_gym import file_gym, said_task, sensor_gym
    from armarc.cli.live_run import Streams, pace_of, raw_files, run
    from armarc.cli.places import worn_sensors
    from armarc.errors import UsageError
    from armarc.live.after_set import parse_hook
    from armarc.live.aftermath import After
    from armarc.log import Labels
    from armarc.motion import sensor_axis

    if phone:
        check_phone_alone(
            sensor=bool(sensor),
            file=bool(from_file),
            rate=rate is not None,
            description=bool(description),
        )
    if from_file and sensor:
        raise UsageError("samples come from a sensor or from a file, not both", "leave one of them out")
    if from_file and (rate is not None or description):
        raise UsageError("--rate and --description go with a sensor", "a recording has its own rate and form")
    pace = pace_of(speed)
    if pace != 1.0 and not from_file:
        raise UsageError("--speed goes with --from FILE", "a sensor has its own speed")
    sensor_axis(trunk_forward)
    worn = phones_worn(phone) if phone else worn_sensors(sensor) if sensor else []
    if stated.side is not None and (len(from_file or worn) > 1 and any(one.side for one in worn)):
        raise UsageError("--side goes with one wrist of which nothing is said", "left=NAME says it already")
    said = said_task(
        stated,
        variant=labels["variant"],
        worn=worn,
        phone=phone is not None,
        log=True if log_file is not None and log is None else log,
        stop_at=stop_at,
        stop_rom=stop_rom,
    )
    streams: Streams
    if from_file:
        choices, gym, streams = file_gym(from_file, stated, said)
        files = raw_files(out, streams.worn, ()) if out is not None else []
        streams = replace(streams, files=files)
    else:
        options = stream_options(rate, description or ())
        choices, gym, worn = sensor_gym(options.known, stated, said)
        files = raw_files(out, worn, options.known)
        streams = Streams(worn=worn, options=options, files=files)
        if not gym.task.phone:
            from armarc.sensor.link.find import prepare_platform

            prepare_platform()
    with_phone = not from_file and gym.task.phone is True
    if host is not None and not (web or with_phone):
        raise UsageError("--host is the address of the page", "add --web")
    logged = gym.task.logged is True
    measuring.check_logged(log=logged, **labels)
    told = Labels(rir=labels["rir"], note=labels["note"], tags=tuple(labels["tag"] or ())).checked()
    if from_file and logged and told.note is None and (note := streams.played[0][0].metadata.note):
        from armarc.log.adding import with_note

        told = with_note(told, note)
    hook_words = None if hook is None else parse_hook(hook)
    after = After(hook=hook_words, log=logged, log_file=log_file, labels=told)
    faces = {"json": json_, "sound": sound, "say": say, "web": web, "host": host, "port": port}
    faces["phone"] = with_phone
    streams = replace(streams, pace=pace, forward=trunk_forward)
    code = asyncio.run(run(choices, gym, streams, faces, after))
    if code:
        raise typer.Exit(code)
