"""The faces ``armarc live`` may have besides the terminal: the page, sounds and speech."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armarc.live.audience import Face
    from armarc.live.web.face import WebFace


async def open_web(
    stack: contextlib.AsyncExitStack, host: str, port: int, on_screen: bool, tell: Callable[[str], None]
) -> WebFace:
    """Serve the page of the scoreboards and say where it is."""
    from armarc.live.web.access import open_access, own_address
    from armarc.live.web.face import PageProcess

    access = open_access(host, port)
    page = stack.enter_context(PageProcess(access))
    shown = own_address(host)
    shown = f"[{shown}]" if ":" in shown else shown
    query = f"/?token={access.token}" if access.token else "/"
    print(f"armarc: the page is at http://{shown}:{page.port}{query}", file=sys.stderr, flush=True)
    if on_screen:
        await asyncio.sleep(2.0)  # long enough to read it before the screen takes over
        tell(f"the page was at http://{shown}:{page.port}{query}")
    return page.face


def open_sounds(sound: bool, say: bool, tell: Callable[[str], None]) -> list[Face]:
    """Tones and the spoken count, as far as this machine has them."""
    from armarc.live.faces import SoundFace, SpeechFace
    from armarc.live.speech import Speaker, find_speech
    from armarc.live.tones import open_player

    faces: list[Face] = []
    if sound:
        player, problem = open_player()
        if player is None:
            tell(problem)
        else:
            faces.append(SoundFace(player))
    if say:
        command = find_speech()
        if command is None:
            tell("no speech: no speech command was found (install espeak-ng)")
        else:
            faces.append(SpeechFace(Speaker(command), tell))
    return faces
