"""Every error armarc raises on purpose.

::

    ArmarcError                    exit 1   what was wrong, where, and what to do (``hint``)
    ├── UsageError(ValueError)     exit 2   an option or a setting that makes no sense
    ├── InputError(ValueError)     exit 3   a recording, table or entry that cannot be read
    │   ├── FormatError            exit 3   ... at a known line or column of a file
    │   ├── UnitError              exit 3   ... whose units cannot be told or are absurd
    │   └── TimingError            exit 3   ... whose time stamps cannot be used
    ├── SensorError(ConnectionError)  exit 4   the sensor or its link
    ├── LogError                   exit 5   the training log
    └── NothingToMeasure           exit 6   a good recording without a rep in it
"""

from __future__ import annotations


class ArmarcError(Exception):
    """Base of every error armarc raises on purpose.

    Parameters
    ----------
    message : str
        What was wrong and where.
    hint : str
        What to do next; shown after the message.

    Examples
    --------
    >>> import armarc
    >>> try:
    ...     armarc.read_csv("recordings/README.md", kept=armarc.NOTHING_KEPT)
    ... except armarc.ArmarcError as error:
    ...     print(error.exit_code, bool(error.hint))
    3 True
    """

    exit_code = 1

    def __init__(self, message: str, hint: str = "") -> None:
        self.message = _cut(message, 2000)
        self.hint = _cut(hint, 2000)
        super().__init__(self.message)

    def __str__(self) -> str:
        return f"{self.message} ({self.hint})" if self.hint else self.message


class UsageError(ArmarcError, ValueError):
    """An option, argument or setting that makes no sense."""

    exit_code = 2


class InputError(ArmarcError, ValueError):
    """A recording, table or catalogue entry that cannot be used.

    Parameters
    ----------
    file : str
        The file it happened in, or an empty string.
    line : int or None
        One-based line number where known.
    column : str
        Column name where known.
    """

    exit_code = 3

    def __init__(
        self, message: str, hint: str = "", *, file: str = "", line: int | None = None, column: str = ""
    ) -> None:
        super().__init__(message, hint)
        self.file = file
        self.line = line
        self.column = column

    def __str__(self) -> str:
        places = [self.file] if self.file else []
        if self.line is not None:
            places.append(f"line {self.line}")
        if self.column:
            places.append(f"column {_cut(self.column, 80)!r}")
        where = ", ".join(places)
        text = f"{where}: {self.message}" if where else self.message
        return f"{text} ({self.hint})" if self.hint else text


class FormatError(InputError):
    """A file that is not what it should be, at a known place."""


class UnitError(InputError):
    """Columns whose units cannot be told or give absurd values."""


class TimingError(InputError):
    """Time stamps that cannot be used."""


class SensorError(ArmarcError, ConnectionError):
    """The sensor, its link, or the radio of this machine."""

    exit_code = 4


class LogError(ArmarcError):
    """The training log cannot be read or written."""

    exit_code = 5


class NothingToMeasure(ArmarcError):
    """A readable recording without a single rep in it."""

    exit_code = 6


def _cut(text: str, longest: int) -> str:
    """A name of a hundred thousand letters in a damaged file must not bury what is said about it."""
    return text if len(text) <= longest else text[: longest - 1] + "…"
