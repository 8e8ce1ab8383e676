"""Moments as files, sensors and people write them."""

from __future__ import annotations

from datetime import datetime

FIRST_YEAR, LAST_YEAR = 1900, 2200
"""A set outside of them was not done then; near the ends of the calendar, a time zone has no moment to lead to."""


def read_moment(text: str) -> datetime | None:
    """Read a day with a time (ISO 8601), with its time zone; local time unless it says otherwise.

    Returns
    -------
    datetime or None
        None when the text is no time, or one in which nobody can have trained.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        return None
    return moment if moment.tzinfo else moment.astimezone()
