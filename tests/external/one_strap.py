"""Real raises recorded with one strap that goes round: from wrist to wrist, turned half round, from person to person.

Raises of ten people with the same watch on one wrist and then on the other (PyPI `seglearn`), and of three people with
a dumbbell (UCI 730, see the people data), with an invented rest between. What is measured of them together stands
beside what is measured of each part by itself, the rest cut in its middle.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation
from test_open_wrist_dataset import GRAVITY_M_S2, dataset
from test_open_wrist_dataset import recording as of_watch
from test_people_counts import FOLDER
from watch_lifts import attitude, smooth

import armarc
from armarc.recording import Recording
from live_runs import run, sets_in

REST_S, TURN_S = 9.0, 1.5


@dataclass(frozen=True)
class Worn:
    """Sets recorded and measured together, and each part alone."""

    recording: Recording
    together: armarc.Session
    alone: list

    @property
    def is_said(self):
        return any("lay otherwise on the arm" in words for words in self.together.warnings)

    @property
    def is_counted_live(self):
        """Whether a live stream of it ends with as many reps in every set as each part alone has."""
        exercise = self.together.sets[0].exercise
        live = sets_in(run(self.recording, exercise=exercise, side="right"))
        return [len(one.reps) for one in live] == [len(one.reps) for one in self.alone]

    @property
    def is_alike(self):
        """Whether every set has its reps, and start and range within a standard error."""
        sets = self.together.sets
        return len(sets) == len(self.alone) and all(map(_are_alike, sets, self.alone))


def measured(recording, exercise):
    return armarc.process(recording, exercise=exercise, side="right", kept=armarc.NOTHING_KEPT)


def _seen(one):
    """Size, then medians of start velocity and range of motion with their standard errors."""
    keys = ("start_velocity_rad_s", "start_velocity_se_rad_s", "rom_rad", "rom_se_rad")
    values = ([getattr(rep, key) for rep in one.reps if getattr(rep, key) is not None] for key in keys)
    return len(one.reps), *(float(np.median(each)) for each in values)


def _are_alike(one, other):
    reps, start, start_se, rom, rom_se = _seen(one)
    reps_too, start_too, _, rom_too, _ = _seen(other)
    return reps == reps_too and abs(start - start_too) < start_se and abs(rom - rom_too) < rom_se


def _rest(first, last, rate_hz):
    """An arm that rests, turns from one attitude of the sensor (its gravity) to another, and rests."""
    still = np.ones(round(REST_S * rate_hz))
    share = np.concatenate([0 * still, smooth(np.arange(0, 1, 1 / (TURN_S * rate_hz))), still])
    force, omega = turned(first, last, share, rate_hz)
    noise = np.random.default_rng(1).normal(size=(2, *force.shape))
    return force + 0.03 * noise[0], omega + 0.01 * noise[1]


def turned(first, last, share, rate_hz):
    """What a sensor reads that turns about itself, `share` of the way from where `first` is up to where `last` is."""
    turn = Rotation.align_vectors(last[None], first[None])[0].as_rotvec()
    force = GRAVITY_M_S2 * Rotation.from_rotvec(np.outer(share, turn)).apply(first)
    return force, -np.outer(np.gradient(share) * rate_hz, turn)


def joined(parts, rate_hz):
    force, omega = (np.concatenate(each) for each in zip(*parts, strict=True))
    time_s = np.arange(len(force)) / rate_hz
    return Recording(time_s=time_s, specific_force_m_s2=force, angular_velocity_rad_s=omega, rate_hz=rate_hz)


def _one_after_the_other(first, second, exercise):
    up = [
        attitude(measured(one, exercise))(one.time_s[at]).inv().apply([0.0, 0.0, 1.0])
        for one, at in ((first, -1), (second, 0))
    ]
    rate_hz = round(first.rate_hz)
    between = _rest(*up, rate_hz)
    half = len(between[0]) // 2
    before, after = (tuple(each[cut] for each in between) for cut in (slice(half), slice(half, None)))
    parts = [(one.specific_force_m_s2, one.angular_velocity_rad_s) for one in (first, second)]
    alone = [measured(joined(each, rate_hz), exercise) for each in ((parts[0], before), (after, parts[1]))]
    whole = joined((parts[0], between, parts[1]), rate_hz)
    return Worn(
        recording=whole,
        together=measured(whole, exercise),
        alone=[one for session in alone for one in session.sets],
    )


def from_wrist_to_wrist(subject, code, exercise):
    """Raises of a person of the open wrist dataset with one arm, then with the other."""
    data = dataset()
    picked = np.flatnonzero((np.asarray(data["subject"]) == subject) & (np.asarray(data["y"]) == code))
    first, second = (of_watch(k) for k in sorted(picked.tolist(), key=lambda k: data["side"][k]))
    return _one_after_the_other(first, second, exercise)


def of_person(number):
    file = FOLDER / f"dumbbell-lateral-raise.s{number}.wrist.csv.gz"
    return armarc.read_csv(file, kept=armarc.NOTHING_KEPT)


def from_person_to_person(first, second):
    """Dumbbell raises of one person, then of another."""
    return _one_after_the_other(of_person(first), of_person(second), "lateral-raise")


def turned_half_round(number, signs):
    """A person's dumbbell raises, the sensor turned half round (`signs` of its axes) before the last of three sets."""
    plain = of_person(number)
    sets = measured(plain, "lateral-raise").sets
    is_after = plain.time_s[:, None] > (sets[1].end_s + sets[2].start_s) / 2
    worn = replace(
        plain,
        specific_force_m_s2=plain.specific_force_m_s2 * np.where(is_after, signs, 1.0),
        angular_velocity_rad_s=plain.angular_velocity_rad_s * np.where(is_after, signs, 1.0),
    )
    return Worn(recording=worn, together=measured(worn, "lateral-raise"), alone=list(sets))
