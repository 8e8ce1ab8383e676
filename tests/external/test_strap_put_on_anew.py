"""Real raises before and after the strap was put on otherwise: as each would be measured in a recording of its own.

Dumbbell raises of people (UCI 730, see the people data), the sensor turned half round between sets; raises of one
person with the same watch on one wrist, then on the other (PyPI `seglearn`), with an invented rest between.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from test_open_wrist_dataset import GRAVITY_M_S2, dataset
from test_open_wrist_dataset import recording as of_watch
from test_people_counts import FOLDER
from watch_lifts import attitude, smooth

import armarc
from armarc.recording import Recording
from grids import seldom

REST_S, TURN_S, RATE_HZ = 9.0, 1.5, 50.0


def measured(recording, exercise):
    return armarc.process(recording, exercise=exercise, side="right", kept=armarc.NOTHING_KEPT)


def seen(one):
    """Size, then medians of start velocity and range of motion with their standard errors."""
    keys = ("start_velocity_rad_s", "start_velocity_se_rad_s", "rom_rad", "rom_se_rad")
    values = ([getattr(rep, key) for rep in one.reps if getattr(rep, key) is not None] for key in keys)
    return len(one.reps), *(float(np.median(each)) for each in values)


def are_alike(one, other):
    """Whether two looks at a set agree within a standard error."""
    reps, start, start_se, rom, rom_se = seen(one)
    reps_too, start_too, _, rom_too, _ = seen(other)
    return reps == reps_too and abs(start - start_too) < start_se and abs(rom - rom_too) < rom_se


def rest(first, last):
    """An arm that rests, turns from one attitude of the sensor (its gravity) to another, and rests."""
    turn = Rotation.align_vectors(last[None], first[None])[0].as_rotvec()
    still = np.tile([0.0, 1.0], (round(REST_S * RATE_HZ), 1))
    way = smooth(np.arange(0, 1, 1 / (TURN_S * RATE_HZ)))
    share = np.concatenate([0 * still[:, 0], way, still[:, 1]])
    force = GRAVITY_M_S2 * Rotation.from_rotvec(np.outer(share, turn)).apply(first)
    omega = -np.outer(np.gradient(share) * RATE_HZ, turn)
    noise = np.random.default_rng(1).normal(size=(2, *force.shape))
    return force + 0.03 * noise[0], omega + 0.01 * noise[1]


def joined(*parts):
    force, omega = (np.concatenate(each) for each in zip(*parts, strict=True))
    return Recording(
        time_s=np.arange(len(force)) / RATE_HZ,
        specific_force_m_s2=force,
        angular_velocity_rad_s=omega,
        rate_hz=RATE_HZ,
    )


@pytest.mark.parametrize(
    ("subject", "code", "exercise"),
    [(3, 1, "lateral-raise"), *seldom((8, 2, "front-raise"), (10, 1, "lateral-raise"))],
)
def test_a_watch_that_goes_to_the_other_wrist_is_measured_there(subject, code, exercise):
    """Fitted together, none of 20 such pairs of people came out as alone (starts up to 100 °/s off)."""
    data = dataset()
    picked = np.flatnonzero((np.asarray(data["subject"]) == subject) & (np.asarray(data["y"]) == code))
    wrists = [of_watch(k) for k in sorted(picked, key=lambda k: data["side"][k])]
    assert len(wrists) == 2
    up = [
        attitude(measured(one, exercise))(one.time_s[at]).inv().apply([0.0, 0.0, 1.0])
        for one, at in zip(wrists, (-1, 0), strict=True)
    ]
    parts = [(one.specific_force_m_s2, one.angular_velocity_rad_s) for one in wrists]
    between = rest(*up)
    half = len(between[0]) // 2
    before, after = (tuple(each[cut] for each in between) for cut in (slice(half), slice(half, None)))
    alone = [measured(joined(parts[0], before), exercise), measured(joined(after, parts[1]), exercise)]
    both = measured(joined(parts[0], between, parts[1]), exercise)
    assert any("lay otherwise on the arm" in words for words in both.warnings)
    wanted = [one for session in alone for one in session.sets]
    assert len(both.sets) == len(wanted)
    assert all(are_alike(one, other) for one, other in zip(both.sets, wanted, strict=True))


@pytest.mark.skipif(not FOLDER.is_dir(), reason="the recordings of people are not beside the project")
@pytest.mark.parametrize("number", [3, *seldom(2)])
def test_a_sensor_turned_half_round_before_the_last_set_is_measured_as_it_lies(number):
    file = FOLDER / f"dumbbell-lateral-raise.s{number}.wrist.csv.gz"
    plain = armarc.read_csv(file, kept=armarc.NOTHING_KEPT)
    sets = measured(plain, "lateral-raise").sets
    signs = np.where(plain.time_s[:, None] > (sets[1].end_s + sets[2].start_s) / 2, [-1.0, -1.0, 1.0], 1.0)
    turned = replace(
        plain,
        specific_force_m_s2=plain.specific_force_m_s2 * signs,
        angular_velocity_rad_s=plain.angular_velocity_rad_s * signs,
    )
    session = measured(turned, "lateral-raise")
    assert [len(one.reps) for one in session.sets] == [10, 10, 10]
    assert all(are_alike(one, other) for one, other in zip(session.sets, sets, strict=True))
