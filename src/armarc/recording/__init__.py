"""The raw stream: types, CSV in and out, units and columns, gaps, resampling, metadata."""

from armarc.recording.types import (
    STANDARD_GRAVITY_M_S2,
    BoolArray,
    FloatArray,
    Gap,
    Metadata,
    Piece,
    Recording,
    Source,
)

__all__ = [
    "STANDARD_GRAVITY_M_S2",
    "BoolArray",
    "FloatArray",
    "Gap",
    "Metadata",
    "Piece",
    "Recording",
    "Source",
]
