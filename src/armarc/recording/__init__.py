"""The raw stream: types, CSV in and out, units and columns, gaps, resampling, metadata."""

from armarc.recording.csv_writer import RecordingWriter, write_csv
from armarc.recording.frozen import without_frozen
from armarc.recording.metadata import ROUNDING_KEYS
from armarc.recording.recording import Recording, read_csv
from armarc.recording.resample import uniform_pieces
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
