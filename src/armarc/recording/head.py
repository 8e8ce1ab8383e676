"""Head of a recording in armarc's own form, without its samples."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import stat
from dataclasses import replace
from pathlib import Path
from typing import Any

from armarc.recording.layout import OWN_MARK
from armarc.recording.recording import Recording

CAPTURE, PLACE, FORWARD = "capture", "place", "forward"
"""Head keys: what all files of one capture share, where on the body a sensor sat, and, of one on the chest, which of
its axes faced away from the breastbone."""
CLOCK_OF = "clock_of"
"""Head key of what was recorded without a computer: whose clock it counts on."""
WRIST, CHEST = "wrist", "chest"
PLACES = (WRIST, CHEST)
_LARGEST_LINE = 1 << 16


def own_head(path: Path) -> dict[str, Any]:
    """Head keys of a file in armarc's own form; none for another file or one that cannot be read (reading says why).

    A pipe is not touched: what is read from it is gone.
    """
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):
            return {}
        with gzip.open(path) if path.name.lower().endswith(".gz") else path.open("rb") as stream:
            if not stream.readline(_LARGEST_LINE).startswith(OWN_MARK.encode()):
                return {}
            found = json.loads(stream.readline(_LARGEST_LINE).removeprefix(b"#"))
    except (OSError, EOFError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def one_capture(wrist: Recording, chest: Recording) -> tuple[Recording, Recording]:
    """Two recordings whose heads say that they belong together, by a name that is the wrist's samples' own."""
    name = hashlib.sha256(wrist.specific_force_m_s2.tobytes()).hexdigest()[:32]
    first, second = (
        replace(one, metadata=replace(one.metadata, other=one.metadata.other | {CAPTURE: name, PLACE: place}))
        for one, place in ((wrist, WRIST), (chest, CHEST))
    )
    return first, second
