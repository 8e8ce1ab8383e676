"""Reps as markers for a video: subtitles (SubRip, WebVTT) and a table of times, laid over it by a clap.

WebVTT after the W3C's candidate recommendation of 4 April 2019, SubRip as players commonly take it (no standard).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.measures import number_of, record_of
from armarc.outputs import safe_cell
from armarc.recording import STANDARD_GRAVITY_M_S2, Recording
from armarc.report.answers import flag_words
from armarc.reps.types import MeasuredSet, Rep

FORMATS = (".srt", ".vtt", ".csv")
LEAST_CLAP_M_S2 = 15.0
"""A clap is a blow: harder than any raise (working limit)."""
RIVAL_SHARE, APART_S, NEAR_SET_S = 0.8, 0.3, 0.5
"""Another blow this hard, this far away, leaves the clap untold; what is this near a set is the set's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """One rep in a video; the recording's first sample is at ``offset_s``, which may be before the video."""

    set: int
    rep: Rep
    offset_s: float

    @property
    def start_s(self) -> float:
        """Start of the rep in the video, s."""
        return self.rep.phases.start_s + self.offset_s

    @property
    def end_s(self) -> float:
        """Its end, s."""
        return self.rep.phases.end_s + self.offset_s

    @property
    def words(self) -> str:
        """What stands under the picture while the rep lasts."""
        rep, verdict = self.rep, self.rep.start_verdict
        said = []
        if rep.start_velocity_rad_s is not None:
            start = number_of(rep, "start_velocity_deg_s")
            said.append(f"start {start:.0f} °/s{f', {verdict} the band' if verdict else ''}")
        if rep.rom_rad is not None:
            said.append(f"range {number_of(rep, 'rom_deg'):.0f}°")
        said += [flag_words(flag) for flag in rep.quality]
        return f"Set {self.set}, rep {rep.rep}\n{'; '.join(said)}"


def markers_of(sets: Sequence[MeasuredSet], offset_s: float) -> list[Marker]:
    """Markers of all reps that end within the video, where the recording's first sample is at `offset_s`."""
    found = [Marker(set=one.set, rep=rep, offset_s=offset_s) for one in sets for rep in one.reps]
    return [marker for marker in found if marker.end_s > 0]


def find_clap(recording: Recording, sets: Sequence[MeasuredSet]) -> float:
    """When the hand was clapped, s from the recording's first sample: the hardest blow outside the sets.

    Raises
    ------
    UsageError
        None stands out.
    """
    time = recording.time_s
    blow = np.abs(np.linalg.norm(recording.specific_force_m_s2, axis=1) - STANDARD_GRAVITY_M_S2)
    blow = np.where(np.isfinite(blow), blow, 0.0)
    for one in sets:
        blow[(time > one.start_s - NEAR_SET_S) & (time < one.end_s + NEAR_SET_S)] = 0.0
    at = int(np.argmax(blow))
    if blow[at] < LEAST_CLAP_M_S2:
        raise UsageError(
            "no clap is to be found in the recording",
            "clap once with the sensor's hand, in the picture, before or after the set; or state --offset",
        )
    if blow[np.abs(time - time[at]) > APART_S].max(initial=0.0) > RIVAL_SHARE * blow[at]:
        raise UsageError(
            "the recording holds several blows as hard as a clap", "clap once, or state the --offset"
        )
    return float(time[at] - time[0])


def subtitles(markers: Sequence[Marker], ending: str) -> str:
    """Markers as a SubRip (``.srt``) or WebVTT (``.vtt``) file."""
    vtt = ending == ".vtt"
    parts = ["WEBVTT\n\nNOTE made by armarc\n"] if vtt else []
    for number, marker in enumerate(markers, start=1):
        words = _escaped(marker.words) if vtt else marker.words
        times = f"{_clock(marker.start_s, vtt)} --> {_clock(marker.end_s, vtt)}"
        parts.append(f"{number}\n{times}\n{words}\n")
    return "\n".join(parts)


def marker_table(markers: Sequence[Marker], file: str) -> str:
    """Markers as CSV: each of a rep's instants on the video's clock."""
    stream = io.StringIO()
    instants = ("start_s", "gate_s", "top_start_s", "top_end_s", "end_s")
    more = ("start_velocity_deg_s", "start_verdict", "rom_deg")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["file", "set", "rep", *(f"video_{name}" for name in instants), *more, "quality"])
    for one in markers:
        record = record_of(one.rep)
        known = [record[name] for name in instants]
        times = ["" if value is None else f"{value + one.offset_s:.3f}" for value in known]
        row = [safe_cell(file), one.set, one.rep.rep, *times, *(record[key] for key in more)]
        row.append(" ".join(record["quality"]))
        writer.writerow(["" if cell is None else cell for cell in row])
    return stream.getvalue()


def _clock(seconds: float, vtt: bool) -> str:
    """Hours, minutes, seconds and thousandths; what lies before the video begins with it."""
    thousandths = max(round(1000 * seconds), 0)
    minutes, rest = divmod(thousandths, 60_000)
    mark = "." if vtt else ","
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}{mark}{rest % 1000:03d}"


def _escaped(words: str) -> str:
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
