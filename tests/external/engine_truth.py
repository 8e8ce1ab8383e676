"""What the engine says of every rep, by the definitions of the measures; a plain reading of them, of its own.

Everything comes from the places, axes, forces and moments of `engine_body.Lifted`. Keys and units are the published
ones. Where a rep is looked for follows from the plan; what it measures does not.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from engine_body import GRAVITY_M_S2, RATE_HZ, Lifted
from engine_moves import Marks
from scipy.signal import butter, sosfiltfilt
from scipy.spatial.distance import pdist

GATE_DEG, LOADED_DEG, ON_DEG_S = (10.0, 20.0), (30.0, 60.0), 5.0


def unit(v: np.ndarray) -> np.ndarray:
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def _rate(x: np.ndarray) -> np.ndarray:
    return np.gradient(x, 1 / RATE_HZ, axis=0, edge_order=2)


def smooth(rate: np.ndarray) -> np.ndarray:
    """6 Hz, 2nd-order Butterworth, forward and backward."""
    return sosfiltfilt(butter(2, 6.0, fs=RATE_HZ, output="sos"), rate, axis=0)


def elevation_deg(lifted: Lifted) -> np.ndarray:
    """Line from the shoulder to the bone below the sensor against straight down."""
    line = unit(lifted.bone_m - lifted.shoulder_m)
    return np.degrees(np.arctan2(np.hypot(line[:, 0], line[:, 1]), -line[:, 2]))


def turned_deg(lifted: Lifted, marks: list[Marks], on: str) -> np.ndarray:
    """Angle about the axis the segment turns about most during the set, upward at the tops, from the first rest."""
    segment = {"forearm": lifted.forearm, "upper_arm": lifted.upper_arm}[on]
    steps = (segment[:-1].inv() * segment[1:]).as_rotvec() * RATE_HZ
    inside = slice(round(marks[0].off_s * RATE_HZ), round(marks[-1].home_s * RATE_HZ))
    axis = np.linalg.eigh(steps[inside].T @ steps[inside])[1][:, 2]
    angle = np.degrees(np.concatenate([[0.0], np.cumsum(steps @ axis) / RATE_HZ]))
    angle -= angle[round(marks[0].off_s * RATE_HZ)]
    return angle if angle[round(marks[0].top_s * RATE_HZ)] > 0 else -angle


def _first(hits: np.ndarray, start: int, stop: int) -> int:
    found = np.flatnonzero(hits[start:stop])
    return start + int(found[0]) if len(found) else stop - 1


def _last(hits: np.ndarray, start: int, stop: int) -> int:
    found = np.flatnonzero(hits[start:stop])
    return start + int(found[-1]) if len(found) else start


def _crossed(x: np.ndarray, level: float, start: int, stop: int) -> float | None:
    """Sample at which x last rises through a level before `stop`, between samples."""
    hits = np.flatnonzero((x[start : stop - 1] < level) & (x[start + 1 : stop] >= level))
    if not len(hits):
        return None
    i = start + int(hits[-1])
    return i + float((level - x[i]) / (x[i + 1] - x[i]))


def sparc(speed: np.ndarray) -> float:
    """Spectral arc length, Balasubramanian et al. 2015, J NeuroEng Rehabil 12:112: padded by 4 octaves, to 10 Hz, cut
    at 5 %."""
    n = 2 ** (math.ceil(math.log2(len(speed))) + 4)
    size, hz = np.abs(np.fft.rfft(speed, n)), np.fft.rfftfreq(n, 1 / RATE_HZ)
    size, hz = size[hz <= 10] / size.max(), hz[hz <= 10]
    last = int(np.flatnonzero(size >= 0.05)[-1]) + 1
    size, hz = size[:last], hz[:last]
    return -float(np.hypot(np.diff(hz) / (hz[-1] - hz[0]), np.diff(size)).sum())


def _diameter_cm(path: np.ndarray) -> float:
    return 100 * float(pdist(path[:: max(1, len(path) // 300)]).max())


def _smooth_gate_deg_s(rom: float, concentric_s: float) -> float | None:
    """Start velocity of the minimum-jerk raise of this range whose part above 5 °/s and 5 % lasts as long."""
    u = np.linspace(0, 1, 20001)
    went, speed = 10 * u**3 - 15 * u**4 + 6 * u**5, 30 * u**2 * (1 - u) ** 2
    low, high = concentric_s, 1.5 * rom / ON_DEG_S
    for _ in range(50):
        s = (low + high) / 2
        rate = rom * speed / s
        on = s * np.mean(rate > max(ON_DEG_S, 0.05 * rate.max()))
        low, high = (s, high) if on < concentric_s else (low, s)
    if GATE_DEG[1] >= rom:
        return None
    near, far = np.interp(GATE_DEG, rom * went, u * low)
    return (GATE_DEG[1] - GATE_DEG[0]) / (far - near)


def measured(
    lifted: Lifted, marks: list[Marks], *, angle_deg: np.ndarray | None = None, mirror: float = 1.0
) -> list[dict[str, float | None]]:
    """The reps of a set; `angle_deg` stands in for the elevation where an exercise has another angle."""
    raised = angle_deg is None
    angle = elevation_deg(lifted) if raised else angle_deg
    raw = _rate(angle)
    rate = smooth(raw)
    middles = [round((m.top_s + m.leave_s) / 2 * RATE_HZ) for m in marks]
    lows = [round((marks[0].off_s - 0.8) * RATE_HZ), *middles[:-1]]
    highs = [*middles[1:], min(round((marks[-1].home_s + 0.5) * RATE_HZ), len(angle) - 1)]
    reps = [
        _rep(lifted, angle, raw, rate, low, middle, high, raised, mirror)
        for low, middle, high in zip(lows, middles, highs, strict=True)
    ]
    if raised:
        _add_swings(lifted, np.radians(angle), reps)
    for this, after in zip(reps, [*reps[1:], None], strict=True):
        this["pause_s"] = None if after is None else after["start_s"] - this["end_s"]
    return reps


def _rep(lifted, angle, raw, rate, low, middle, high, raised, mirror) -> dict[str, float | None]:
    before = low + int(np.argmin(angle[low : middle + 1]))
    after = middle + int(np.argmin(angle[middle : high + 1]))
    top = before + int(np.argmax(angle[before : after + 1]))
    bottom, highest, home = angle[before], angle[top], angle[after]
    rom, way_down = highest - bottom, highest - home
    peak = before + int(np.argmax(rate[before : top + 1]))
    trough = top + int(np.argmin(rate[top : after + 1]))
    on_up, on_down = max(ON_DEG_S, 0.05 * rate[peak]), max(ON_DEG_S, -0.05 * rate[trough])
    leaves = _last(angle < bottom + 0.1 * rom, before, top + 1)
    nears = _first(angle >= highest - 0.1 * rom, before, top + 1)
    start = _last(rate <= on_up, low, leaves + 1)
    top_start = _first(rate <= on_up, nears, high + 1)
    falls = _last(angle > highest - 0.1 * way_down, top, after + 1)
    lands = _first(angle <= home + 0.1 * way_down, top, after + 1)
    top_end = max(_last(-rate <= on_down, nears, falls + 1), top_start)
    end = _first(-rate <= on_down, lands, len(angle))
    far = _crossed(angle, bottom + GATE_DEG[1], before, top + 1)
    near = None if far is None else _crossed(angle, bottom + GATE_DEG[0], before, math.ceil(far) + 1)
    gate = None if far is None or near is None else (GATE_DEG[1] - GATE_DEG[0]) * RATE_HZ / (far - near)
    up_s, down_s = (top_start - start) / RATE_HZ, (end - top_end) / RATE_HZ
    rising = slice(_last(rate <= 0, low, start + 1), _first(rate <= 0, top_start, len(rate)) + 1)
    out: dict[str, float | None] = {
        "start_s": start / RATE_HZ,
        "top_start_s": top_start / RATE_HZ,
        "top_end_s": top_end / RATE_HZ,
        "end_s": end / RATE_HZ,
        "gate_s": None if far is None else far / RATE_HZ,
        "bottom_deg": bottom,
        "top_deg": highest,
        "rom_deg": rom,
        "concentric_s": up_s,
        "hold_s": (top_end - top_start) / RATE_HZ,
        "eccentric_s": down_s,
        "time_under_tension_s": (end - start) / RATE_HZ,
        "start_velocity_deg_s": gate,
        "mean_concentric_deg_s": (angle[top_start] - angle[start]) / up_s,
        "mean_eccentric_deg_s": (angle[top_end] - angle[end]) / down_s,
        "peak_concentric_deg_s": rate[peak],
        "peak_eccentric_deg_s": -rate[trough],
        "peak_concentric_at_deg": angle[peak],
        "drive_angle_deg": angle[peak],
        "time_to_peak_s": (peak - start) / RATE_HZ,
        "lowering_ratio": down_s / up_s,
        "smoothness_sparc": sparc(np.abs(rate[rising])),
    }
    smooth_start = _smooth_gate_deg_s(rom, up_s)
    out["start_ratio"] = None if gate is None or smooth_start is None else gate / smooth_start
    if raised:
        out |= _of_a_raise(lifted, angle, rate, top, start, top_start, top_end, end, mirror)
        out |= _of_the_load(lifted, angle, raw, rate, (low, start, top_start, top_end, end), peak)
    return out


def _of_a_raise(lifted, angle, rate, top, start, top_start, top_end, end, mirror) -> dict[str, float]:
    concentric = slice(start, top_start + 1)
    whole = slice(start, end + 1)  # an arm that waits inside the range does not raise or lower
    inside = (angle[whole] >= LOADED_DEG[0]) & (angle[whole] <= LOADED_DEG[1])
    line = unit(lifted.bone_m - lifted.shoulder_m)
    plane = np.arctan2(line[:, 0], -mirror * line[:, 1])
    weight = np.where(angle > 30, np.sin(np.radians(angle)) ** 2, 0.0)[concentric]
    mean = np.sum(weight * np.exp(1j * plane[concentric]))
    thumb = lifted.thumb - np.sum(lifted.thumb * line, axis=1)[:, None] * line
    trunk_up = _trunk_up(lifted)
    lean = np.degrees(np.arctan2(np.hypot(trunk_up[:, 0], trunk_up[:, 1]), trunk_up[:, 2]))
    ahead = np.degrees(np.arctan2(trunk_up[:, 0], trunk_up[:, 2]))[concentric]
    aside = np.degrees(np.arctan2(-mirror * trunk_up[:, 1], trunk_up[:, 2]))[concentric]
    out = {
        "loaded_range_s": float(inside.sum()) / RATE_HZ,
        "plane_deg": math.degrees(np.angle(mean)) if weight.any() else None,
        "hand_rotation_deg": math.degrees(math.asin(unit(thumb)[top, 2])),
        "torso_travel_cm": _diameter_cm(lifted.socket_m[concentric]),
        "trunk_lean_deg": lean[start],
        "trunk_travel_deg": float(np.ptp(lean[concentric])),
        "trunk_forward_deg": _farthest(ahead),
        "trunk_sideways_deg": _farthest(aside),
        "elevation_to_trunk_deg": math.degrees(math.acos(-line[top] @ trunk_up[top])),
    }
    reach = np.linalg.norm(lifted.bone_m - lifted.shoulder_m, axis=1)
    low = slice(top_end, end)
    window = (angle[low] >= angle[end] + 20) & (angle[low] <= angle[top] - 10)
    window &= np.sin(np.radians(angle[low])) >= math.sin(math.radians(15))
    if window.any():
        theta = np.radians(angle[low][window])
        speeding = np.radians(_rate(rate)[low][window])
        held = np.sort(1 + reach[low][window] * speeding / (GRAVITY_M_S2 * np.sin(theta)))
        out["least_held_pct"] = 100 * float(np.median(held[: max(1, round(0.1 * len(held)))]))
    return out


@lru_cache(maxsize=1)
def _trunk_up(lifted: Lifted) -> np.ndarray:
    """The trunk's long axis: what is vertical while it stands still."""
    return lifted.trunk.apply(unit(lifted.trunk[:RATE_HZ].inv().apply([0.0, 0.0, 1.0]).mean(axis=0)))


