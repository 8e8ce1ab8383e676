"""What the shell offers for an option: names from the catalogue, the settings and the person's own log."""

from __future__ import annotations

from collections.abc import Iterable


def sides(incomplete: str) -> list[str]:
    """The two arms."""
    return _starting(incomplete, ("right", "left"))


def exercise_keys(incomplete: str) -> list[str]:
    """Keys of the catalogue, own entries among them."""
    from armarc.errors import ArmarcError
    from armarc.exercises import load_catalogue

    try:
        return _starting(incomplete, load_catalogue())
    except ArmarcError:
        return []


def mountings(incomplete: str) -> list[str]:
    """Ways to tell how the arm lies in the sensor."""
    from armarc.options import MOUNTINGS

    return _starting(incomplete, (*MOUNTINGS, "stated"))


def straps(incomplete: str) -> list[str]:
    """Places on the wrist."""
    from armarc.options import STRAPS

    return _starting(incomplete, STRAPS)


def hand_axes(incomplete: str) -> list[str]:
    """Sensor axes that may point to the hand."""
    from armarc.options import HAND_AXES

    return _starting(incomplete, HAND_AXES)


def fusions(incomplete: str) -> list[str]:
    """The smoother and the textbook filters."""
    from armarc.options import FUSIONS

    return _starting(incomplete, FUSIONS)


def logged_measures(incomplete: str) -> list[str]:
    """Measures a trend can be drawn of, and its two other words."""
    from armarc.log.measures import MEASURES

    return _starting(incomplete, (*(one.key for one in MEASURES), "weeks", "bests"))


def lifters(incomplete: str) -> list[str]:
    """Names in the usual log; none where there is no log or it cannot be read."""
    from armarc.errors import ArmarcError
    from armarc.log.reading import list_lifters
    from armarc.log.store import open_log

    try:
        with open_log(create=False) as store:
            return _starting(incomplete, list_lifters(store))
    except ArmarcError:
        return []


def _starting(incomplete: str, values: Iterable[str]) -> list[str]:
    return [value for value in values if value.casefold().startswith(incomplete.casefold())]
