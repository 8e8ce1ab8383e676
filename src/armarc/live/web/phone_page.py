"""The page that makes a phone the sensor: one file that works when it is saved, too."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files

_PLACE = '<script src="phone.js"></script>'


def phone_page() -> tuple[str, str]:
    """The page with its script inside, and the script's SHA-256 for the page's content policy, base64."""
    room = files("armarc.live.web")
    script = room.joinpath("phone.js").read_text("utf-8")
    page = room.joinpath("phone.html").read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return page.replace(_PLACE, f"<script>{script}</script>"), digest
