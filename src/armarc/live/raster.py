"""Large digits and verdict shapes as pictures of dots, and how to print them with half-height blocks."""

from __future__ import annotations

from collections.abc import Sequence

Bitmap = list[list[bool]]

_GLYPHS = {
    "0": "01110 11011 11011 11011 11011 11011 01110",
    "1": "00110 01110 11110 00110 00110 00110 00110",
    "2": "11110 00011 00011 01110 11000 11000 11111",
    "3": "11110 00011 00011 01110 00011 00011 11110",
    "4": "00011 00111 01011 11011 11111 00011 00011",
    "5": "11111 11000 11110 00011 00011 00011 11110",
    "6": "01111 11000 11000 11110 11011 11011 01110",
    "7": "11111 00011 00011 00110 00110 01100 01100",
    "8": "01110 11011 11011 01110 11011 11011 01110",
    "9": "01110 11011 11011 01111 00011 00011 11110",
    ":": "0 1 1 0 1 1 0",
    "-": "000 000 000 111 000 000 000",
}
GLYPH_ROWS = 7


def digits(text: str, across: int, down: int) -> Bitmap:
    """Digits, colons and dashes; every dot of the 5 × 7 face becomes `across` × `down` dots."""
    rows: Bitmap = [[] for _ in range(GLYPH_ROWS * down)]
    for number, sign in enumerate(text):
        face = _GLYPHS[sign].split()
        for y, row in enumerate(rows):
            if number:
                row += [False] * across
            for dot in face[y // down]:
                row += [dot == "1"] * across
    return rows


def shape(verdict: str | None, width: int, height: int) -> Bitmap:
    """Shape of a verdict: an open triangle that points down, a full disc, a full triangle that points up."""
    rows: Bitmap = []
    for y in range(height):
        v = (y + 0.5) / height
        row = []
        for x in range(width):
            u = abs((x + 0.5) / width - 0.5)
            if verdict == "inside":
                row.append(u * u + (v - 0.5) ** 2 <= 0.25)
            elif verdict == "above":
                row.append(u <= 0.5 * v)
            elif verdict == "below":
                edge = 0.5 * (1 - v)
                row.append(u <= edge and (v < 2.2 / height or u > edge - 2.2 / width))
            else:
                row.append(False)
        rows.append(row)
    return rows


def half_blocks(bitmap: Bitmap) -> list[str]:
    """Print a bitmap with two dots per character, one above the other."""
    lines = []
    for y in range(0, len(bitmap), 2):
        upper = bitmap[y]
        lower: Sequence[bool] = bitmap[y + 1] if y + 1 < len(bitmap) else [False] * len(upper)
        lines.append("".join(" ▄▀█"[2 * a + b] for a, b in zip(upper, lower, strict=True)))
    return lines


class Braille:
    """A canvas of 2 × 4 dots per character."""

    def __init__(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self._cells = [[0] * columns for _ in range(rows)]

    def dot(self, x: int, y: int) -> None:
        """Set a dot, counted from the top left; outside the canvas nothing happens."""
        if 0 <= x < 2 * self.columns and 0 <= y < 4 * self.rows:
            bit = (0x01, 0x02, 0x04, 0x40)[y % 4] if x % 2 == 0 else (0x08, 0x10, 0x20, 0x80)[y % 4]
            self._cells[y // 4][x // 2] |= bit

    def line(self, x0: int, y0: int, x1: int, y1: int) -> None:
        """Join two dots."""
        steps = max(abs(x1 - x0), abs(y1 - y0), 1)
        for k in range(steps + 1):
            self.dot(round(x0 + (x1 - x0) * k / steps), round(y0 + (y1 - y0) * k / steps))

    def lines(self) -> list[str]:
        """The canvas as text."""
        return ["".join(chr(0x2800 + cell) if cell else " " for cell in row) for row in self._cells]
