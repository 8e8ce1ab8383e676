"""JSON for people to read, written fast."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

_CONTAINERS = (dict, list, tuple)


def indented_json(value: Any, indent: int = 0) -> str:
    """What ``json.dumps`` makes of a value with an indent of 2, starting `indent` deep.

    The library writes indented text piece by piece in Python. Here its fast writer, which knows no indent, writes
    every run of plain values, with the line break in the separator.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    if not isinstance(value, _CONTAINERS) or not value:
        return _encoder(0).encode(value)
    pad = " " * (indent + 2)
    encode = _encoder(indent + 2).encode
    keys = list(value) if isinstance(value, dict) else None
    values = list(value.values() if isinstance(value, dict) else value)
    pieces: list[str] = []
    start = 0
    for place in [*(n for n, one in enumerate(values) if isinstance(one, _CONTAINERS)), len(values)]:
        run = values[start:place]
        if run:
            plain = run if keys is None else dict(zip(keys[start:place], run, strict=True))
            pieces.append(encode(plain)[1:-1])
        if place < len(values):
            name = "" if keys is None else f"{encode(keys[place])}: "
            pieces.append(name + indented_json(values[place], indent + 2))
        start = place + 1
    opening, closing = "[]" if keys is None else "{}"
    return f"{opening}\n{pad}" + f",\n{pad}".join(pieces) + f"\n{pad[2:]}{closing}"


@cache
def _encoder(indent: int) -> json.JSONEncoder:
    return json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",\n" + " " * indent, ": "))
