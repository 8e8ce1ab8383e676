"""Reads the invented ring of ``invented-decoder.toml``: a first sample in full, then differences of one byte."""

import struct

import numpy as np

from armarc.sensor import Batch


def decode(data: bytes) -> Batch | None:
    """One packet; None for one that carries no samples. What is raised counts as an unreadable packet."""
    if data[:1] != b"\x01":
        return None
    index, *first = struct.unpack_from("<H6h", data, 1)
    steps = np.frombuffer(data, np.int8, offset=15).reshape(-1, 6).astype(float)
    counts = np.cumsum(np.concatenate([[np.array(first, float)], steps]), axis=0)
    return Batch(
        specific_force_m_s2=counts[:, :3] * (8 * 9.80665 / 32768),
        angular_velocity_rad_s=np.radians(counts[:, 3:] * (1000 / 32768)),
        index=index,
    )
