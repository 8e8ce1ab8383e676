"""What really happened: the contract's measures from the noise-free arm at 1 kHz.

An own, plain reading of the definitions, made of the true angle alone, so that it can serve as a cross-check
of the measuring code.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import butter, sosfiltfilt
from scipy.spatial.distance import pdist

from armarc.recording import FloatArray
from armarc.simulate.body import Body
from armarc.simulate.body_moves import RepMarks
from armarc.simulate.choreography import Event

TRUTH_RATE_HZ = 1000.0
CUTOFF_HZ = 6.0
LEAST_RATE_RAD_S = math.radians(5)
GATE_RAD = (math.radians(10), math.radians(20))
LOADED_RANGE_RAD = (math.radians(30), math.radians(60))
PARTIAL_SHARE, SWUNG_M = 0.7, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthSeries:
    """The true arm over the whole session, 1 kHz, seconds from the recording's first sample; n instants.

    ``angle_rad`` is the movement angle, ``angle_rate_rad_s`` its unfiltered rate, ``quaternion`` (n, 4) turns
    sensor axes into the global frame, ``shoulder_m`` (n, 3) is the path of the pivot and ``torso_m`` (n, 3) the
    same without the girdle's own rise.
    ``elevation_rad`` and ``plane_rad`` are those of the line from shoulder to wrist, against the vertical and
    relative to where the trunk faces; ``hand_rotation_rad`` is the thumb's elevation. ``arm_to_trunk_rad`` and
    ``humerus_to_trunk_rad`` are the angles of that line and of the upper arm with the trunk's long axis,
    ``trunk_lean_rad`` is that axis's angle with the vertical, ``elbow_rad`` is 0 for a straight elbow.
    """

    time_s: FloatArray
    angle_rad: FloatArray
    angle_rate_rad_s: FloatArray
    elevation_rad: FloatArray
    plane_rad: FloatArray
    hand_rotation_rad: FloatArray
    quaternion: FloatArray
    shoulder_m: FloatArray
    torso_m: FloatArray
    elbow_rad: FloatArray
    arm_to_trunk_rad: FloatArray
    humerus_to_trunk_rad: FloatArray
    trunk_lean_rad: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthRep:
    """One rep by the definitions of the measures, SI; see `armarc.simulate.truth_file.REP_KEYS`."""

    rep: int
    start_s: float
    top_start_s: float
    top_end_s: float
    end_s: float
    bottom_rad: float
    top_rad: float
    rom_rad: float
    start_velocity_rad_s: float | None
    gate_s: float | None
    pause_s: float | None
    mean_concentric_rad_s: float
    mean_eccentric_rad_s: float
    peak_concentric_rad_s: float
    peak_eccentric_rad_s: float
    peak_concentric_at_rad: float
    time_to_peak_s: float
    loaded_range_s: float | None
    plane_rad: float | None
    hand_rotation_rad: float
    smoothness_sparc: float
    body_swing_m: float
    shoulder_travel_m: float
    trunk_lean_rad: float
    trunk_travel_rad: float
    elevation_to_trunk_rad: float
    humerus_to_trunk_rad: float
    elbow_bottom_rad: float
    elbow_top_rad: float
    quality: tuple[str, ...] = ()

    @property
    def concentric_s(self) -> float:
        """Start to top, s."""
        return self.top_start_s - self.start_s

    @property
    def time_under_tension_s(self) -> float:
        """Start to end, s."""
        return self.end_s - self.start_s

    @property
    def hold_s(self) -> float:
        """At the top, s."""
        return self.top_end_s - self.top_start_s

    @property
    def eccentric_s(self) -> float:
        """Top to end, s."""
        return self.end_s - self.top_end_s


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthSet:
    """The reps of one set."""

    set: int
    reps: tuple[TruthRep, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """Everything that is known about a synthetic recording.

    Parameters
    ----------
    exercise, coordinate, side : str
    sets : tuple of TruthSet
    arm_axis, forearm_axis, thumb_axis : ndarray, shape (3,)
        Unit vectors in sensor axes as the first rep begins: shoulder → wrist line, forearm, thumb
        side across the line.
    lever_arm_m : ndarray, shape (3,), m
        Pivot → sensor in sensor axes as the first rep begins.
    reach_m, sensor_height_m : float, m
        Pivot to the place on the bone below the sensor as the first rep begins, and the sensor's height above it.
    gyroscope_bias_rad_s, zero_g_m_s2 : ndarray, shape (3,)
    body : Body
    events : tuple of Event
        What happened beside the reps, in order.
    series : TruthSeries
    """

    exercise: str
    coordinate: str
    side: str
    sets: tuple[TruthSet, ...]
    arm_axis: FloatArray
    forearm_axis: FloatArray
    thumb_axis: FloatArray
    lever_arm_m: FloatArray
    reach_m: float
    sensor_height_m: float
    gyroscope_bias_rad_s: FloatArray
    zero_g_m_s2: FloatArray
    seed: int
    body: Body
    events: tuple[Event, ...]
    series: TruthSeries

    @property
    def reps(self) -> tuple[TruthRep, ...]:
        """The reps of all sets in order."""
        return tuple(rep for one in self.sets for rep in one.reps)


def smooth_rate(rate_rad_s: FloatArray) -> FloatArray:
    """Low-pass at 6 Hz: 2nd-order Butterworth, forward and backward."""
    sections = butter(2, CUTOFF_HZ, fs=TRUTH_RATE_HZ, output="sos")
    return np.asarray(sosfiltfilt(sections, rate_rad_s, padlen=min(len(rate_rad_s) - 1, int(TRUTH_RATE_HZ))))


def measure_reps(
    series: TruthSeries, marks: tuple[RepMarks, ...], coordinate: str, smoothed_rad_s: FloatArray
) -> tuple[TruthRep, ...]:
    """Measure the reps of one set.

    Parameters
    ----------
    series : TruthSeries
    marks : tuple of RepMarks
        Planned instants; they only say where to look.
    coordinate : str
    smoothed_rad_s : ndarray, shape (n,), rad/s
        `smooth_rate` of the series' rate.
    """
    # A rep's bottoms are looked for between the tops (planned) on either side.
    tops = [(m.top_start_s + m.top_end_s) / 2 for m in marks]
    lows = [marks[0].ready_s, *tops[:-1]]
    highs = [*tops[1:], marks[-1].end_s + 0.5]
    found = []
    for number, (low_s, top_s, high_s) in enumerate(zip(lows, tops, highs, strict=True), 1):
        found.append(_measure(series, number, low_s, top_s, high_s, coordinate, smoothed_rad_s))
    usual = float(np.median([rep.rom_rad for rep in found]))
    finished = []
    for i, rep in enumerate(found):
        finished.append(
            replace(
                rep,
                pause_s=found[i + 1].start_s - rep.end_s if i + 1 < len(found) else None,
                quality=("partial",) * (rep.rom_rad < PARTIAL_SHARE * usual)
                + ("swung",) * (rep.body_swing_m > SWUNG_M),
            )
        )
    return tuple(finished)


def _first(condition: np.ndarray, start: int, stop: int) -> int:
    hits = np.flatnonzero(condition[start:stop])
    return start + int(hits[0]) if len(hits) else stop - 1


def _last(condition: np.ndarray, start: int, stop: int) -> int:
    hits = np.flatnonzero(condition[start:stop])
    return start + int(hits[-1]) if len(hits) else start


def _crossing_s(t: FloatArray, x: FloatArray, level: float, start: int, stop: int) -> float | None:
    """Instant at which x first rises through a level, linearly between samples."""
    hits = np.flatnonzero((x[start : stop - 1] < level) & (x[start + 1 : stop] >= level))
    if not len(hits):
        return None
    i = start + int(hits[0])
    return float(t[i] + (level - x[i]) / (x[i + 1] - x[i]) * (t[i + 1] - t[i]))


def _measure(
    series: TruthSeries,
    number: int,
    low_s: float,
    top_s: float,
    high_s: float,
    coordinate: str,
    rate: FloatArray,
) -> TruthRep:
    t, angle = series.time_s, series.angle_rad
    low, middle, high = np.clip(np.searchsorted(t, [low_s, top_s, high_s]), 0, len(t) - 1)
    before = low + int(np.argmin(angle[low : middle + 1]))
    after = middle + int(np.argmin(angle[middle : high + 1]))
    top = before + int(np.argmax(angle[before : after + 1]))
    theta_b, theta_t, theta_after = float(angle[before]), float(angle[top]), float(angle[after])
    rom, way_down = theta_t - theta_b, theta_t - theta_after

    peak = before + int(np.argmax(rate[before : top + 1]))
    trough = top + int(np.argmin(rate[top : after + 1]))
    on_up = max(LEAST_RATE_RAD_S, 0.05 * float(rate[peak]))
    on_down = max(LEAST_RATE_RAD_S, -0.05 * float(rate[trough]))
    leaves_bottom = _first(angle >= theta_b + 0.1 * rom, before, top + 1)
    nears_top = _first(angle >= theta_t - 0.1 * rom, before, top + 1)
    # After pulses at the top only the last fall lowers the arm.
    leaves_top = min(_last(angle > theta_t - 0.1 * way_down, top, after + 1) + 1, after)
    nears_bottom = _first(angle <= theta_after + 0.1 * way_down, top, after + 1)
    start = _last(rate <= on_up, low, leaves_bottom)
    top_start = _first(rate <= on_up, nears_top, high + 1)
    top_end = _last(-rate <= on_down, nears_top, leaves_top)
    end = _first(-rate <= on_down, nears_bottom, len(t))

    enters = _crossing_s(t, angle, theta_b + GATE_RAD[0], before, top + 1)
    passes = _crossing_s(t, angle, theta_b + GATE_RAD[1], before, top + 1)
    start_velocity = None
    if enters is not None and passes is not None and passes > enters:
        start_velocity = (GATE_RAD[1] - GATE_RAD[0]) / (passes - enters)
    inside = (angle >= LOADED_RANGE_RAD[0]) & (angle <= LOADED_RANGE_RAD[1])
    concentric = slice(start, top_start + 1)
    # Smoothness is that of the whole way up, between its turning points.
    rising = slice(_last(rate <= 0, before, start + 1), _first(rate <= 0, top_start, len(t)) + 1)
    return TruthRep(
        rep=number,
        start_s=float(t[start]),
        top_start_s=float(t[top_start]),
        top_end_s=float(t[max(top_end, top_start)]),
        end_s=float(t[end]),
        bottom_rad=theta_b,
        top_rad=theta_t,
        rom_rad=rom,
        start_velocity_rad_s=start_velocity,
        gate_s=passes,
        pause_s=None,
        mean_concentric_rad_s=float((angle[top_start] - angle[start]) / (t[top_start] - t[start])),
        mean_eccentric_rad_s=float((angle[top_end] - angle[end]) / (t[end] - t[top_end])),
        peak_concentric_rad_s=float(rate[peak]),
        peak_eccentric_rad_s=float(-rate[trough]),
        peak_concentric_at_rad=float(angle[peak]),
        time_to_peak_s=float(t[peak] - t[start]),
        loaded_range_s=(
            float(np.count_nonzero(inside[before:after]) / TRUTH_RATE_HZ)
            if coordinate == "elevation"
            else None
        ),
        plane_rad=_plane(series, concentric) if coordinate == "elevation" else None,
        hand_rotation_rad=float(series.hand_rotation_rad[top]),
        smoothness_sparc=spectral_arc_length(np.abs(rate[rising]), TRUTH_RATE_HZ),
        body_swing_m=_diameter(series.torso_m[concentric]),
        shoulder_travel_m=_diameter(series.shoulder_m[concentric]),
        trunk_lean_rad=float(series.trunk_lean_rad[start]),
        trunk_travel_rad=float(np.ptp(series.trunk_lean_rad[concentric])),
        elevation_to_trunk_rad=float(series.arm_to_trunk_rad[top]),
        humerus_to_trunk_rad=float(series.humerus_to_trunk_rad[top]),
        elbow_bottom_rad=float(series.elbow_rad[before]),
        elbow_top_rad=float(series.elbow_rad[top]),
    )


def _plane(series: TruthSeries, span: slice) -> float | None:
    elevation = series.elevation_rad[span]
    weight = np.where(elevation > math.radians(30), np.sin(elevation) ** 2, 0.0)
    if not weight.any():
        return None
    return float(np.angle(np.sum(weight * np.exp(1j * series.plane_rad[span]))))


def _diameter(path_m: FloatArray) -> float:
    """Largest distance between two points of a path, m."""
    thinned = path_m[:: max(1, len(path_m) // 300)]
    return float(pdist(thinned).max()) if len(thinned) > 1 else 0.0


def spectral_arc_length(speed: FloatArray, rate_hz: float) -> float:
    """SPARC of a speed profile (Balasubramanian et al. 2015, J NeuroEng Rehabil 12:112).

    Zero padding by 4 octaves, at most 10 Hz, cut where the spectrum falls below 5 % of its top for good.
    A minimum-jerk profile gives −1.40.
    """
    n = 2 ** (math.ceil(math.log2(len(speed))) + 4)
    spectrum = np.abs(np.fft.rfft(speed, n))
    spectrum = spectrum / spectrum.max()
    frequency = np.fft.rfftfreq(n, 1 / rate_hz)
    keep = frequency <= 10.0
    spectrum, frequency = spectrum[keep], frequency[keep]
    loud = np.flatnonzero(spectrum >= 0.05)
    spectrum, frequency = spectrum[: loud[-1] + 1], frequency[: loud[-1] + 1]
    if len(frequency) < 2:
        return 0.0
    return float(-np.sum(np.hypot(np.diff(frequency) / (frequency[-1] - frequency[0]), np.diff(spectrum))))
