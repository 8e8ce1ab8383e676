"""The one way in: what the command line does, from Python."""

from __future__ import annotations

import os

from armarc.errors import UsageError
from armarc.kept import Kept, open_kept
from armarc.options import MeasuringOptions
from armarc.pipeline import Session, measure
from armarc.recording import Recording
from armarc.recording import read_csv as read_file
from armarc.recording.recording import check_units
from armarc.trunk import Trunk, measure_with_trunk

__all__ = ["NOTHING_KEPT", "Kept", "MeasuringOptions", "Trunk", "open_kept", "process", "read_csv"]

NOTHING_KEPT = Kept()
"""For a result that depends on nothing but the recording and what is stated."""


def read_csv(path: str | os.PathLike[str], *, kept: Kept | None = None, **reading: object) -> Recording:
    """Read a recording as ``armarc process`` reads it.

    Parameters
    ----------
    path : path
    kept : Kept or None
        Whose settings say how the axes lie where nothing is stated; None takes those of the configuration folder.
    **reading
        Options of `armarc.recording.read_csv`.

    Raises
    ------
    FormatError, TimingError, UsageError
        See `armarc.recording.read_csv`.

    Examples
    --------
    >>> import armarc
    >>> recording = armarc.read_csv("recordings/strict-raise.csv", units="gyroscope=rad/s", kept=armarc.NOTHING_KEPT)
    >>> recording.rate_hz, recording.source.units["acceleration"]
    (100.0, 'm/s2')
    """
    return read_file(os.fsdecode(path), **_kept(kept).reading(reading))


def process(
    recording: Recording,
    options: MeasuringOptions | None = None,
    *,
    kept: Kept | None = None,
    trunk: Trunk | Recording | None = None,
    **named: object,
) -> Session:
    """Find and measure the sets and reps of a recording, as ``armarc process`` does.

    Parameters
    ----------
    recording : Recording
    options : MeasuringOptions or None
        What is stated. It beats the recording's own header, which beats the settings, which beat the exercise's entry.
    kept : Kept or None
        Settings, bodies of lifters, calibrations and mounts of sensors; None takes those of the configuration folder,
        `NOTHING_KEPT` none.
    trunk : Trunk, Recording or None
        A second sensor on the chest, by default with its z axis facing forward: how the trunk leans and swings is then
        measured.
    **named
        Options by name, in the units of the names: ``exercise="lateral-raise"``, ``side="left"``, ``load_kg=8``,
        ``band_deg_s=(45, 70)``, ``reach_cm=55``; see `MeasuringOptions`. They beat `options`.

    Returns
    -------
    Session
        Without sets when there is nothing to measure.

    Raises
    ------
    UsageError
        For options that make no sense.
    InputError
        For a recording that cannot be used or whose units gravity contradicts, or a file of the configuration folder
        that is damaged.

    Examples
    --------
    >>> import armarc
    >>> recording = armarc.read_csv("recordings/strict-raise.csv")
    >>> session = armarc.process(recording, side="right", load_kg=6, kept=armarc.NOTHING_KEPT)
    >>> len(session.sets), len(session.frame())
    (1, 8)
    """
    if not isinstance(recording, Recording):
        raise UsageError(
            f"armarc.process takes a recording, got {type(recording).__name__}",
            "armarc.read_csv(path) reads one, armarc.Recording.from_frame(frame) and from_arrays(…) make one",
        )
    if trunk is not None and not isinstance(trunk, (Trunk, Recording)):
        raise UsageError(
            f"armarc.process takes the chest's recording as trunk, got {type(trunk).__name__}",
            "armarc.read_csv(path) reads one, armarc.api.Trunk.of(recording, clock, forward) says how it lies",
        )
    if options is not None and not isinstance(options, MeasuringOptions):
        raise UsageError(
            f"armarc.process takes MeasuringOptions after the recording, got {type(options).__name__}",
            'name what is stated: armarc.process(recording, exercise="lateral-raise", side="right")',
        )
    check_units(recording)
    stated = MeasuringOptions.of(named).over(options or MeasuringOptions())
    recording, choices = _kept(kept).settle(recording, stated)
    trunk = Trunk.of(trunk) if isinstance(trunk, Recording) else trunk
    return measure(recording, choices) if trunk is None else measure_with_trunk(recording, trunk, choices)


def _kept(kept: Kept | None) -> Kept:
    if kept is not None and not isinstance(kept, Kept):
        raise UsageError(
            f"kept is what armarc.open_kept() gives, got {type(kept).__name__}",
            "armarc.NOTHING_KEPT leaves out everything that is kept",
        )
    return open_kept() if kept is None else kept
