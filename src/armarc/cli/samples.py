"""``process --samples``: the time series of a recording as a file."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from armarc.errors import UsageError
from armarc.extras import how_to_add
from armarc.outputs import PARQUET, TABLE, Guard, Kind

if TYPE_CHECKING:
    from armarc.pipeline import Session


def samples_kind(path: Path) -> Kind:
    """CSV or Parquet, as the name says.

    Raises
    ------
    UsageError
        It says neither, or Parquet is not installed.
    """
    ending = path.suffix.lower()
    if ending not in (".csv", ".parquet"):
        raise UsageError(f"{path} is neither .csv nor .parquet", "for example --samples samples.csv")
    if ending == ".parquet" and find_spec("pyarrow") is None:
        raise UsageError("Parquet needs the package pyarrow", how_to_add("parquet"))
    return PARQUET if ending == ".parquet" else TABLE


def write_samples(session: Session, path: Path, guard: Guard) -> None:
    """Write the samples that were measured, each with its angle, rate, orientation and phase."""
    kind, table = samples_kind(path), session.samples_frame()
    with guard.open(path, kind) as stream:
        if kind is PARQUET:
            table.attrs = {"made_by": "armarc"}  # so that it is known again as ours
            table.to_parquet(stream, index=False)
        else:
            table.to_csv(stream, index=False, float_format="%.9g")
