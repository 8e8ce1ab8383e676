"""SPARC's own behaviour; published values are checked in tests/external."""

import numpy as np
import pytest
from invented_reps import ramp_rate

from armarc.reps.smoothness import sparc


def test_scale_and_duration_do_not_matter_but_a_stop_on_the_way_does():
    hz = 100.0
    one = ramp_rate(np.arange(0, 1, 0.01))
    two = ramp_rate(np.arange(0, 1, 0.005))
    assert sparc(7 * one, hz) == pytest.approx(sparc(one, hz), rel=1e-12)
    assert sparc(two, hz) == pytest.approx(sparc(one, hz), abs=0.01)
    stopped = np.concatenate([one, np.zeros(20), one])
    assert sparc(stopped, hz) < sparc(one, hz) - 0.3


@pytest.mark.parametrize("speed", [[], [1.0, 2.0, 1.0], [0.0] * 50])
def test_nothing_to_judge(speed):
    assert sparc(np.array(speed), 100.0) is None
