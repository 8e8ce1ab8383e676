"""Sensors that print text over a serial service: lines of numbers, cut anywhere into notifications."""

from __future__ import annotations

import math
import re

import numpy as np

from armarc.sensor.describe.description import AXES, Description
from armarc.sensor.describe.layout import quantity_of
from armarc.sensor.dialect import Batch
from armarc.sensor.wire.errors import PacketError

LONGEST_LINE = 1024
_LABEL = re.compile(r"^\s*[A-Za-z_]\w*\s*[:=]\s*")
"""Some print a name before each number."""


class LineDecoder:
    """Collects notifications into lines, and lines into samples.

    What comes before the first end of a line is left out: it may be the rest of one, and its first number with it.
    """

    def __init__(self, description: Description) -> None:
        self._description = description
        self._kept = b""
        self._begun = False

    def __call__(self, data: bytes, source: int = 0) -> tuple[Batch, ...]:
        """Samples whose lines are whole now.

        Raises
        ------
        PacketError
            None of the lines could be read, or a line never ends.
        """
        *lines, self._kept = re.split(rb"[\r\n]+", self._kept + data)
        if not self._begun and lines:
            self._begun = True
            lines = lines[1:]
        if len(self._kept) > LONGEST_LINE:
            self._kept = b""
            raise PacketError(f"a line of text goes on for more than {LONGEST_LINE} bytes")
        out: list[Batch] = []
        fault: PacketError | None = None
        for line in lines:
            try:
                batch = self._sample(line.decode("ascii", "replace").strip())
            except PacketError as error:
                fault = error
            else:
                out += [] if batch is None else [batch]
        if fault is not None and not out:
            raise fault
        return tuple(out)

    def _sample(self, line: str) -> Batch | None:
        wanted = self._description
        if not line:
            return None
        cells = line.split() if wanted.separator == " " else line.split(wanted.separator)
        for cell, one in zip(cells, wanted.sample, strict=False):
            if one.field == "constant" and cell.strip() != one.text:
                return None  # a line of another kind
        if len(cells) != len(wanted.sample):
            raise PacketError(
                f"expected {len(wanted.sample)} columns in a line, got {len(cells)}: {line[:60]!r}"
            )
        values: dict[str, float] = {}
        for cell, one in zip(cells, wanted.sample, strict=True):
            if one.field not in ("skip", "constant"):
                values[one.field] = _number(cell, line)
        columns = {name: np.array([value]) for name, value in values.items()}
        force = quantity_of(columns, AXES[:3], wanted.acceleration)
        rate = quantity_of(columns, AXES[3:], wanted.angular_velocity)
        if force is None or rate is None:
            raise PacketError("the line holds only one of acceleration and angular velocity")
        tick_s = next((one.tick_s for one in wanted.sample if one.field == "clock"), 0.0)
        return Batch(
            specific_force_m_s2=force,
            angular_velocity_rad_s=rate,
            index=int(values["sample_counter"]) if "sample_counter" in values else None,
            device_time_s=values["clock"] * tick_s if "clock" in values else None,
        )


def _number(cell: str, line: str) -> float:
    try:
        value = float(_LABEL.sub("", cell))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise PacketError(f"{cell.strip()[:20]!r} is no number in the line {line[:60]!r}")
    return value
