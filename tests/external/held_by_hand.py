"""Real raises with real movement of another kind before, between and after them.

Dumbbell raises of three people (UCI 730, see the people data), and movement of a sensor led by hand: windows of the
BROAD orientation benchmark (Laidig et al. 2021, Data 6(7):72, CC BY 4.0; `orientation/` beside the people data): slow
and fast turning with breaks, slow shifting, tapping. The sensor is turned so that each window begins as the arm hangs;
rests and the turn back are invented.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from one_strap import joined, measured, of_person, turned
from scipy.spatial.transform import Rotation
from test_people_counts import FOLDER
from watch_lifts import attitude, smooth

import armarc
from armarc.recording import Recording

WINDOWS = FOLDER.parent / "orientation"
G_M_S2, WINDOWS_HZ, RATE_HZ = 9.80665, 285.7, 25
BESIDE_S, TURN_S = 1.2, 1.5
WAY = smooth(np.arange(0, 1, 1 / (TURN_S * RATE_HZ)))
LOOKED_AT = round(0.4 * RATE_HZ)
NONE = {"perhaps_no_rep", "another_exercise"}


@dataclass(frozen=True)
class Between:
    """Raises of a person as they were lifted, the same with movement of another kind between them, and when."""

    plain: armarc.Session
    recording: Recording
    session: armarc.Session
    lifted_s: list

    def _of(self, first_s, last_s):
        return [one for one in self.session.sets if first_s < (one.start_s + one.end_s) / 2 < last_s]

    @property
    def sizes(self):
        """Of the sets that were counted while each set was lifted."""
        return [[len(one.reps) for one in self._of(*each)] for each in self.lifted_s]

    @property
    def beside(self):
        """Sets counted where none was lifted, and how many of them are said to be perhaps none or something else."""
        lifted = [one for each in self.lifted_s for one in self._of(*each)]
        sets = [one for one in self.session.sets if one not in lifted]
        said = [one for one in sets if all(NONE & set(rep.quality) for rep in one.reps)]
        return len(sets), len(said)

    def differs(self, key):
        """By how much a measure's medians lie off those without the other movement, and its error, °(/s)."""
        found = []
        for each, alone in zip(self.lifted_s, self.plain.sets, strict=True):
            value, error = _medians(self._of(*each)[0], key)
            found.append((value - _medians(alone, key)[0], error))
        return found


def _medians(one, key):
    """Of a measure of a set's reps, and of its standard error."""
    unit = "rad_s" if "velocity" in key else "rad"
    values = ([getattr(rep, name) for rep in one.reps] for name in (f"{key}_{unit}", f"{key}_se_{unit}"))
    return tuple(
        float(np.degrees(np.median([value for value in each if value is not None]))) for each in values
    )


@cache
def among_other_movement(number, seed):
    """A person's three sets with one or two windows before, between and after them, drawn by seed."""
    rng = np.random.default_rng([number, seed])
    recording = of_person(number)
    plain = measured(recording, "lateral-raise")
    turns = attitude(plain)

    def up(sample):
        return turns(recording.time_s[sample]).inv().apply([0.0, 0.0, 1.0])

    parts, lifted_s, hung = [], [], None
    for one in plain.sets:
        ends = np.searchsorted(recording.time_s, [one.start_s - BESIDE_S, one.end_s + BESIDE_S])
        first, last = ends.clip(0, len(recording.time_s) - 1).tolist()
        parts.append(_other_movement(up(first) if hung is None else hung, up(first), rng))
        before_s = sum(len(each[0]) for each in parts) / RATE_HZ
        lifted_s.append((before_s, before_s + (last - first) / RATE_HZ))
        parts.append(
            (recording.specific_force_m_s2[first:last], recording.angular_velocity_rad_s[first:last])
        )
        hung = up(last - 1)
    parts.append(_other_movement(hung, hung, rng))
    whole = joined(parts, RATE_HZ)
    return Between(plain=plain, recording=whole, session=measured(whole, "lateral-raise"), lifted_s=lifted_s)


def _other_movement(first, last, rng):
    """Windows led by hand between two directions that are up in the sensor while the arm hangs."""
    parts = [_still(first, rng)]
    for _ in range(rng.integers(1, 3)):
        force, omega = _window(rng)
        begins, ends = (_direction(force[part]) for part in (slice(None, LOOKED_AT), slice(-LOOKED_AT, None)))
        turn = Rotation.from_rotvec(first * rng.uniform(0, 2 * np.pi)) * _least_turn(begins, first)
        parts += [
            (turn.apply(force), turn.apply(omega)),
            turned(turn.apply(ends), last, WAY, RATE_HZ),
            _still(last, rng),
        ]
        first = last
    return tuple(np.concatenate(each) for each in zip(*parts, strict=True))


def _window(rng):
    """8–20 s of a trial, averaged over a sample of the raises."""
    trial = np.load(rng.choice(sorted(WINDOWS.glob("*.npz"))))
    force, omega = (trial[name].astype(float) for name in ("acc_m_s2", "gyr_rad_s"))
    there_s = np.arange(len(force)) / WINDOWS_HZ
    lasts_s = min(there_s[-1] - 1, rng.uniform(8, 20))
    at_s = rng.uniform(0, there_s[-1] - lasts_s - 0.5) + np.arange(0, lasts_s, 1 / RATE_HZ)
    mean = np.full(round(WINDOWS_HZ / RATE_HZ), RATE_HZ / WINDOWS_HZ)
    return [
        np.stack([np.interp(at_s, there_s, np.convolve(column, mean, "same")) for column in each.T], axis=1)
        for each in (force, omega)
    ]


def _direction(force):
    mean = force.mean(axis=0)
    return mean / np.linalg.norm(mean)


def _least_turn(one, other):
    return Rotation.align_vectors(other[None], one[None])[0]


def _still(up, rng):
    noise = rng.normal(size=(2, round(rng.uniform(2, 6) * RATE_HZ), 3))
    return G_M_S2 * up + 0.05 * noise[0], 0.01 * noise[1]
