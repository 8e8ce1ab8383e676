"""Whether sets that are put beside each other are of the same lift, and were measured in the same way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from armarc.log import schema
from armarc.log.store import Store
from armarc.log.table import SetTable

MOST_LOOKED_AT = 200
"""Sets of each group, evenly spread: settings that changed for a while are seen, and a large log is not read whole."""
MOST_NAMED = 4
_RANGES = {"gate_deg": "start gate", "loaded_range_deg": "loaded range"}
_WORDS = {"gate_from": "start gate from the", "sensor_place": "sensor on the", "fusion": "orientation by"}
_VERSION = "armarc"
_TITLES = {**_RANGES, **_WORDS, _VERSION: _VERSION}
"""Settings that change what a number means, and the version that measured."""


def measured_differently(store: Store, groups: Mapping[str, Sequence[int]]) -> list[str]:
    """Say in which ways the sets of groups were measured differently, a sentence each; none where all are alike.

    Parameters
    ----------
    store : Store
    groups : mapping
        Numbers of the sets by the group's name; a single group is looked at by itself.

    Raises
    ------
    LogError
        The log cannot be read.
    """
    found = {name: _ways(store, ids) for name, ids in groups.items()}
    said = []
    for key, title in _TITLES.items():
        values = {name: sorted({way[key] for way in ways if key in way}) for name, ways in found.items()}
        every = sorted({value for each in values.values() for value in each})
        if len(every) < 2:
            continue
        apart = len({tuple(each) for each in values.values()}) > 1
        which = (
            ", ".join(f"{' and '.join(each)} in {name}" for name, each in values.items() if each)
            if apart
            else " and ".join(every)
        )
        again = "; armarc log reprocess measures kept recordings again" if key == _VERSION else ""
        said.append(f"not measured alike, which may be part of what differs: {title} {which}{again}")
    return said


def done_differently(groups: Mapping[str, SetTable], by: str | None = None) -> list[str]:
    """Say in which ways the sets of groups are not the same lift, a sentence each; none where all are.

    Parameters
    ----------
    groups : mapping
        Sets by the group's name.
    by : str or None
        What the groups were split by on purpose.
    """
    said = []
    for what in ("exercise", "variant", "side", "load"):
        words = {
            name: sorted({task.word(what) for task in table.tasks_done}) for name, table in groups.items()
        }
        if what == by or len({tuple(each) for each in words.values()}) < 2:
            continue
        which = ", ".join(f"{_listed(each)} in {name}" for name, each in words.items())
        how = f" (--{what} takes one)" if by else ""
        said.append(f"not the same lift, which may be part of what differs: {what} {which}{how}")
    return said


def _listed(words: list[str]) -> str:
    if len(words) > MOST_NAMED:
        return f"{len(words)} different ones"
    return " and ".join(words)


def _ways(store: Store, ids: Sequence[int]) -> list[dict[str, str]]:
    """How sets were measured, in words."""
    places = np.linspace(0, len(ids) - 1, min(len(ids), MOST_LOOKED_AT)).round().astype(int)
    sets, measured = schema.training_set, schema.measurement
    asked = (
        sa.select(measured.c.settings, measured.c.armarc_version)
        .join(sets, sets.c.measurement_id == measured.c.id)
        .where(sets.c.id.in_([int(ids[place]) for place in places]))
    )
    with store.reading() as connection:
        return [_way(row.settings, str(row.armarc_version)) for row in connection.execute(asked)]


def _way(settings: Any, version: str) -> dict[str, str]:
    """What is known of a measurement; what a log of before did not keep is left out."""
    way = {_VERSION: ".".join(version.split(".")[:2])}
    for key in _TITLES if isinstance(settings, dict) else ():
        value = settings.get(key)
        if key in _WORDS and isinstance(value, str):
            way[key] = value
        elif key in _RANGES and isinstance(value, list | tuple) and len(value) == 2:
            way[key] = f"{value[0]:g}-{value[1]:g}°"
    return way
