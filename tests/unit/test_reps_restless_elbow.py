"""Times of raises by an arm whose elbow is never quite still, as people's are not: a chain of two segments of its own.

The forearm, which the wrist's sensor is on, turns a little faster or slower than the line from the shoulder to the
sensor, all the time and so where the arm sets off and stops. The chain shares no code with the simulated bodies.
"""

import math

import numpy as np
from scipy.signal import butter, sosfiltfilt

import armarc

RATE_HZ, FINE = 100, 10
UPPER_ARM_M, FOREARM_M = 0.31, 0.25
RAISE_S, HOLD_S, LOWER_S, PAUSE_S, REPS = 1.3, 0.8, 2.0, 1.0, 8
RESTLESS_DEG_S = 3.2
"""Rate at which the elbow bends and straightens, root mean square: 1.8 °/s between the forearm and the arm line, as
three people's at the bottom and at the top together (`test_people_two_gyroscopes.py`)."""
TIMES = ("concentric_s", "hold_s", "eccentric_s")


def course(steps):
    """Angle of the upper arm from straight down, degrees, at evenly spaced instants."""
    rest = np.full(int(2 * steps), 8.0)

    def way(seconds):
        u = np.arange(1, int(seconds * steps) + 1) / int(seconds * steps)
        return 10 * u**3 - 15 * u**4 + 6 * u**5

    rep = [8 + 80 * way(RAISE_S), np.full(int(HOLD_S * steps), 88.0), 88 - 80 * way(LOWER_S)]
    return np.concatenate([rest, *(REPS * [*rep, np.full(int(PAUSE_S * steps), 8.0)]), rest])


def recorded(seed, restless_deg_s):
    """A front raise, seen from the side: recording, and the true elevation of the sensor, ten times as fine."""
    draw, steps = np.random.default_rng(seed), RATE_HZ * FINE
    upper = course(steps)
    time = np.arange(len(upper)) / steps
    parts_hz = draw.uniform(0.4, 1.2, 12)
    phases = draw.uniform(0, 2 * math.pi, 12)
    each = restless_deg_s / math.sqrt(6) / (2 * math.pi * parts_hz)
    bend = 8 + (each[:, None] * np.sin(2 * math.pi * parts_hz[:, None] * time + phases[:, None])).sum(axis=0)
    upper_rad, fore_rad = np.radians(upper), np.radians(upper + bend)
    forward = UPPER_ARM_M * np.sin(upper_rad) + FOREARM_M * np.sin(fore_rad)
    up = -UPPER_ARM_M * np.cos(upper_rad) - FOREARM_M * np.cos(fore_rad)
    pull = np.stack([np.gradient(np.gradient(one, time), time) for one in (forward, up)])
    pull[1] += 9.80665
    along = pull[0] * np.sin(fore_rad) - pull[1] * np.cos(fore_rad)
    across = pull[0] * np.cos(fore_rad) + pull[1] * np.sin(fore_rad)
    at = slice(0, None, FINE)
    acceleration = np.stack([along, across, np.zeros_like(along)], axis=1)[at]
    turning = np.stack([np.zeros_like(time), np.zeros_like(time), np.gradient(fore_rad, time)], axis=1)[at]
    found = armarc.Recording.from_arrays(
        time[at],
        acceleration + draw.normal(0, 0.03, acceleration.shape),
        turning + draw.normal(0, math.radians(0.08), turning.shape),
        units="gyroscope=rad/s",
    )
    return found, np.degrees(np.arctan2(forward, -up))


def times_of(angle, top):
    """Concentric, hold and eccentric, s, by the definitions of `DEVELOPERS.md`, of the rep about sample `top`."""
    steps = RATE_HZ * FINE
    rate = sosfiltfilt(butter(2, 6, fs=steps, output="sos"), np.gradient(angle, 1 / steps))
    before = top - int((RAISE_S + 0.5 * HOLD_S + 0.3) * steps)
    low = before + int(np.argmin(angle[before:top]))
    home = top + int(np.argmin(angle[top : top + int((0.5 * HOLD_S + LOWER_S + 0.3) * steps)]))
    top = low + int(np.argmax(angle[low:home]))
    on_up, on_down = max(5, 0.05 * rate[low:top].max()), max(5, -0.05 * rate[top:home].min())
    rise, fall = angle[top] - angle[low], angle[top] - angle[home]
    rises = low + np.flatnonzero(angle[low:top] < angle[low] + 0.1 * rise)[-1]
    reaches = low + np.flatnonzero(angle[low : top + 1] >= angle[top] - 0.1 * rise)[0]
    lands = top + np.flatnonzero(angle[top : home + 1] <= angle[home] + 0.1 * fall)[0]
    falls = top + np.flatnonzero(angle[top:lands] > angle[top] - 0.1 * fall)[-1]
    start = np.flatnonzero(rate[: rises + 1] <= on_up)[-1]
    top_start = reaches + np.flatnonzero(rate[reaches:] <= on_up)[0]
    top_end = max(np.flatnonzero(-rate[: falls + 1] <= on_down)[-1], top_start)
    end = lands + np.flatnonzero(-rate[lands:] <= on_down)[0]
    return np.diff([start, top_start, top_end, end]) / steps


def ratios(seeds, restless_deg_s):
    """Errors of the times over their standard errors, and the errors, shape (reps × 3,)."""
    errors, ses = [], []
    for seed in seeds:
        found, angle = recorded(seed, restless_deg_s)
        one = armarc.process(found, exercise="front-raise", side="right", kept=armarc.NOTHING_KEPT).to_dict()
        reps = [rep for each in one["sets"] for rep in each["reps"]]
        assert len(reps) == REPS
        for rep in reps:
            true = times_of(angle, round(0.5 * (rep["top_start_s"] + rep["top_end_s"]) * RATE_HZ * FINE))
            errors += [rep[key] - value for key, value in zip(TIMES, true, strict=True)]
            ses += [rep[f"{key}_se"] for key in TIMES]
    return np.abs(errors) / ses, np.abs(errors)


def test_times_of_a_restless_elbow_lie_within_their_standard_errors():
    found, errors = ratios(range(6), RESTLESS_DEG_S)
    assert 0.02 < np.sqrt(np.mean(errors**2)) < 0.3
    # Without room for the elbow 33 and 59 %.
    assert np.mean(found < 1) >= 0.52
    assert np.mean(found < 2) >= 0.8


def test_the_chain_with_a_still_elbow_is_measured_to_a_sample():
    """So the chain's own times are right."""
    _, errors = ratios([0], 0.0)
    assert errors.max() < 1 / RATE_HZ
