"""What a capture left on the disk, read without the package's own reader."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from fake_sensor import frame_numbers
from numpy.typing import NDArray


class Captured:
    """Rows, frame numbers and events of a file; a cut last line is left out."""

    def __init__(self, path: Path) -> None:
        text = path.read_text("utf-8")
        lines = text.split("\n")[:-1]
        assert lines[0] == "# armarc recording 1"
        self.head: dict[str, Any] = json.loads(lines[1][2:])
        self.events = [json.loads(line[2:]) for line in lines[3:] if line.startswith("#")]
        rows = [line.split(",") for line in lines[3:] if not line.startswith("#")]
        self.rows: NDArray[np.float64] = np.array(rows, float).reshape(-1, 7)

    @property
    def time_s(self) -> NDArray[np.float64]:
        return self.rows[:, 0]

    @property
    def numbers(self) -> NDArray[np.int64]:
        return frame_numbers(self.rows[:, 1:4])

    def named(self, name: str) -> list[dict[str, Any]]:
        return [event for event in self.events if event["event"] == name]

    def assert_whole(self) -> None:
        """Every frame from the first to the last, once, in rising time."""
        assert len(self.rows) > 0
        np.testing.assert_array_equal(self.numbers, self.numbers[0] + np.arange(len(self.rows)))
        assert (np.diff(self.time_s) > 0).all()