def _farthest(x: np.ndarray) -> float:
    return float((x - x[0])[np.argmax(np.abs(x - x[0]))])


def _add_swings(lifted: Lifted, theta: np.ndarray, reps: list[dict[str, float | None]]) -> None:
    """Travel of the shoulder in the concentric beyond what it does, as a function of the angle, on the lowerings."""

    def part(first: str, last: str, rep) -> slice:
        return slice(round(rep[first] * RATE_HZ), round(rep[last] * RATE_HZ) + 1)

    x, y = [], []
    for rep in reps:
        down = part("top_end_s", "end_s", rep)
        powers = theta[down, None] ** np.arange(1, 4)
        x.append(powers - powers.mean(axis=0))
        y.append(lifted.shoulder_m[down] - lifted.shoulder_m[down].mean(axis=0))
    usual = np.linalg.lstsq(np.concatenate(x), np.concatenate(y), rcond=None)[0]
    for rep in reps:
        up = part("start_s", "top_start_s", rep)
        rep["body_swing_cm"] = _diameter_cm(
            lifted.shoulder_m[up] - theta[up, None] ** np.arange(1, 4) @ usual
        )


def _of_the_load(lifted: Lifted, angle, raw, rate, at, peak) -> dict[str, float | None]:
    low, start, top, lowered, end = at
    line = unit(lifted.bone_m - lifted.shoulder_m)
    axis = unit(np.cross(line[start], line[top]))
    along = lifted.moment_n_m @ axis
    power = along * np.radians(raw)
    inside = (angle >= LOADED_DEG[0]) & (angle <= LOADED_DEG[1])
    work, impulse = power[start:top].sum() / RATE_HZ, along[start:end].sum() / RATE_HZ
    whole = slice(start, end + 1)
    out = {
        "peak_moment_n_m": along[whole].max(),
        "peak_moment_at_deg": angle[start + int(np.argmax(along[whole]))],
        "peak_concentric_moment_n_m": along[start : top + 1].max(),
        "peak_concentric_moment_at_deg": angle[start + int(np.argmax(along[start : top + 1]))],
        "peak_eccentric_moment_n_m": along[lowered : end + 1].max(),
        "mean_moment_n_m": along[start:end].mean(),
        "mean_moment_over_angle_n_m": work / math.radians(angle[top] - angle[start]),
        "moment_impulse_n_m_s": impulse,
        "concentric_work_j": work,
        "eccentric_work_j": -power[lowered:end].sum() / RATE_HZ,
        "peak_power_w": power[start : top + 1].max(),
        "loaded_impulse_pct": 100 * along[start:end][inside[start:end]].sum() / RATE_HZ / impulse,
        "loaded_work_pct": 100 * power[start:top][inside[start:top]].sum() / RATE_HZ / work,
        "hold_moment_n_m": along[top:lowered].mean() if lowered > top else None,
    }
    carried, given, moved = _powers(lifted)
    begin = max(low, start - round(0.8 * RATE_HZ))
    rest = begin + int(np.argmin((np.abs(rate) / 10 + moved / 0.02)[begin : start + 1]))
    drive, concentric = slice(rest, peak + 1), slice(start, top + 1)
    out["drive_swing_work_pct"] = 100 * carried[drive].sum() / (carried[drive].sum() + given[drive].sum())
    out["body_swing_work_pct"] = 100 * carried[concentric].sum() / (carried + given)[concentric].sum()
    return out


@lru_cache(maxsize=1)
def _powers(lifted: Lifted) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What the trunk's own movement gives the arm (W), beside all mechanical work on arm and load (W), and how fast
    it moves the shoulder (m/s)."""
    shifting = _rate(lifted.socket_m)
    carried = np.sum(lifted.force_n * shifting, axis=1)
    given = np.sum(lifted.moment_n_m * _turning(lifted), axis=1) + lifted.elbow_power_w
    return carried, given, np.linalg.norm(shifting, axis=1)


def _turning(lifted: Lifted) -> np.ndarray:
    """Angular velocity of the upper arm, global axes."""
    steps = (lifted.upper_arm[1:] * lifted.upper_arm[:-1].inv()).as_rotvec() * RATE_HZ
    return np.vstack([steps[:1], 0.5 * (steps[1:] + steps[:-1]), steps[-1:]])
