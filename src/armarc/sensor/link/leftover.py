"""Keeps what a sensor still held from an earlier session out of a new one."""

from __future__ import annotations

from dataclasses import replace

from armarc.sensor.dialect import Batch, Opened
from armarc.sensor.wire.packet import MAX_FRAMES


class Leftover:
    """Lets packets through from the first one that was sampled for this session on.

    A sensor whose last capture was killed may still hold frames of it, sampled with other ranges and at another
    rate: decoded with the new ones they would be wrong by a factor, and nothing in the packet would show it.
    A packet that begins with such a frame is left out whole, because the time of its later frames is not known.
    More old frames than queue and a packet can hold are none: then its numbers start again with every start, which
    `numbers_restart` tells.

    Parameters
    ----------
    opened : Opened
    """

    def __init__(self, opened: Opened) -> None:
        self.frames = 0
        self.numbers_restart = False
        self._most = opened.queue_frames + MAX_FRAMES if opened.queue_frames else None
        self._modulus = opened.timing.index_modulus
        self._fresh = None if opened.running else opened.fresh_index

    def admit(self, batch: Batch) -> Batch | None:
        """The packet, marked as the first of its session where it is; None for one that is left over."""
        if self._fresh is None or self._modulus is None or batch.index is None:
            return batch
        ahead = (batch.index - self._fresh) % self._modulus
        if ahead >= self._modulus // 2:
            self.frames += len(batch.specific_force_m_s2)
            self.numbers_restart = self._most is not None and self.frames > self._most
            if not self.numbers_restart:
                return None
        self._fresh = None
        return replace(batch, first=True)

    @property
    def words(self) -> str:
        """What was left out, for people."""
        if self.numbers_restart:
            return (
                "its frame numbers start again with every start command, against the wrist profile: the first "
                f"{self.frames} samples were left out, as frames of an earlier session cannot be told from them"
            )
        return f"{self.frames} samples left over from an earlier session were left out"
