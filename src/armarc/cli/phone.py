"""A phone as the sensor: its page, where to find it, and the stream that comes of it."""

from __future__ import annotations

import contextlib
import importlib.util
import json
import sys
import threading
import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperCommand

if TYPE_CHECKING:
    import asyncio
    from multiprocessing.connection import Connection

    from armarc.cli.places import Worn
    from armarc.live.web.face import WebFace
    from armarc.sensor.events import Event
    from armarc.sensor.phone import Heard

Phone = Annotated[
    bool,
    typer.Option(
        "--phone", help="A phone is the sensor: it opens an address (or the code shown), one tap starts."
    ),
]
Phones = Annotated[
    str | None,
    typer.Option(
        "--phone",
        metavar="[PLACES]",
        help="A phone is the sensor: it opens an address (or the code shown), one tap starts. Several: wrist,chest or "
        "left,right, each asks where it sits.",
    ),
]
PhoneHost = Annotated[
    str | None,
    typer.Option(
        "--host", help="Address the phone's page listens on; every one of this machine if not stated."
    ),
]
PhonePort = Annotated[
    int, typer.Option("--port", min=0, max=65535, help="Port of the phone's page; 0 takes a free one.")
]
PhoneOut = Annotated[
    Path | None,
    typer.Option(
        "--out", metavar="OUT.csv", help="With --phone: keep what came here; else under the time of day."
    ),
]
USUAL_PORT = 8765
_MOST_HEARD = 400


class PhonesCommand(TyperCommand):
    """A command whose ``--phone`` may say places, or none: then it is the wrist."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Give ``--phone`` its value before the line is read."""
        if "--phone" not in args:
            return super().parse_args(ctx, args)
        from armarc.recording.captures import WRIST

        end = args.index("--") if "--" in args else len(args)
        said: list[str] = []
        for word in args[:end]:
            if said and said[-1] == "--phone" and word.partition(",")[0].casefold() in _places():
                said[-1] = f"--phone={word}"
            else:
                said.append(word)
        said = [f"--phone={WRIST}" if word == "--phone" else word for word in said]
        return super().parse_args(ctx, said + args[end:])


def _places() -> tuple[str, ...]:
    from armarc.options import SIDES
    from armarc.recording.captures import PLACES

    return (*PLACES, *SIDES)


def phones_worn(said: str) -> list[Worn]:
    """Phones by their places, such as ``wrist,chest``.

    Raises
    ------
    UsageError
        A place that is none, or places that do not go together.
    """
    from armarc.cli.places import worn_sensors
    from armarc.errors import UsageError
    from armarc.recording.captures import CHEST, WRIST

    places = [place.strip().casefold() for place in said.split(",")]
    for place in places:
        if place not in _places():
            raise UsageError(
                f"--phone {said}: {place or 'nothing'} is no place", f"places are {', '.join(_places())}"
            )
    if places == [CHEST]:
        raise UsageError(
            "a phone on the chest goes with one on the wrist",
            "--phone wrist,chest, or a sensor as well: record --sensor NAME --phone chest",
        )
    if len(set(places)) != len(places):
        raise UsageError(f"--phone {said}: one phone at each place", "such as --phone wrist,chest")
    return worn_sensors([""] if places == [WRIST] else [f"{place}={place} phone" for place in places])


def phone_places(worn: Sequence[Worn]) -> tuple[str, ...]:
    """What their pages ask for, in their order; a single wrist is the wrist, whichever arm is lifted with."""
    from armarc.recording.captures import WRIST

    both = sum(one.place == WRIST for one in worn) > 1
    return tuple((one.side if both else None) or one.place or WRIST for one in worn)


