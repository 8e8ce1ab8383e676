"""A strap that is put on the other way round in a rest: counts and angles known by construction."""

from dataclasses import replace

import numpy as np
import pytest
from invented_reps import raises
from scipy.spatial.transform import Rotation
from test_counting_two_kinds import RATE_HZ, laid

from armarc.api import NOTHING_KEPT, process

SETS = [
    raises((top,) * n, up_s=1.2, hold_s=0.3, down_s=1.6, pause_s=0.4, still_s=8.0, after_s=8.0)
    for top, n in ((90.0, 8), (85.0, 6), (80.0, 7))
]


def worn(recording, turned):
    """The same with the sensor turned by half a turn about its z axis, across the arm, while `turned` says so."""
    signs = np.where(turned[:, None], [-1.0, -1.0, 1.0], 1.0)
    return replace(
        recording,
        specific_force_m_s2=recording.specific_force_m_s2 * signs,
        angular_velocity_rad_s=recording.angular_velocity_rad_s * signs,
    )


@pytest.mark.parametrize("turned_in", [(2,), (1,)])
def test_each_way_of_wearing_it_is_measured_by_itself(turned_in):
    recording = laid(*SETS)
    of_set = np.repeat(range(len(SETS)), [len(one.angle_rad) for one in SETS])
    session = process(
        worn(recording, np.isin(of_set, turned_in)), exercise="lateral-raise", kept=NOTHING_KEPT
    )
    assert [len(one.reps) for one in session.sets] == [8, 6, 7]
    tops_deg = [np.degrees(np.median([rep.top_rad for rep in one.reps])) for one in session.sets]
    assert tops_deg == pytest.approx([90, 85, 80], abs=2.0)
    assert [one.set for one in session.sets] == [1, 2, 3]
    arms = [session.motions[k].mounting.arm_axis for k in session.motion_of_set]
    assert [round(float(arm @ arms[0])) for arm in arms] == [-1 if k in turned_in else 1 for k in range(3)]
    changes = ", ".join(str(k + 1) for k in (1, 2) if (k in turned_in) != (k - 1 in turned_in))
    assert [words for words in session.warnings if f" {changes} on the sensor lay otherwise" in words]
    # Times go on over the whole recording.
    starts_s = [one.start_s for one in session.sets]
    plain = process(recording, exercise="lateral-raise", kept=NOTHING_KEPT)
    assert starts_s == pytest.approx([one.start_s for one in plain.sets], abs=0.05)
    assert len(plain.motions) == 1
    assert plain.motions[0].rate_hz == RATE_HZ


@pytest.mark.parametrize(("skewed_deg", "parts"), [(0.0, 1), (15.0, 2), (25.0, 2)])
@pytest.mark.parametrize("first_after", [1, 2])
def test_a_strap_that_is_turned_by_less_in_a_rest_is_seen_by_arm_and_hanging_pose(
    skewed_deg, parts, first_after
):
    recording = laid(*SETS)
    of_set = np.repeat(range(len(SETS)), [len(one.angle_rad) for one in SETS])
    after = (of_set >= first_after)[:, None]
    skew = Rotation.from_euler("zy", [skewed_deg, 0.2 * skewed_deg], degrees=True).as_matrix().T
    skewed = replace(
        recording,
        specific_force_m_s2=np.where(
            after, recording.specific_force_m_s2 @ skew, recording.specific_force_m_s2
        ),
        angular_velocity_rad_s=np.where(
            after, recording.angular_velocity_rad_s @ skew, recording.angular_velocity_rad_s
        ),
    )
    session = process(skewed, exercise="lateral-raise", kept=NOTHING_KEPT)
    assert [len(one.reps) for one in session.sets] == [8, 6, 7]
    assert len(session.motions) == parts
    tops_deg = [np.degrees(np.median([rep.top_rad for rep in one.reps])) for one in session.sets]
    assert tops_deg == pytest.approx([90, 85, 80], abs=2.0)
