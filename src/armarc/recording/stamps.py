"""From a column of time stamps, in whatever unit or notation, to seconds."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from armarc.errors import TimingError
from armarc.recording.types import BoolArray, FloatArray
from armarc.recording.units import SCALE, scale_of

if TYPE_CHECKING:
    import pandas as pd

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 10.0, 5000.0
_USUAL_RATES_HZ = (10.0, 2000.0)
_EPOCH_AFTER_S = 3.0e8
_WRAPS = (2.0**16, 2.0**24, 2.0**31, 2.0**32)
_DAY_S, _HOUR_S = 86400.0, 3600.0
TURNED = "the clock was turned by an hour in between (summer time): taken as no pause"
_RUNS, _RUN_STEPS = 20, 1000
_AT_ONCE = 0.005
"""Stamps within a packet follow each other this much faster than the samples were taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamps:
    """Time stamps in seconds.

    ``seconds`` counts from ``origin_s`` (an epoch for absolute stamps, so that two files of one session can
    be laid on one clock); ``quantum_s`` is their finest step; ``started_at`` an ISO 8601 instant where the
    stamps tell one.
    """

    seconds: FloatArray
    origin_s: float
    quantum_s: float
    unit: str
    started_at: str | None = None
    inferences: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def from_numbers(raw: FloatArray, *, named: str | None, stated: str | None, file: str, column: str) -> Stamps:
    """Read numeric stamps; the unit is the stated one, the named one, or the one that gives a possible rate.

    Raises
    ------
    TimingError
        No unit gives a rate between 10 Hz and 5 kHz, or the stated one does not.
    """
    finite = those(raw, np.isfinite(raw))
    step = typical_step(finite)
    if not step > 0:
        raise TimingError(
            "the time column never rises",
            "name another one (--columns time=NAME) or give the rate (--rate HZ)",
            file=file,
            column=column,
        )
    inferences: list[str] = []
    warnings: list[str] = []
    possible = {unit: 1.0 / (step * scale) for unit, scale in SCALE["time"].items()}
    usual = [
        unit
        for unit, rate in possible.items()
        if _USUAL_RATES_HZ[0] * 0.97 <= rate <= _USUAL_RATES_HZ[1] * 1.03
    ]
    unit = stated or named
    if unit is None:
        if not usual:
            raise _no_unit(step, file, column)
        unit = usual[0]
        inferences.append(f"time is in {unit}: its steps then mean {possible[unit]:.4g} Hz")
        if finite[0] in (0, 1) and np.all(np.diff(finite) == 1):
            warnings.append(
                f"the time column {column!r} counts {finite[0]:.0f}, {finite[1]:.0f}, {finite[2]:.0f}, …: read as "
                f"{unit} ({possible[unit]:.4g} Hz); if these are row numbers, give the rate instead (--rate HZ, or "
                "in Python the numbers over the rate)"
            )
    elif stated is None and not _possible(possible[unit]) and usual:
        warnings.append(
            f"the time column is called {column!r}, but in {unit} its steps would mean {possible[unit]:.4g} "
            f"Hz; it was read as {usual[0]} ({possible[usual[0]]:.4g} Hz)"
        )
        unit = usual[0]
    scale = scale_of(unit, "time")
    rate = 1.0 / (step * scale)
    if not _possible(rate):
        raise TimingError(
            f"time in {unit} would mean a sampling rate of {rate:.4g} Hz; a recording needs "
            f"{LOWEST_RATE_HZ:.0f} to {HIGHEST_RATE_HZ:.0f} Hz",
            "state the unit of time, as in --units time=ms, or record faster",
            file=file,
            column=column,
        )
    raw, wrapped = _unwrapped(raw, step)
    if wrapped:
        inferences.append(
            f"the sensor's counter started again {wrapped} time(s) at the end of its range; joined exactly"
        )
    origin = _beginning(finite, step)
    origin_s = origin * scale
    started = None
    if origin_s > _EPOCH_AFTER_S and origin_s < 1e10:
        started = (
            datetime.fromtimestamp(origin_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        )
        inferences.append(f"time counts from 1970 (the recording started at {started})")
    return Stamps(
        seconds=(raw - origin) * scale,
        origin_s=origin_s,
        quantum_s=_quantum(raw) * scale,
        unit=unit,
        started_at=started,
        inferences=tuple(inferences),
        warnings=tuple(warnings),
    )


def from_text(cells: NDArray[Any], *, file: str, column: str, line: int) -> Stamps:
    """Read ISO 8601 date-times or times of day.

    Raises
    ------
    TimingError
        The cells are neither.
    """
    import pandas as pd  # heavy, and needed only for text

    text = pd.Series(cells, dtype="object").fillna("").astype(str).str.strip()
    filled = text[text != ""]
    if filled.empty:
        raise TimingError("the time column is empty", file=file, column=column)
    first = str(filled.iloc[0])
    digits = _decimals_of_second(filled)
    clock = _times_of_day(text, first)
    if clock is not None:
        seconds: FloatArray = clock
        origin, started, zone, zoned = 0.0, None, "time of day", False
    else:
        instants = pd.to_datetime(text.str.replace(",", "."), format="ISO8601", errors="coerce", utc=True)
        if instants.isna().mean() > 0.5:
            instants = _other_dates(text)
        if instants.isna().mean() > 0.5:
            # Among numbers one cell that is none makes all of them text: that one is named.
            strange = filled[pd.to_numeric(filled.str.replace(",", "."), errors="coerce").isna()]
            bad = first if strange.empty else str(strange.iloc[0])
            raise TimingError(
                f"{bad[:40]!r} is not a time armarc can read",
                "use seconds, or ISO 8601 such as 2024-05-17T18:03:05.120Z",
                file=file,
                column=column,
                line=line if bad == first else None,
            )
        base = instants.dropna().iloc[0]
        seconds = np.asarray((instants - base).dt.total_seconds(), dtype=np.float64)
        origin = base.timestamp()
        zoned = re.search(r"(Z|[+-]\d{2}:?\d{2})$", first) is not None
        started = base.isoformat().replace("+00:00", "Z" if zoned else "")
        zone = "ISO 8601"
        seconds = seconds + origin
    turned = 0
    if not zoned:
        seconds, turned = without_turned_clock(seconds)
    return Stamps(
        seconds=np.asarray(seconds - origin, dtype=np.float64),
        origin_s=origin,
        quantum_s=10.0**-digits,
        unit=zone,
        started_at=started,
        inferences=(f"time is given as {zone}",),
        warnings=(TURNED,) * (turned > 0),
    )


def without_turned_clock(seconds: FloatArray) -> tuple[FloatArray, int]:
    """Civil time with the hour taken out by which clocks are turned for summer time and back, at a full hour.

    Returns
    -------
    (ndarray, int)
        The same times, even; and how often the clock was turned.
    """
    steps = np.diff(seconds)
    usual = float(np.nanmedian(steps)) if len(steps) else 0.0
    with np.errstate(invalid="ignore"):
        onto = np.abs(seconds[1:] - _HOUR_S * np.round(seconds[1:] / _HOUR_S))
        near = (onto < 3 * usual) & (np.abs(np.abs(steps - usual) - _HOUR_S) < 3 * usual)
    if not near.any():
        return seconds, 0
    hours = np.where(near, np.sign(steps), 0.0)
    return seconds - _HOUR_S * np.concatenate([[0.0], np.cumsum(hours)]), int(near.sum())


def _times_of_day(text: pd.Series[Any], first: str) -> FloatArray | None:
    """Seconds since midnight, counted on past midnight, of cells that hold a time of day.

    Also of cells with a date in front whose order of day and month cannot be known: only its days count.
    """
    pattern = (
        r"^(?:\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4},?\s+)?(\d{1,2}):(\d{2}):(\d{2})(?:[.,:](\d+))?\s*([AaPp][Mm])?$"
    )
    if re.match(pattern, first) is None:
        return None
    parts = text.str.extract(pattern)
    hour, minute, second = (parts[i].astype(float).to_numpy() for i in range(3))
    fraction = ("0." + parts[3].fillna("0")).astype(float).to_numpy()
    half = parts[4].str.lower()
    hour = np.where(half == "pm", hour % 12 + 12, np.where(half == "am", hour % 12, hour))
    seconds = hour * 3600.0 + minute * 60.0 + second + fraction
    steps = np.diff(seconds, prepend=seconds[:1])
    return np.asarray(seconds + _DAY_S * np.cumsum(np.nan_to_num(steps) < -_DAY_S / 2), dtype=np.float64)


def _other_dates(text: pd.Series[Any]) -> pd.Series[Any]:
    """Dates with the year first, in slashes or dots; the order of day and month is never guessed."""
    import pandas as pd

    cleaned = text.str.replace(r"^(\d{4})[/.](\d{1,2})[/.](\d{1,2})", r"\1-\2-\3", regex=True)
    return pd.to_datetime(cleaned, format="ISO8601", errors="coerce", utc=True)


def from_rate(count: int, rate_hz: float, counter: FloatArray | None = None) -> Stamps:
    """Even stamps at a known rate; a rising counter of samples shows which ones are missing.

    Raises
    ------
    TimingError
        The rate is not between 10 Hz and 5 kHz.
    """
    if not _possible(rate_hz):
        raise TimingError(
            f"a rate of {rate_hz:g} Hz cannot be used",
            f"give {LOWEST_RATE_HZ:.0f} to {HIGHEST_RATE_HZ:.0f} Hz",
        )
    index = np.arange(count, dtype=float)
    inferences = [f"time counts samples at {rate_hz:g} Hz"]
    if counter is not None and count > 1 and np.isfinite(counter).all():
        steps = np.diff(counter)
        if (steps >= 1).all() and np.median(steps) == 1 and (steps == np.round(steps)).all():
            index = counter - counter[0]
            if (steps > 1).any():
                inferences.append(f"the sample counter shows {int((steps - 1).sum())} missing samples")
    return Stamps(
        seconds=index / rate_hz, origin_s=0.0, quantum_s=0.0, unit="samples", inferences=tuple(inferences)
    )


def those(values: FloatArray, which: BoolArray) -> FloatArray:
    """Values that are marked: all of them as they are, which is the usual case and spares a copy."""
    return values if which.all() else values[which]


def usual_step(steps: FloatArray) -> float:
    """Median of the steps; of long recordings over runs all along it, each with every part of a repeated pattern."""
    if len(steps) > _RUNS * _RUN_STEPS:
        steps = steps[: len(steps) // _RUNS * _RUNS].reshape(_RUNS, -1)[:, :_RUN_STEPS]
    return float(np.median(steps))


def typical_step(raw: FloatArray) -> float:
    """Mean step between neighbouring samples, long pauses and backward steps left out."""
    steps = np.diff(those(raw, np.isfinite(raw)))
    steps = those(steps, steps >= 0)
    limit = np.inf
    # A burst of equal stamps is followed by a long step, so the mean counts, not the median.
    while True:
        usual = those(steps, steps <= limit)
        if not len(usual):
            return 0.0
        mean = float(usual.mean())
        if float(usual.max()) <= 20.0 * mean:
            return mean
        if packet := _packet(usual, mean):
            whole = usual[usual <= 3.0 * packet]
            return float(whole.mean())
        limit = 20.0 * mean


def _packet(steps: FloatArray, mean: float) -> float:
    """Usual step between bursts of many samples with (nearly) one stamp each; 0 if these are no bursts.

    Bursts take no time in themselves and follow each other evenly; what a few pauses part takes its time.
    """
    between = steps > 20.0 * mean
    if int(between.sum()) < 3 or float(np.median(steps[~between])) > _AT_ONCE * mean:
        return 0.0
    packet = float(np.median(steps[between]))
    alike = (steps[between] > packet / 3.0) & (steps[between] < 3.0 * packet)
    return packet if float(alike.mean()) > 0.5 else 0.0


def _beginning(stamps: FloatArray, step: float) -> float:
    """The first stamp, or the second where the first is damaged: counting from that would round all others."""
    far = 1e6 * step
    damaged = len(stamps) > 2 and abs(stamps[0] - stamps[1]) > far > abs(stamps[2] - stamps[1])
    return float(stamps[1 if damaged else 0])


def _possible(rate_hz: float) -> bool:
    return LOWEST_RATE_HZ * 0.97 <= rate_hz <= HIGHEST_RATE_HZ * 1.03


def _no_unit(step: float, file: str, column: str) -> TimingError:
    trials = ", ".join(f"{1.0 / (step * scale):.3g} Hz in {unit}" for unit, scale in SCALE["time"].items())
    return TimingError(
        f"the unit of time cannot be told; the steps would mean {trials}",
        f"a recording needs {LOWEST_RATE_HZ:.0f} to {HIGHEST_RATE_HZ:.0f} Hz; state the unit, as in --units "
        "time=ms",
        file=file,
        column=column,
    )


def _unwrapped(raw: FloatArray, step: float) -> tuple[FloatArray, int]:
    """Join a counter that ran over at 2^16, 2^24, 2^31 or 2^32 ticks; the jump then is exact."""
    back = np.flatnonzero(np.diff(raw) < 0)
    if not len(back) or raw.min() < 0:
        return raw, 0
    peak = float(np.nanmax(raw))
    for span in _WRAPS:
        if peak < span and peak > span - 50.0 * step:
            jumps = raw[back + 1] + span - raw[back]
            real = back[(jumps > 0) & (jumps < 50.0 * step)]
            if len(real):
                turns = np.zeros(len(raw))
                turns[real + 1] = span
                return raw + np.cumsum(turns), len(real)
    return raw, 0


def _quantum(raw: FloatArray) -> float:
    """Finest decimal step of the stamps, in their own unit."""
    probe = raw[np.isfinite(raw)][:5000]
    probe = np.abs(probe - probe[0]) if len(probe) and abs(probe[0]) > 1e8 else np.abs(probe)
    for digits in range(0, 10):
        scaled = probe * 10.0**digits
        if np.all(np.abs(scaled - np.round(scaled)) < 1e-4 + 2e-12 * scaled):
            return float(10.0**-digits)
    return 1e-10


def _decimals_of_second(text: pd.Series[Any]) -> int:
    found = text.iloc[:200].str.extract(r":\d{2}[.,](\d+)")[0].dropna()
    return min(int(found.str.len().max()), 9) if len(found) else 0
