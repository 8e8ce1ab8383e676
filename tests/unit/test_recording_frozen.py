"""A sensor that repeats one sample leaves a gap, and it is said; one that rests does not."""

from dataclasses import replace

import numpy as np
import pytest

from armarc.api import NOTHING_KEPT, process
from armarc.recording import without_frozen
from armarc.simulate import draw_options, plan_session, simulate_session


@pytest.fixture(scope="module")
def lifted():
    return simulate_session(plan_session(draw_options("rigid", 21), 21), 21)


def frozen_at(recording, begin_s, lasting_s):
    """The sample at an instant, over and over, in place of those that follow."""
    first, stop = np.searchsorted(recording.time_s, (begin_s, begin_s + lasting_s))
    force, turning = recording.specific_force_m_s2.copy(), recording.angular_velocity_rad_s.copy()
    force[first:stop], turning[first:stop] = force[first], turning[first]
    return replace(recording, specific_force_m_s2=force, angular_velocity_rad_s=turning)


def test_a_recording_that_repeats_nothing_is_the_same(lifted):
    recording, _ = lifted
    assert without_frozen(recording) == (recording, ())


@pytest.mark.parametrize("lasting_s", [0.5, 3.0])
def test_what_is_repeated_in_the_middle_of_a_rep_is_a_gap(lifted, lasting_s):
    recording, truth = lifted
    rep = truth.sets[0].reps[2]
    begin_s = 0.5 * (rep.start_s + rep.top_start_s)
    left, said = without_frozen(frozen_at(recording, begin_s, lasting_s))
    assert len(recording.time_s) - len(left.time_s) == pytest.approx(lasting_s * recording.rate_hz, abs=2)
    assert np.diff(left.time_s).max() == pytest.approx(lasting_s, abs=2 / recording.rate_hz)
    assert len(said) == 1
    assert f"{lasting_s:.1f} s" in said[0]


def test_the_set_goes_on_over_it(lifted):
    recording, truth = lifted
    rep = truth.sets[0].reps[2]
    session = process(frozen_at(recording, rep.top_start_s - 0.3, 0.5), kept=NOTHING_KEPT)
    assert [len(one.reps) for one in session.sets] == [len(one.reps) for one in truth.sets]
    assert any("repeated one sample" in each for each in session.warnings)


def test_a_rest_without_noise_stays(lifted):
    """The same again and again, from which the arm sets off gently, is what was there."""
    recording, truth = lifted
    begin_s = truth.sets[0].reps[-1].end_s + 0.5
    assert without_frozen(frozen_at(recording, begin_s, 0.6))[1] == ()


def test_a_slow_stream_written_at_a_higher_rate_stays(lifted):
    recording, _ = lifted
    held = (np.arange(len(recording.time_s)) // 8) * 8  # 0.08 s at 100 Hz
    force, turning = recording.specific_force_m_s2[held], recording.angular_velocity_rad_s[held]
    slow = replace(recording, specific_force_m_s2=force, angular_velocity_rad_s=turning)
    assert without_frozen(slow)[1] == ()
