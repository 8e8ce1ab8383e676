"""An invented arm movement as bare arrays, and its writing in any dialect of a text table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

GRAVITY = 9.80665
HEADER = ("time", "ax", "ay", "az", "gx", "gy", "gz")


def movement(n: int = 1000, rate_hz: float = 100.0) -> tuple[NDArray, NDArray, NDArray]:
    """Times (n,), specific force (n, 3) in m/s² and angular velocity (n, 3) in rad/s of a smooth swing.

    The sensor turns by an angle a(t) about its x and then b(t) about its new z axis, so that gravity and
    angular velocity are known in closed form: up = Rz(-b) Rx(-a) e_z, ω = Rz(-b) (a', 0, 0) + (0, 0, b').
    """
    rng = np.random.default_rng(3)
    t = np.arange(n) / rate_hz
    a, a_rate = 0.7 * (1 - np.cos(2 * np.pi * t / 3)), 0.7 * 2 * np.pi / 3 * np.sin(2 * np.pi * t / 3)
    b, b_rate = 0.4 * np.sin(2 * np.pi * t / 5), 0.4 * 2 * np.pi / 5 * np.cos(2 * np.pi * t / 5)
    up = np.column_stack([np.sin(b) * np.sin(a), np.cos(b) * np.sin(a), np.cos(a)])
    turning = np.column_stack([np.cos(b) * a_rate, -np.sin(b) * a_rate, b_rate])
    force = GRAVITY * up + rng.normal(0, 0.03, (n, 3))
    return t, force, turning + rng.normal(0, 0.003, (n, 3))


def text_table(
    columns: Iterable[Sequence[float | str]],
    header: Sequence[str] = HEADER,
    *,
    delimiter: str = ",",
    decimal: str = ".",
    digits: int = 7,
    end: str = "\n",
) -> str:
    """Rows of a text table; strings are written as they are."""

    def cell(value: float | str) -> str:
        return value if isinstance(value, str) else f"{value:.{digits}f}".replace(".", decimal)

    lines = [delimiter.join(map(cell, row)) for row in zip(*columns, strict=True)]
    return end.join([*([delimiter.join(header)] if header else []), *lines]) + end
