"""Start ratio: minimum-jerk raises against their closed form, and what short or front-loaded raises read."""

import math

import numpy as np
import pytest

from armarc.reps.momentum import smooth_duration_s, smooth_gate_velocity_rad_s, start_ratio

GATE = (math.radians(10), math.radians(20))


@pytest.mark.parametrize(("duration_s", "gate_deg_s"), [(1.0, 115), (1.5, 77), (2.0, 57), (2.5, 46)])
def test_a_smooth_raise_is_the_faster_in_the_gate_the_shorter_it_is(duration_s, gate_deg_s):
    # Recomputed from x(u) = u³(10 − 15u + 6u²) (Flash and Hogan 1985, J Neurosci 5:1688) for 85°.
    found = smooth_gate_velocity_rad_s(math.radians(85), duration_s, GATE)
    assert math.degrees(found) == pytest.approx(gate_deg_s, abs=0.6)
    root = [
        next(r.real for r in np.roots([6, -15, 10, 0, 0, -x / 85]) if abs(r.imag) < 1e-9 and 0 < r.real < 1)
        for x in (10, 20)
    ]
    assert math.degrees(found) == pytest.approx(10 / (root[1] - root[0]) / duration_s, rel=1e-9)


@pytest.mark.parametrize("rom_deg", [40.0, 85.0, 120.0])
@pytest.mark.parametrize("duration_s", [0.4, 1.0, 2.5, 5.0])
def test_a_smooth_raise_has_a_ratio_of_one_however_long_it_takes(rom_deg, duration_s):
    time = np.linspace(0, duration_s, 20001)
    u = time / duration_s
    angle = math.radians(rom_deg) * u**3 * (10 - 15 * u + 6 * u * u)
    rate = np.gradient(angle, time)
    on = time[rate > max(math.radians(5), 0.05 * rate.max())]
    passage = np.interp(GATE[1], angle, time) - np.interp(GATE[0], angle, time)
    velocity = (GATE[1] - GATE[0]) / passage
    assert smooth_duration_s(math.radians(rom_deg), on[-1] - on[0]) == pytest.approx(duration_s, rel=2e-3)
    assert start_ratio(velocity, math.radians(rom_deg), on[-1] - on[0], GATE) == pytest.approx(1, abs=3e-3)
    assert start_ratio(1.5 * velocity, math.radians(rom_deg), on[-1] - on[0], GATE) > 1.49


def test_where_there_is_nothing_to_compare_with():
    assert start_ratio(None, 1.5, 1.0, GATE) is None
    assert start_ratio(1.0, GATE[1], 1.0, GATE) is None
    assert start_ratio(1.0, 0.0, 1.0, GATE) is None
    # No smooth raise of 30° stays above 5 °/s for a minute.
    assert start_ratio(1.0, math.radians(30), 60.0, GATE) is None
