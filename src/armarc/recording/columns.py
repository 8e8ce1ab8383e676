"""Which columns of a table are time, acceleration and angular velocity."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from armarc.errors import FormatError, UsageError
from armarc.recording.layout import Layout, is_number
from armarc.recording.names import ColumnName, read_name, reading_of

AXES = ("x", "y", "z")
ROLES = ("time", "ax", "ay", "az", "gx", "gy", "gz", "temperature")
_COLUMNS_HINT = (
    "name the columns, or number them from 1: "
    "--columns time=NAME,ax=NAME,ay=NAME,az=NAME,gx=NAME,gy=NAME,gz=NAME"
)
_WHOSE = frozenset({
    "sensor", "sensorname", "device", "node", "imu", "mac", "address", "side", "arm", "hand", "limb", "placement",
    "location",
})  # fmt: skip
_MOST_SENSORS, _FEWEST_TURNS = 8, 4
"""Of sensors in one table: no more than a body wears, and they take turns in its first rows (working limits)."""
_NUMBERED = (("0", "1", "2"), ("1", "2", "3"))


@dataclass(slots=True, kw_only=True)
class Choice:
    """Columns by role: positions in the table, names, and the units their names state.

    ``gravity`` holds three positions that may have to be added to the acceleration (files that carry both the
    acceleration without gravity and gravity itself; the data tell). ``turned`` marks angular velocities named alpha,
    beta, gamma, whose order the data must tell.
    """

    time: int | None = None
    counter: int | None = None
    label: int | None = None
    acceleration: tuple[int, int, int] | None = None
    gravity: tuple[int, int, int] | None = None
    angular_velocity: tuple[int, int, int] | None = None
    temperature: int | None = None
    turned: bool = False
    gravity_negated: bool = False
    names: dict[int, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    inferences: list[str] = field(default_factory=list)


def choose_columns(
    layout: Layout,
    file: str,
    stated: Mapping[str, str],
    needed: tuple[str, ...] = ("acceleration", "angular_velocity"),
) -> Choice:
    """Choose columns by their names.

    Raises
    ------
    FormatError
        A quantity is missing or several columns fit it equally well.
    UsageError
        A stated column is not there.
    """
    units = layout.unit_row or ("",) * layout.n_columns
    if layout.names:
        columns = [read_name(name, i, units[i]) for i, name in enumerate(layout.names)]
    else:
        columns = [ColumnName(name="", position=i, kind="other") for i in range(layout.n_columns)]
    choice = Choice(names=dict(enumerate(layout.names)))
    fixed = _stated_positions(layout, file, stated)
    _choose_time(columns, layout, choice, fixed)
    groups = _triplets(columns)
    long_format = _long_format(columns, layout, choice)
    if long_format:
        return choice
    for quantity, letters in (("acceleration", "a"), ("angular_velocity", "g")):
        places = [fixed.get(f"{letters}{axis}") for axis in AXES]
        if all(place is not None for place in places):
            _set(choice, quantity, [columns[place] for place in places if place is not None])
        elif any(place is not None for place in places):
            raise UsageError(
                f"only some of the three {quantity.replace('_', ' ')} columns were named", _COLUMNS_HINT
            )
        elif needed == (quantity,) and not groups[quantity] and len(plain := _nameless(groups)) == 1:
            _set(choice, quantity, plain[0])
        elif quantity == "acceleration":
            _choose_acceleration(groups, choice, layout, file, needed)
        else:
            _choose_angular_velocity(groups, choice, layout, file, needed)
    _refuse_several_sensors(columns, layout, choice, file)
    temperature = fixed.get(
        "temperature", next((c.position for c in columns if c.kind == "temperature"), None)
    )
    choice.temperature = temperature
    return choice


def _refuse_several_sensors(columns: list[ColumnName], layout: Layout, choice: Choice, file: str) -> None:
    """Rows of two sensors in turn are no recording of either; their time alone may look like that of a faster one."""
    readings = (*(choice.acceleration or ()), *(choice.angular_velocity or ()))
    used = {choice.time, *readings, *(choice.gravity or ())}
    # A row that holds one quantity alone says by its label which.
    whole = [row for row in layout.sample if all(row[place].strip() for place in readings)]
    for column in columns:
        if column.position in used or not _WHOSE & set(column.stem):
            continue
        cells = [cell for row in whole if (cell := row[column.position].strip())]
        said = sorted(set(cells))
        turns = sum(one != other for one, other in pairwise(cells))
        # A mark that is set now and then is another matter.
        if not 2 <= len(said) <= _MOST_SENSORS or turns < _FEWEST_TURNS or any(map(reading_of, said)):
            continue
        raise FormatError(
            f"the rows belong to {len(said)} sensors in turn, as column {column.name!r} says: {', '.join(said)}",
            "give each sensor a file of its own",
            file=file,
            line=layout.header_line,
        )


def _stated_positions(layout: Layout, file: str, stated: Mapping[str, str]) -> dict[str, int]:
    positions: dict[str, int] = {}
    for role, name in stated.items():
        if role not in ROLES:
            raise UsageError(f"there is no column role {role!r}", f"roles are {', '.join(ROLES)}")
        matches = [i for i, have in enumerate(layout.names) if have == name]
        if not matches:
            matches = [
                i for i, have in enumerate(layout.names) if have.strip().lower() == name.strip().lower()
            ]
        if not matches and name.isdigit() and 1 <= int(name) <= layout.n_columns:
            matches = [int(name) - 1]
        if len(matches) != 1:
            problem = (
                "is not in the table" if not matches else "is there more than once; give its number instead"
            )
            known = ", ".join(filter(None, layout.names)) or f"1 to {layout.n_columns}"
            raise FormatError(
                f"the column {name!r} {problem}", f"columns: {known}", file=file, line=layout.header_line
            )
        positions[role] = matches[0]
    return positions


def _choose_time(columns: list[ColumnName], layout: Layout, choice: Choice, fixed: Mapping[str, int]) -> None:
    candidates = [column for column in columns if column.kind == "time"]
    if "time" in fixed:
        candidates = [columns[fixed["time"]]]
        choice.time = fixed["time"]
    elif candidates:
        candidates.sort(key=lambda column: _time_rank(column, layout))
        choice.time = candidates[0].position
    if candidates and candidates[0].unit:
        choice.units["time"] = candidates[0].unit
    counters = [c for c in columns if c.kind == "index" and c.position != choice.time]
    choice.counter = counters[0].position if counters else None


def _time_rank(column: ColumnName, layout: Layout) -> tuple[int, int, int, int]:
    """Sensor clocks before host clocks, numbers before text, fine stamps before coarse ones."""
    words = set(column.stem)
    host = int(bool(words & {"host", "system", "received", "arrival", "phone", "date", "logging", "local"}))
    cells = [row[column.position] for row in layout.sample[:200]]
    text = int(not all(is_number(cell, layout.decimal) for cell in cells))
    distinct = len(set(cells))
    return (host, -distinct * 10 // max(len(cells), 1), text, column.position)


def _long_format(columns: list[ColumnName], layout: Layout, choice: Choice) -> bool:
    """One reading per row with a label saying of which sensor."""
    if any(c.kind in ("acceleration", "angular_velocity") for c in columns):
        return False
    for column in columns:
        said = {reading_of(row[column.position]) for row in layout.sample}
        if not {"acceleration", "angular_velocity"} <= said:
            continue
        rest = [c for c in columns if c is not column and c.kind == "other"]
        plain = [c.position for axis in AXES for c in rest if c.axis == axis]
        numbers = [
            c.position
            for c in rest
            if all(is_number(row[c.position], layout.decimal) for row in layout.sample[:50])
        ]
        places = plain if len(plain) == 3 else numbers
        if len(places) == 3:
            choice.label = column.position
            choice.acceleration = choice.angular_velocity = (places[0], places[1], places[2])
            choice.inferences.append(f"one reading per row; column {column.name!r} says of which sensor")
            return True
    return False


def _triplets(columns: list[ColumnName]) -> dict[str, list[list[ColumnName]]]:
    """Groups of three axes with one stem, by kind."""
    by_stem: dict[tuple[str, tuple[str, ...], str], list[ColumnName]] = defaultdict(list)
    for column in columns:
        if column.axis:
            by_stem[column.kind, column.stem, column.unit].append(column)
    groups: dict[str, list[list[ColumnName]]] = defaultdict(list)
    for (kind, _, _), members in by_stem.items():
        by_axis = {member.axis: member for member in members}
        for axes in (AXES, ("alpha", "beta", "gamma"), *_NUMBERED):
            if len(members) >= 3 and all(axis in by_axis for axis in axes):
                if len(members) in (3, 4) and len(by_axis) == len(members):
                    groups[kind].append([by_axis[axis] for axis in axes])
                elif len(by_axis) < len(members):
                    repeats = [[m for m in members if m.axis == axis] for axis in axes]
                    groups[kind].extend([list(group) for group in zip(*repeats, strict=False)])
                break
    return groups


def _nameless(groups: dict[str, list[list[ColumnName]]]) -> list[list[ColumnName]]:
    """Columns called just x, y, z: in a file of one sensor they are that sensor."""
    return [group for group in groups["other"] if not group[0].stem]


def _clear_one(
    groups: list[list[ColumnName]], what: str, layout: Layout, file: str
) -> list[ColumnName] | None:
    clear = [group for group in groups if not group[0].unclear] or groups
    if len(clear) > 1:
        plainest = min(len(group[0].stem) for group in clear)
        shortest = [group for group in clear if len(group[0].stem) == plainest]
        extended = all(
            set(shortest[0][0].stem) < set(group[0].stem) for group in clear if group is not shortest[0]
        )
        if len(shortest) == 1 and extended and _same_sensor(shortest[0], clear):
            return shortest[0]
        names = "; ".join(", ".join(column.name for column in group) for group in clear)
        raise FormatError(
            f"several sets of columns could be the {what}: {names}",
            _COLUMNS_HINT,
            file=file,
            line=layout.header_line,
        )
    return clear[0] if clear else None


def _same_sensor(shortest: list[ColumnName], groups: list[list[ColumnName]]) -> bool:
    extra = {word for group in groups for word in group[0].stem} - set(shortest[0].stem)
    return not extra & {
        "left",
        "right",
        "l",
        "r",
        "wrist",
        "arm",
        "upper",
        "lower",
        "thigh",
        "chest",
        "ankle",
        "second",
    }


def _choose_acceleration(
    groups: dict[str, list[list[ColumnName]]],
    choice: Choice,
    layout: Layout,
    file: str,
    needed: tuple[str, ...],
) -> None:
    total, linear, gravity = groups["acceleration"], groups["linear"], groups["gravity"]
    including = [g for g in total if "includinggravity" in "".join(g[0].stem)]
    if including:
        total = including
    if (
        not total
        and linear
        and not gravity
        and groups["g"]
        and (groups["angular_velocity"] or len(groups["g"]) > 1)
    ):
        gravity = groups["g"]
    chosen = _clear_one(total, "accelerometer", layout, file) or _clear_one(
        linear, "acceleration", layout, file
    )
    if chosen:
        _set(choice, "acceleration", chosen)
        if len(gravity) == 1 and not including:
            _set(choice, "gravity", gravity[0])
            choice.gravity_negated = "user" in "".join(chosen[0].stem)
        return
    if "acceleration" in needed:
        raise _missing("accelerometer", layout, file)


def _choose_angular_velocity(
    groups: dict[str, list[list[ColumnName]]],
    choice: Choice,
    layout: Layout,
    file: str,
    needed: tuple[str, ...],
) -> None:
    chosen = _clear_one(groups["angular_velocity"], "gyroscope", layout, file)
    if not chosen and groups["g"] and choice.acceleration is not None:
        chosen = _clear_one(groups["g"], "gyroscope", layout, file)
    if chosen:
        _set(choice, "angular_velocity", chosen)
        choice.turned = chosen[0].axis == "alpha"
    elif "angular_velocity" in needed:
        raise _missing("gyroscope", layout, file)


def _missing(what: str, layout: Layout, file: str) -> FormatError:
    found = ", ".join(name or "(unnamed)" for name in layout.names)
    kinds = ("angular_velocity", "g") if what == "gyroscope" else ("acceleration", "linear")
    named = [
        one for i, name in enumerate(layout.names) if (one := read_name(name, i)).kind in kinds and one.axis
    ]
    lacking = [axis for axis in "xyz" if axis not in {one.axis for one in named}]
    if named and lacking and {one.axis for one in named} < set("xyz"):
        return FormatError(
            f"the {what} has no column for {' and '.join(lacking)}, only {', '.join(one.name for one in named)}",
            f"record all three axes, or {_COLUMNS_HINT}",
            file=file,
            line=layout.header_line,
        )
    hint = _COLUMNS_HINT
    if what == "gyroscope":
        hint += "; a gyroscope in a second file goes with --gyroscope FILE"
    return FormatError(
        f"no {what} columns were recognised among: {found}", hint, file=file, line=layout.header_line
    )


def _set(choice: Choice, quantity: str, columns: list[ColumnName]) -> None:
    positions = (columns[0].position, columns[1].position, columns[2].position)
    setattr(choice, quantity, positions)
    units = {column.unit for column in columns if column.unit}
    if len(units) == 1:
        choice.units[quantity] = units.pop()
