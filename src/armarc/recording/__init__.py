"""The raw stream: types, CSV in and out, units and columns, gaps, resampling, metadata.

What reads and writes is loaded on first use: rooms that want a type of array need no reader.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from armarc.lazy import on_first_use
from armarc.recording.types import (
    STANDARD_GRAVITY_M_S2,
    ArrayValue,
    BoolArray,
    FloatArray,
    Gap,
    Metadata,
    Piece,
    Source,
)

if TYPE_CHECKING:
    from armarc.recording.csv_writer import RecordingWriter, write_csv
    from armarc.recording.frozen import without_frozen
    from armarc.recording.metadata import ROUNDING_KEYS
    from armarc.recording.recording import Recording, read_csv
    from armarc.recording.resample import uniform_pieces

__all__ = [
    "ROUNDING_KEYS",
    "STANDARD_GRAVITY_M_S2",
    "ArrayValue",
    "BoolArray",
    "FloatArray",
    "Gap",
    "Metadata",
    "Piece",
    "Recording",
    "RecordingWriter",
    "Source",
    "read_csv",
    "uniform_pieces",
    "without_frozen",
    "write_csv",
]

__getattr__ = on_first_use(
    __name__,
    {
        "csv_writer": "RecordingWriter write_csv",
        "frozen": "without_frozen",
        "metadata": "ROUNDING_KEYS",
        "recording": "Recording read_csv",
        "resample": "uniform_pieces",
    },
)
