"""Whether a result that came from elsewhere has the shape the log relies on."""

from __future__ import annotations

from typing import Any

from armarc.errors import InputError

LARGEST_WHOLE = 2**53
"""Beyond it neither JSON readers nor databases agree on whole numbers."""

LONGEST_S = 1e8
"""No recording lasts three years, and a set so far from its start would have no day in the calendar."""


def check_shape(document: dict[str, Any]) -> None:
    """Refuse a document whose parts are not of the kinds that schema ``armarc.sets/1`` gives them.

    Parameters
    ----------
    document : dict
        Plain JSON with the keys ``source``, ``settings``, ``sets``, ``armarc_version``.

    Raises
    ------
    InputError
        Names the part that does not fit.
    """
    _check_whole_numbers(document)
    _check_kind(
        document, "the result", source=dict, settings=dict, sets=list, metadata=dict, armarc_version=str
    )
    _check_labels(document["settings"], "the settings")
    for number, record in enumerate(document["sets"], start=1):
        where = f"set {number}"
        _check_kind(record, where, set=int, start_s=float, end_s=float, summary=dict, reps=list)
        for key in ("start_s", "end_s"):
            if abs(record[key]) > LONGEST_S:
                raise InputError(
                    f"{where} of the result: {key} is {record[key]:g}, years from the start of the recording",
                    "process the recording again",
                )
        _check_labels(record, where)
        for rep in record["reps"]:
            if not isinstance(rep, dict):
                raise InputError(f"{where} of the result has a rep that is no record")
            _check_kind(rep, f"a rep of {where}", rep=int, quality=list, start_verdict=str)
            if not all(isinstance(word, str) for word in rep.get("quality") or ()):
                raise InputError(f"{where} of the result has a rep whose quality is not in words")


def _check_labels(record: dict[str, Any], where: str) -> None:
    _check_kind(record, where, exercise=str, variant=str, side=str, load_kg=float, lifter=str)


def _check_kind(record: dict[str, Any], where: str, **kinds: type) -> None:
    for key, kind in kinds.items():
        value = record.get(key)
        fits = isinstance(value, int | float if kind is float else kind) and not isinstance(value, bool)
        if value is not None and not fits:
            raise InputError(
                f"{where} of the result: {key} is {type(value).__name__}, expected {kind.__name__}",
                "process the recording again",
            )
    for key in ("start_s", "end_s", "reps", "source", "settings"):
        if key in kinds and record.get(key) is None:
            raise InputError(f"{where} of the result has no {key}", "process the recording again")


def _check_whole_numbers(document: Any) -> None:
    waiting = [document]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting.extend(value.values())
        elif isinstance(value, list):
            waiting.extend(value)
        elif isinstance(value, int) and abs(value) > LARGEST_WHOLE:
            raise InputError("the result has a number too large to be stored", "process the recording again")
