"""Live: where the next set begins when the one before it ended without a rest as long as one that ends sets."""

import numpy as np
import pytest
from invented_reps import raises
from test_reps_counting import HZ, bumps, felt, poses, turning

from armarc.recording import Metadata, Recording
from live_runs import run, sets_in


@pytest.mark.parametrize(("pause_s", "every_s", "up_s"), [(2.0, 2.0, 0.9), (5.0, 1.6, 0.7)])
def test_slow_reps_soon_after_quick_movements_of_another_kind_all_count(pause_s, every_s, up_s):
    quick = bumps(3 + 5 * every_s + pause_s, [75] * 5, begin_s=3, every_s=every_s, up_s=up_s)
    slow = raises([90] * 5, up_s=2.5, down_s=2.5, still_s=0.5, after_s=14.0).angle_rad
    t = np.arange(len(quick)) / HZ
    turned = 60 * np.clip((t - 2) / 0.5, 0, 1) * np.clip((t[-1] - t) / 0.8, 0, 1)
    pose = poses(np.concatenate([quick, slow]), np.concatenate([turned, np.zeros(len(slow))]))
    made = Recording(
        time_s=np.arange(len(pose)) / HZ,
        specific_force_m_s2=felt(pose, 0.0),
        angular_velocity_rad_s=turning(pose),
        rate_hz=HZ,
        metadata=Metadata(exercise="lateral-raise", side="right"),
    )
    assert [len(one.reps) for one in sets_in(run(made))] == [5, 5]
