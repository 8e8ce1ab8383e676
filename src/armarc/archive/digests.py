"""A set of millions of hashes in 16 bytes each."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import numpy as np

_MERGE_AT = 100_000


def digest_of(*parts: object) -> bytes:
    """16-byte hash of some values."""
    return hashlib.blake2b(
        "\0".join(map(str, parts)).encode("utf-8", "surrogatepass"), digest_size=16
    ).digest()


class DigestSet:
    """16-byte hashes: a sorted array, and a small set of what came since.

    Two different files are taken for one with probability n²/2¹²⁹: 10⁻²⁵ at ten million.
    """

    def __init__(self) -> None:
        self._words = np.empty((0, 2), np.uint64)
        self._new: set[bytes] = set()

    def __len__(self) -> int:
        return len(self._words) + len(self._new)

    def __contains__(self, digest: bytes) -> bool:
        if digest in self._new:
            return True
        high, low = np.frombuffer(digest, ">u8")
        first = int(np.searchsorted(self._words[:, 0], high))
        while first < len(self._words) and self._words[first, 0] == high:
            if self._words[first, 1] == low:
                return True
            first += 1
        return False

    def add(self, digest: bytes) -> None:
        """Add one hash."""
        if digest not in self:
            self._new.add(digest)
            if len(self._new) >= _MERGE_AT:
                self._merge()

    def update(self, digests: Iterable[bytes]) -> None:
        """Add many hashes."""
        for digest in digests:
            self.add(digest)

    def _merge(self) -> None:
        new = np.frombuffer(b"".join(self._new), ">u8").reshape(-1, 2).astype(np.uint64)
        words = np.concatenate([self._words, new])
        self._words = words[np.lexsort((words[:, 1], words[:, 0]))]
        self._new.clear()
