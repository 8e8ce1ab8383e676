"""The device: packets, Bluetooth link, device descriptions, capture without loss.

`link.stream` is the one road from sensors to samples; `capture.capture` writes what it yields into files that
survive a crash.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from armarc.lazy import on_first_use

if TYPE_CHECKING:
    from armarc.sensor.dialect import Batch

__all__ = ["Batch"]  # what a decoder of one's own gives

__getattr__ = on_first_use(__name__, {"dialect": "Batch"})
