"""A lifter's own band: what it rests on, how sure it is, and that it is taken where its lifter is named."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from armarc.errors import FormatError
from armarc.exercises import Band
from armarc.kept import Kept, OwnBands, bands_path, load_own_bands, open_kept, save_own_bands
from armarc.log.own_band import own_band
from armarc.log.reading import LoggedSet
from armarc.measures import row_of
from armarc.options import MeasuringOptions
from armarc.recording import Metadata
from armarc.reps import Rep
from invented_log import MONDAY

GATE = (math.radians(10), math.radians(20))
BETWEEN, WITHIN, NOISE = 2.0, 4.0, 2.0
NORMAL_90 = 1.2815516
"""90 % point of the standard normal distribution (NIST/SEMATECH e-Handbook, table 1.3.6.7.1: 1.282)."""


def logged(number: int, session: int) -> LoggedSet:
    return LoggedSet(
        id=number, done_at=MONDAY, day=MONDAY.date(), session_id=session, session="", lifter="Ada",
        exercise="lateral-raise", variant="", side="right", load_kg=8.0, rir=None, rpe=None, pain=None, pain_place="",
        pain_at_deg=None, note="", reps=8,
        start_s=0.0, end_s=1.0, summary={}, measurement_id=number,
    )  # fmt: skip


RECORD = {
    "rep": 1,
    "start_velocity_deg_s_se": NOISE, "rom_deg": 80.0, "concentric_s": 1.4,
    "bottom_deg": 8.0, "top_deg": 88.0, "hold_s": 0.3, "eccentric_s": 2.0, "quality": [],
}  # fmt: skip
REP = row_of(Rep, RECORD)


def one_rep(start: float, quality: tuple[str, ...] = ()) -> Rep:
    return replace(REP, start_velocity_rad_s=math.radians(start), quality=quality)


def month(seed: int, sessions: int = 12, reps: int = 24):
    """Starts about 57 °/s that vary between sessions, within them, and by error of measuring."""
    rng = np.random.default_rng(seed)
    entries, found = [], {}
    for day in range(sessions):
        starts = 57 + rng.normal(0, BETWEEN) + rng.normal(0, math.hypot(WITHIN, NOISE), reps)
        entries.append(logged(day + 1, day))
        found[day + 1] = [one_rep(float(start)) for start in starts]
    return entries, found


def test_the_edges_are_those_of_the_lifter_and_their_errors_hold():
    edge = NORMAL_90 * math.hypot(BETWEEN, WITHIN)
    away, errors = [], []
    for seed in range(40):
        found = own_band(*month(seed), GATE).from_clean
        away += [found.low_deg_s - (57 - edge), found.high_deg_s - (57 + edge)]
        errors += [found.low_se_deg_s, found.high_se_deg_s]
    away, errors = np.array(away), np.array(errors)
    # Without taking out the error of measuring the edges would lie 0.55 °/s too far out.
    assert abs(np.mean(away * np.tile([-1, 1], 40))) < 0.25
    inside = [np.mean(np.abs(away) < k * errors) for k in (1, 2)]
    assert 0.55 <= inside[0] <= 0.8
    assert inside[1] >= 0.88


def test_reps_that_are_not_clean_take_no_part():
    entries, found = month(1)
    plain = own_band(entries, found, GATE)
    spoiled = {key: [*reps, one_rep(150.0, ("swung",))] for key, reps in found.items()}
    assert own_band(entries, spoiled, GATE) == plain
    assert plain.reps == 288
    assert plain.basis == "from 288 clean reps in 12 sessions"


def test_too_little_gives_no_band_and_says_what_lacks():
    entries, found = month(1, sessions=2)
    one = own_band(entries, found, GATE)
    assert one.from_clean is None
    assert one.missing == "48 clean reps in 2 sessions; 30 in 3 are needed"


def test_a_smooth_rep_passes_the_gate_as_a_minimum_jerk_raise_does():
    # Flash and Hogan 1985 (J Neurosci 5:1688): x = 10u³ − 15u⁴ + 6u⁵, here sampled finely from rest to rest, and its
    # concentric cut at 5 % of the peak as the measures are.
    entries, found = month(1)
    smooth = own_band(entries, found, GATE).from_smooth
    u = np.linspace(0, 1, 200_001)
    angle, rate = 80 * u**3 * (10 - 15 * u + 6 * u * u), 80 * 30 * u**2 * (1 - u) ** 2
    share = np.ptp(u[rate > 0.05 * rate.max()])
    duration = 1.4 / share
    passed = 10 / (duration * (np.interp(20, angle, u) - np.interp(10, angle, u)))
    assert smooth.low_deg_s == pytest.approx(passed, abs=0.5)
    assert smooth.high_deg_s == pytest.approx(passed, abs=0.5)


def test_a_kept_band_is_taken_for_its_lifter_and_exercise_alone(tmp_path):
    band = Band(math.radians(48), math.radians(66), "from 40 clean reps in 4 sessions")
    save_own_bands(OwnBands(bands={('An "A" na', "lateral-raise"): band}), tmp_path)
    kept = open_kept(tmp_path)
    assert load_own_bands(tmp_path).find('An "A" na', "lateral-raise").words == band.words

    def words(**stated):
        return kept.choices(
            Metadata(), MeasuringOptions.of({"exercise": "lateral-raise"} | stated)
        ).exercise.band.words

    assert words(lifter='An "A" na') == "own band 48-66 °/s from 40 clean reps in 4 sessions"
    assert words() == words(lifter="Ben") == "working band 45-70 °/s, no source"
    assert words(lifter='An "A" na', exercise="front-raise") == "working band 45-70 °/s, no source"
    assert words(lifter='An "A" na', band_deg_s=(50, 60)) == "working band 50-60 °/s, no source"
    # A result keeps what its band rests on, and measuring again from it does, too.
    chosen = kept.choices(Metadata(), MeasuringOptions(exercise="lateral-raise", lifter='An "A" na'))
    again = Kept().choices(Metadata(), MeasuringOptions.of_record(chosen.options().record()))
    assert again.exercise.band.words == band.words


def test_a_damaged_file_is_named(tmp_path):
    bands_path(tmp_path).write_text("[Anna]\nlateral-raise = 3\n")
    with pytest.raises(FormatError, match="under a lifter and an exercise"):
        load_own_bands(tmp_path)
