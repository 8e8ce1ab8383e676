"""A decoder of one's own in Python, for packets no description covers.

A file beside the description holds ``decode(data: bytes) -> Batch | None``. It runs with the rights of whoever starts
the program, like any script of theirs: it is loaded only from the place the description names.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path

import numpy as np

from armarc.errors import FormatError
from armarc.sensor.dialect import Batch
from armarc.sensor.wire.identifiers import PacketError


def load_decoder(path: Path) -> Callable[[bytes, int], tuple[Batch, ...]]:
    """The function ``decode`` of a file, made safe: what it raises becomes a `PacketError`.

    Raises
    ------
    FormatError
        The file cannot be loaded or has no such function.
    """
    if not path.is_file():
        raise FormatError(
            "there is no such file",
            "the description names it as its decoder: put it beside the description",
            file=str(path),
        )
    try:
        spec = importlib.util.spec_from_file_location(f"armarc_decoder_{path.stem}", path)
        if spec is None or spec.loader is None:
            raise ImportError("no Python file")
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    except Exception as error:
        raise FormatError(
            f"cannot be loaded: {type(error).__name__}: {error}",
            "it is the file the description names as decoder",
            file=str(path),
        ) from error
    function = getattr(module, "decode", None)
    if not callable(function):
        raise FormatError(
            "has no function decode",
            "write def decode(data: bytes) -> armarc.sensor.Batch | None",
            file=str(path),
        )

    def decode(data: bytes, source: int = 0) -> tuple[Batch, ...]:
        try:
            batch = function(data)
        except Exception as error:
            raise PacketError(f"{path.name}: {type(error).__name__}: {error}") from error
        return () if batch is None else (_sound(batch, path),)

    return decode


def _sound(batch: object, path: Path) -> Batch:
    if not isinstance(batch, Batch):
        raise PacketError(f"{path.name}: decode gave {type(batch).__name__}, expected a Batch or None")
    force = np.asarray(batch.specific_force_m_s2, dtype=np.float64)
    rate = np.asarray(batch.angular_velocity_rad_s, dtype=np.float64)
    if force.ndim != 2 or force.shape[1] != 3 or len(force) == 0 or force.shape != rate.shape:
        raise PacketError(
            f"{path.name}: expected two arrays of shape (n, 3), got {force.shape} and {rate.shape}"
        )
    if not (np.isfinite(force).all() and np.isfinite(rate).all()):
        raise PacketError(f"{path.name}: decode gave values that are no numbers")
    return Batch(
        specific_force_m_s2=force,
        angular_velocity_rad_s=rate,
        index=batch.index,
        device_time_s=batch.device_time_s,
        clipped=batch.clipped,
        overflow=batch.overflow,
        first=batch.first,
        low_battery=batch.low_battery,
    )
