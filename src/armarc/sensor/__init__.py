"""The device: packets, Bluetooth link, device descriptions, capture without loss.

`link.stream` is the one road from sensors to samples; `capture.capture` writes what it yields into files that
survive a crash.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.sensor.dialect import Batch

__all__ = ["Batch"]


def __getattr__(name: str) -> Any:
    if name == "Batch":  # what a decoder of one's own gives; loaded when first used
        from armarc.sensor.dialect import Batch

        return Batch
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
