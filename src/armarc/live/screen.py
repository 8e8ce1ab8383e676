"""The lifting screen in a terminal: a very large rep number, the start against the band, the arm as a moving line.

Everything is said by shape and word as well as by colour, fits into 80 × 24 and grows with the terminal.
"""

from __future__ import annotations

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from armarc.live.keys import HELP, HELP_AFTER
from armarc.live.raster import Braille, digits, half_blocks, shape
from armarc.live.scoreboard import FLASH_S, TRACE_S, Scoreboard, SetLine
from armarc.live.stop_mark import CAVEAT

INSIDE, ABOVE = "#55C7E8", "#F29A58"
SIGNS = {"below": "▽", "inside": "●", "above": "▲", None: "□"}
HOLLOW = {"below": "▽", "inside": "○", "above": "△", None: "□"}
"""While the arm's direction is known only from how it hung: the value is near, not sure."""
STYLES = {"below": "bold", "inside": f"bold {INSIDE}", "above": f"bold {ABOVE}", None: "bold"}
LEAST_WIDTH, LEAST_HEIGHT = 60, 18
STANDING = "Pain means stop. Never chase the number."
"""Said between sets where nothing else has to be."""
MARGIN = 2
WIDE_WORDS = 27
"""Columns for a set with its number."""


class Screen:
    """Draws a scoreboard over and over."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live = Live(console=console, screen=True, auto_refresh=False, transient=False)
        self._drawn_s = 0.0

    def __enter__(self) -> Screen:
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    def draw(self, scoreboard: Scoreboard) -> None:
        """Show the scoreboard as it is now."""
        size = self._console.size
        self._live.update(draw(scoreboard, size.width, size.height), refresh=True)


def draw(scoreboard: Scoreboard, width: int, height: int) -> Group:
    """The screen as lines of text, exactly `height` of them where there is room at all."""
    width, height = max(width, 20), max(height, 6)
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return Group(*_small(scoreboard, width, height))
    lines = [_head(scoreboard, width), _line_below(scoreboard, width)]
    room = height - len(lines) - 1
    if scoreboard.other is None:
        lines += _arm(scoreboard, width, room, _hero_rows(height))
    else:
        half, rows = width // 2, _hero_rows(height - 1)
        sides = [[Text(f"  {b.side} arm", "bold"), *_arm(b, half, room - 1, rows)] for b in scoreboard.arms]
        lines += [_beside(left, right, half) for left, right in zip(*sides, strict=True)]
    return Group(*[*lines, _foot(scoreboard, width)][:height])


def _arm(scoreboard: Scoreboard, width: int, height: int, hero_rows: int) -> list[Text]:
    """What belongs to one arm, `height` lines of it."""
    lines = _hero(scoreboard, width, hero_rows) + _gauge(scoreboard, width)
    strip = _strip(scoreboard, width)
    trace_rows = height - len(lines) - len(strip)
    lines += _trace(scoreboard, width, trace_rows) if trace_rows >= 2 else []
    lines += [Text("")] * (height - len(lines) - len(strip))
    return [*lines, *strip]


def _beside(left: Text, right: Text, width: int) -> Text:
    """Two lines side by side."""
    line = left.copy()
    line.truncate(width, pad=True)
    line.append_text(right)
    line.no_wrap = True
    return line


def _hero_rows(height: int) -> int:
    """Rows of the large digits: what 7 dots of two, three … half rows take."""
    wanted = (height - 12) * 0.95
    return max((rows for rows in (7, 11, 14, 18, 21) if rows <= wanted), default=7)


def _fit(text: Text, width: int) -> Text:
    text.truncate(width, overflow="ellipsis")
    text.no_wrap = True
    return text


def _head(scoreboard: Scoreboard, width: int) -> Text:
    left = Text(" " * MARGIN)
    left.append(scoreboard.exercise, "bold")
    arms = f"{scoreboard.side} arm" if scoreboard.other is None else "both arms"
    for part in (scoreboard.lifter, arms, scoreboard.load):
        if part:
            left.append(f"   {part}", "dim")
    right = Text()
    sensors = [line for one in scoreboard.arms for line in one.sensor_lines]
    if scoreboard.stopping:
        right.append(" stopping, the set is being saved ", "reverse")
    elif sensors:
        right.append(f" {'  ·  '.join(sensors)} ", "bold reverse")
    elif not all(one.ready for one in scoreboard.arms):
        right.append("hang the arm and stand still for a moment", "bold")
    elif not scoreboard.sets and not scoreboard.rep and not scoreboard.under_way:
        right.append(" READY ", "bold reverse")
    elif scoreboard.sets:
        right.append(f"{len(scoreboard.sets)} {'set' if len(scoreboard.sets) == 1 else 'sets'} done", "dim")
    gap = width - MARGIN - left.cell_len - right.cell_len
    if gap < 2:
        return _fit(right if sensors or scoreboard.stopping else left, width)
    left.append(" " * gap)
    left.append_text(right)
    return left


def _line_below(scoreboard: Scoreboard, width: int) -> Text:
    """Below the head, what matters most at this moment: pain, a mark, who is next, the last time."""
    for text, style in (
        (scoreboard.caution, "bold"),
        (scoreboard.mark and f"{scoreboard.mark} ({CAVEAT})", "bold reverse"),
        (scoreboard.waiting and f"next set: {scoreboard.waiting}", "bold"),
        (scoreboard.today if scoreboard.since_set_s is not None else "", ""),
        (
            (scoreboard.last_time or STANDING)
            if not scoreboard.rep or scoreboard.since_set_s is not None
            else "",
            "dim",
        ),
    ):
        if text:
            return _fit(Text(" " * MARGIN + text, style), width)
    return Text("")


def _hero(scoreboard: Scoreboard, width: int, rows: int) -> list[Text]:
    """The rep number on the left, on the right the start velocity or, between sets, the rest."""
    number = str(scoreboard.rep)
    dots = rows * 2 // 7
    across = max(min(round(dots), (width // 2 - MARGIN) // (6 * len(number))), 1)
    face = half_blocks(digits(number, across, max(min(dots, across), 1)))
    style = "bold" if scoreboard.rep or scoreboard.under_way else "dim"
    left = [Text(" " * MARGIN + line, style) for line in _middle(face, rows)]
    beside = max(width * 9 // 20, max(line.cell_len for line in left) + 4)
    resting = scoreboard.since_set_s
    right = (
        _rest(scoreboard, width - beside, rows)
        if resting is not None
        else _start(scoreboard, width - beside, rows)
    )
    out = []
    for a, b in zip(left, right, strict=True):
        a.append(" " * max(beside - a.cell_len, 0))
        a.append_text(b)
        out.append(_fit(a, width))
    return out


def _middle(lines: list[str], rows: int) -> list[str]:
    wide = max((len(line) for line in lines), default=0)
    above = max((rows - len(lines)) // 2, 0)
    padded = [" " * wide] * above + lines[:rows]
    return padded + [" " * wide] * (rows - len(padded))


def _start(scoreboard: Scoreboard, width: int, rows: int) -> list[Text]:
    lines = [Text("start velocity", "dim")]
    style = STYLES[scoreboard.verdict]
    speed = None if scoreboard.speed_deg_s is None else f"{scoreboard.speed_deg_s:.0f}"
    tall = rows - 3
    if speed is None:
        lines += [Text(line, "dim") for line in _middle(half_blocks(digits("--", 2, 2)), tall)]
        lines.append(Text(""))
        lines.append(Text("rising" if scoreboard.under_way else "", "dim"))
        return lines[:rows]
    across = max(min(tall * 2 // 7, (width - 14) // (6 * len(speed))), 1)
    figures = half_blocks(digits(speed, across, across))
    side = min(len(figures) * 2, 14)
    mark = half_blocks(shape(scoreboard.verdict, side, side)) if scoreboard.verdict else []
    figures, mark = _middle(figures, tall), _middle(mark, tall)
    for a, b in zip(mark, figures, strict=True):
        line = Text(a, style)
        line.append("  " if a else "")
        line.append(b, style)
        lines.append(line)
    lines.append(Text(""))
    lines.append(_verdict_words(scoreboard, width))
    return lines[:rows]


def _verdict_words(scoreboard: Scoreboard, width: int) -> Text:
    style = STYLES[scoreboard.verdict]
    recent = scoreboard.time_s - scoreboard.said_s < FLASH_S
    if recent and scoreboard.verdict:
        style += " reverse"
    if scoreboard.verdict is None:
        return Text("°/s, no band set", "dim")
    if scoreboard.verdict == "inside":
        return Text(f" {_sign(scoreboard)} INSIDE THE BAND{_about(scoreboard)} ", style)
    word, off = scoreboard.verdict.upper(), f"{scoreboard.off_band_deg_s:.0f} °/s"
    words = Text(f" {_sign(scoreboard)} {off} {word} THE BAND{_about(scoreboard)} ", style)
    return words if words.cell_len <= width else Text(f" {_sign(scoreboard)} {off} {word} ", style)


def _sign(scoreboard: Scoreboard) -> str:
    return (HOLLOW if scoreboard.provisional else SIGNS)[scoreboard.verdict]


def _about(scoreboard: Scoreboard) -> str:
    return ", about" if scoreboard.provisional else ""


def _rest(scoreboard: Scoreboard, width: int, rows: int) -> list[Text]:
    seconds = int(scoreboard.since_set_s or 0)
    clock = f"{seconds // 60}:{seconds % 60:02d}"
    tall = max(rows - 4, 3)
    across = max(min(tall * 2 // 7, (width - 2) // (6 * len(clock))), 1)
    lines = [Text("rest since the set", "dim")]
    lines += [Text(line, "bold") for line in _middle(half_blocks(digits(clock, across, across)), tall)]
    lines.append(Text(""))
    if scoreboard.sets:
        lines += _set_words(scoreboard.sets[-1], width)
    lines += [Text("")] * max(rows - len(lines), 0)
    return lines[:rows]


def _set_words(line: SetLine, width: int) -> list[Text]:
    number = f"set {line.number}: " if width >= WIDE_WORDS else ""
    first = Text(f"{number}{line.reps} {'rep' if line.reps == 1 else 'reps'}", "bold")
    if line.in_band is not None:
        first.append(f", {line.in_band} inside ●", f"bold {INSIDE}")
    second = Text("", "dim")
    if line.mean_speed_deg_s is not None:
        second.append(f"mean start {line.mean_speed_deg_s:.0f} °/s   ")
    if not line.measured:
        second.append("measuring …")
    return [first, second]


def _gauge(scoreboard: Scoreboard, width: int) -> list[Text]:
    """A ruler of start velocity with the band as a heavy stretch and the last start as a pointer."""
    left, right = MARGIN, width - MARGIN
    band = scoreboard.band_deg_s
    most = max(120.0, 1.7 * band[1] if band else 120.0, 1.1 * (scoreboard.speed_deg_s or 0.0))

    def place(speed: float) -> int:
        return left + round((right - left - 1) * min(max(speed / most, 0.0), 1.0))

    ruler = [" "] * width
    for x in range(left, right):
        ruler[x] = "╌"
    labels = [" "] * width
    if band is not None:
        low, high = place(band[0]), place(band[1])
        for x in range(low, high + 1):
            ruler[x] = "━"
        ruler[low], ruler[high] = "┝", "┥"
        for x, value in ((low, band[0]), (high, band[1])):
            text = f"{value:.0f}"
            for k, sign in enumerate(text):
                labels[min(x + k, width - 1)] = sign
        unit = " °/s"
        for k, sign in enumerate(unit):
            at = high + len(f"{band[1]:.0f}") + k
            if at < width:
                labels[at] = sign
    first = Text()
    for x, sign in enumerate(ruler):
        inside = band is not None and place(band[0]) <= x <= place(band[1])
        first.append(sign, f"bold {INSIDE}" if inside else "dim")
    if scoreboard.speed_deg_s is not None:
        x = place(scoreboard.speed_deg_s)
        pointer = Text(" " * x)
        pointer.append("▼" if scoreboard.verdict != "below" else "▽", STYLES[scoreboard.verdict])
        return [pointer, first, Text("".join(labels), "dim")]
    return [Text(""), first, Text("".join(labels), "dim")]


def _trace(scoreboard: Scoreboard, width: int, rows: int) -> list[Text]:
    """The elevation of the last seconds, newest on the right, with the gate of the movement under way."""
    label = 6
    columns = width - label - MARGIN
    canvas, gate = Braille(columns, rows), Braille(columns, rows)
    highest = max([100.0, *(angle for _, angle in scoreboard.trace)])
    top = 20.0 * (int(highest / 20.0) + 1)

    def y_of(angle: float) -> int:
        return round((4 * rows - 1) * (1.0 - (angle + 5.0) / (top + 5.0)))

    now = scoreboard.trace[-1][0] if scoreboard.trace else 0.0
    before: tuple[int, int] | None = None
    for time_s, angle in scoreboard.trace:
        here = (round((2 * columns - 1) * (1.0 - (now - time_s) / TRACE_S)), y_of(angle))
        if before is not None:
            canvas.line(*before, *here)
        before = here
    for level in scoreboard.gate_above_bottom_deg:
        y = y_of(scoreboard.bottom_deg + level)
        for x in range(0, 2 * columns, 5):
            gate.dot(x, y)
    ticks = {y_of(angle) // 4: angle for angle in (0.0, 45.0, 90.0, 135.0) if angle < top}
    out = []
    for number, (line, under) in enumerate(zip(canvas.lines(), gate.lines(), strict=True)):
        tick = f"{ticks[number]:.0f}°" if number in ticks else ""
        text = Text(f"{tick:>{label - 1}} ", "dim")
        for a, b in zip(line, under, strict=True):
            text.append(a if a != " " else b, "bold" if a != " " else "dim")
        out.append(text)
    return out


def _strip(scoreboard: Scoreboard, width: int) -> list[Text]:
    """The last reps, each as its shape over its speed."""
    cell = 5
    room = (width - 2 * MARGIN) // cell
    shown = scoreboard.strip[-room:]
    marks, speeds = Text(" " * MARGIN), Text(" " * MARGIN)
    for mark in shown:
        signs = HOLLOW if mark.provisional else SIGNS
        marks.append(f"{signs[mark.verdict]:^{cell}}", STYLES[mark.verdict])
        speed = "–" if mark.speed_deg_s is None else f"{'≈' * mark.provisional}{mark.speed_deg_s:.0f}"
        speeds.append(f"{speed:^{cell}}", "dim")
    return [marks, speeds]


def _foot(scoreboard: Scoreboard, width: int) -> Text:
    text = Text(" " * MARGIN)
    between = scoreboard.since_set_s is not None or not (scoreboard.rep or scoreboard.under_way)
    if scoreboard.typing or (scoreboard.keys and between):
        done = scoreboard.since_set_s is not None and scoreboard.logged
        text.append(scoreboard.typing or (f"{scoreboard.said}   " if scoreboard.said else ""), "bold")
        if not scoreboard.typing:
            text.append(HELP_AFTER if done else HELP, "dim")
        return _fit(text, width)
    roms = [f"{one.rom_deg:.0f}°" for one in scoreboard.arms if one.rom_deg is not None]
    tempos = [one.tempo for one in scoreboard.arms if one.tempo]
    losses = [f"{one.loss_pct:.0f} %" for one in scoreboard.arms if one.loss_pct is not None]
    parts = [("range", roms), ("tempo", tempos), ("velocity loss", losses)]
    for name, values in parts:
        if values:
            text.append(f"{name} ", "dim")
            text.append(" | ".join(values) + "   ", "bold")
    if not any(values for _, values in parts):
        text.append("Ctrl-C ends the session; a running set is kept", "dim")
    return _fit(text, width)


def _small(scoreboard: Scoreboard, width: int, height: int) -> list[Text]:
    """A terminal too small for the screen gets the words."""
    lines = []
    for one in scoreboard.arms:
        whose = "" if scoreboard.other is None else f"{one.side}: "
        lines.append(Text(f"{whose}rep {one.rep}", "bold"))
        if one.since_set_s is not None:
            lines.append(Text(f"rest {int(one.since_set_s)} s"))
        elif one.speed_deg_s is not None:
            lines.append(Text(f"{_sign(one)} {one.speed_deg_s:.0f} °/s {one.verdict or ''}"))
    lines += [Text(line, "reverse") for line in scoreboard.sensor_lines]
    if not scoreboard.ready:
        lines.append(Text("hang the arm, stand still"))
    return [_fit(line, width) for line in lines[:height]]