def check_phone_alone(
    *, sensor: bool = False, file: bool = False, rate: bool = False, description: bool = False
) -> None:
    """Refuse what makes no sense beside a phone.

    Raises
    ------
    UsageError
    """
    from armarc.errors import UsageError

    if sensor or file:
        raise UsageError(
            "samples come from a sensor, a phone or a file, not from two", "leave one of them out"
        )
    if rate or description:
        raise UsageError(
            "a phone's browser has a rate and a form of its own", "leave out --rate and --description"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PhoneLink:
    """An open page for a phone.

    Parameters
    ----------
    face : WebFace
        Takes the scoreboards, for the phone and for a page on another device.
    inbox : asyncio.Queue
    here : asyncio.Event
        Set once every phone has connected.
    places : tuple of str
        Where they sit: the order of their numbers.
    """

    face: WebFace
    inbox: asyncio.Queue[Heard | None]
    here: asyncio.Event
    places: tuple[str, ...]

    def events(self, stop: asyncio.Event) -> AsyncGenerator[Event, None]:
        """The stream of every phone, from now on."""
        from armarc.options import SIDES
        from armarc.sensor.phone import phone_stream

        words = [f"{place} wrist" if place in SIDES else place for place in self.places]
        return phone_stream(self.inbox, stop=stop, places=words)

    async def arrived(self, stop: asyncio.Event) -> None:
        """Wait for every phone, or the stop."""
        import asyncio

        waits = {asyncio.create_task(one.wait()) for one in (self.here, stop)}
        await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        for one in waits:
            one.cancel()


@contextlib.asynccontextmanager
async def open_phone(
    host: str | None, port: int, *, scoreboards: bool = False, task: str = "", places: tuple[str, ...] = ("",)
) -> AsyncIterator[PhoneLink]:
    """Serve the page of a phone and say where it is.

    Parameters
    ----------
    host : str or None
        None listens on every address of this machine.
    port : int
    scoreboards : bool
        Whether the page of the scoreboards is served as well.
    task : str
        What the phone is wanted for, where it is not lifting live: ``"record"``, ``"check"``, ``"calibrate"`` or
        ``"mount"``.
    places : tuple of str
        Where phones are wanted.

    Raises
    ------
    UsageError
        A library is missing, or nothing can listen there.
    """
    from armarc.computer import how_to_add
    from armarc.errors import UsageError
    from armarc.live.web.access import open_access, own_address
    from armarc.live.web.certificate import own_certificate
    from armarc.live.web.face import PageProcess

    if importlib.util.find_spec("segno") is None:
        raise UsageError("the code the phone scans needs the package segno", how_to_add("phone"))
    access = open_access(host or "0.0.0.0", port, always_by_token=True)
    shown = own_address(access.host)
    certificate = own_certificate(shown.strip("[]"))
    import asyncio  # with the loop, so that --help does without it

    inbox: asyncio.Queue[Heard | None] = asyncio.Queue()
    here = asyncio.Event()
    with PageProcess(access, certificate.file, scoreboards=scoreboards, task=task, places=places) as page:
        assert page.frames is not None
        threading.Thread(
            target=_receive,
            args=(page.frames, asyncio.get_running_loop(), inbox, here, len(places)),
            daemon=True,
        ).start()
        address = f"https://{f'[{shown}]' if ':' in shown else shown}:{page.port}"
        which = "a phone" if len(places) == 1 else f"each of {len(places)} phones ({', '.join(places)})"
        _show(which, f"{address}/phone{access.query}", certificate.fingerprint)
        if scoreboards:
            _say(f"the page for a second device is at {address}/{access.query}")
        yield PhoneLink(face=page.face, inbox=inbox, here=here, places=places)


OpensPhone = Callable[[], contextlib.AbstractAsyncContextManager[PhoneLink]]
"""`open_phone` with all it needs."""


def _receive(
    pipe: Connection,
    loop: asyncio.AbstractEventLoop,
    inbox: asyncio.Queue[Heard | None],
    here: asyncio.Event,
    wanted: int,
) -> None:
    """From the page's process into the session, no faster than the session takes it."""
    from armarc.sensor.phone import Heard

    came: set[int] = set()
    with contextlib.suppress(RuntimeError):
        with contextlib.suppress(EOFError, OSError, ValueError):
            while True:
                sensor, kind, at_s, text = json.loads(pipe.recv_bytes())
                while inbox.qsize() > _MOST_HEARD:
                    time.sleep(0.02)
                one = Heard(sensor=sensor, kind=kind, at_s=at_s, text=text)
                loop.call_soon_threadsafe(inbox.put_nowait, one)
                if kind == "message":
                    came.add(sensor)
                if len(came) == wanted:
                    loop.call_soon_threadsafe(here.set)
        loop.call_soon_threadsafe(inbox.put_nowait, None)


def _show(which: str, address: str, fingerprint: str) -> None:
    _say(f"on {which} in this network, open {address}")
    if sys.stderr.isatty():
        sys.stderr.write(qr_text(address))
    _say(
        "the phone will warn that nobody vouches for this machine's certificate: it was made here, for this page. "
        "Go on if the fingerprint it shows is the one below."
    )
    _say(f"SHA-256 {fingerprint}")


def _say(text: str) -> None:
    print(f"armarc: {text}", file=sys.stderr, flush=True)


def qr_text(address: str) -> str:
    """A QR code (ISO/IEC 18004) in half blocks, two modules a character, light where nothing is.

    White on black is stated where colours are allowed, so that the code is right on light terminals, too.
    """
    import os

    import segno

    rows = [list(row) for row in segno.make(address, error="l", micro=False).matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    halves = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
    on, off = ("", "") if os.environ.get("NO_COLOR") else ("\x1b[97;40m", "\x1b[0m")
    lines = (
        "".join(halves[int(bool(a)), int(bool(b))] for a, b in zip(above, below, strict=True))
        for above, below in zip(rows[::2], rows[1::2], strict=True)
    )
    return "".join(f"{on}{line}{off}\n" for line in lines)
