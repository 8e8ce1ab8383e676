"""How firm instants are: where θ̇ passes its level steeply, where it creeps, and what a mean rate has of it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_motion import motion_of
from invented_reps import raises

from armarc.motion.tolerance import Tolerance
from armarc.reps.body import RIGID
from armarc.reps.instant_errors import (
    AT_THE_TOP,
    ELBOW_GIVES_AT_TOP_RAD_S,
    ELBOW_GIVES_RAD_S,
    ELSEWHERE_S,
    INSTANT_FLOOR_S,
    RATE_FLOOR_RAD_S,
    RATE_PER_SCALE_RAD_S,
    STEPS,
    UNSEEN_IN_RATE,
    instant_errors,
    moved_level,
    slow_rate_se,
    step_se,
)
from armarc.reps.phases import find_instants
from armarc.reps.uncertainty import SHOULDER_MOST, WOBBLE_RATE_RAD_S, angle_errors

RATE_HZ = 100.0
POOR = Tolerance(gyroscope=0.01, accelerometer=0.02)
PEAK, LEVEL, SECONDS = 1.6, math.radians(5), 1.4


def errors_of(motion, *, method="lever_arm", tolerance=POOR, body=RIGID, **mounting):
    given = replace(motion, tolerance=tolerance, mounting=replace(motion.mounting, method=method, **mounting))
    return replace(angle_errors(given), body=body)


def slow(errors, at=50.4, *, is_top=False):
    return slow_rate_se(errors, at, (PEAK, LEVEL), SECONDS * errors.rate_hz, is_top=is_top)


def test_the_steps_have_the_variance_of_a_normal_error():
    assert sum(step**2 for step in STEPS) / (len(STEPS) + 1) == pytest.approx(1.0, abs=0.01)
    assert sum(STEPS) == pytest.approx(0, abs=1e-12)


def test_the_rate_near_a_rest_has_its_errors_from_sensor_body_and_strap():
    """Straight from the figures, each by itself."""
    motion = motion_of(raises())
    sensor = RATE_FLOOR_RAD_S + RATE_PER_SCALE_RAD_S * POOR.gyroscope
    unseen = math.hypot(UNSEEN_IN_RATE * PEAK, ELBOW_GIVES_RAD_S)

    def expected(error):
        return pytest.approx(math.hypot(sensor, unseen, error), rel=1e-6)

    assert slow(errors_of(motion)) == expected(0.0)
    assert slow(errors_of(motion), is_top=True) == pytest.approx(
        math.hypot(AT_THE_TOP * sensor, UNSEEN_IN_RATE * PEAK, ELBOW_GIVES_AT_TOP_RAD_S), rel=1e-6
    )
    wobble = math.radians(0.7)
    assert slow(errors_of(motion, body=replace(RIGID, wobble_rad=wobble))) == expected(
        WOBBLE_RATE_RAD_S * wobble
    )
    bent = replace(RIGID, short_share=0.1)
    half_cosine = math.pi / math.sqrt(8)
    assert bent.doubt_rad > math.radians(1)
    assert slow(errors_of(motion, body=bent)) == expected(half_cosine * 0.1 * LEVEL)
    moving = replace(RIGID, signs=replace(RIGID.signs, shoulder_share=1.0))
    assert slow(errors_of(motion, body=moving)) == expected(SHOULDER_MOST * PEAK)
    assert slow(errors_of(motion, body=moving), is_top=True) == slow(errors_of(motion), is_top=True)
    left = replace(RIGID, signs=replace(RIGID.signs, unexplained_share=0.2))
    assert left.unexplained_rad > 0
    assert slow(errors_of(motion, body=left)) == expected(half_cosine * left.unexplained_rad / SECONDS)


def test_an_elbow_gives_only_between_the_arm_line_and_a_sensor_at_the_wrist():
    """Above the elbow there is none between, and an angle of the sensor's own turning is no arm line's."""
    errors = errors_of(motion_of(raises()))
    given = math.sqrt(slow(errors) ** 2 - ELBOW_GIVES_RAD_S**2)
    assert slow(replace(errors, body=replace(RIGID, above_elbow=True))) == pytest.approx(given, rel=1e-6)
    assert slow(replace(errors, has_zero=False)) == pytest.approx(given, rel=1e-6)


def test_the_rate_of_an_arm_that_was_not_fitted_hangs_on_its_direction():
    # Raised past the vertical from 3° on the other side, as a hanging pose taken for the arm's direction does.
    motion = motion_of(raises(bottom_deg=3), tilt_rad=0.0)
    perfect = Tolerance(gyroscope=0.0, accelerometer=0.0)
    sure = errors_of(motion, method="hanging", tolerance=perfect, uncertainty_rad=0.0)
    unsure = errors_of(motion, method="hanging", tolerance=perfect, uncertainty_rad=math.radians(8))
    fitted = errors_of(motion, tolerance=perfect, uncertainty_rad=math.radians(8))
    unseen = math.hypot(UNSEEN_IN_RATE * PEAK, ELBOW_GIVES_RAD_S)
    own = [math.sqrt(slow(one, 110.0) ** 2 - unseen**2) for one in (unsure, sure)]
    assert own[0] > 10 * own[1]
    assert slow(fitted, 110.0) == slow(sure, 110.0)


def test_a_mark_a_tenth_of_the_range_from_the_top_is_far_surer_than_the_range():
    motion = motion_of(raises(), tilt_rad=0.0)
    bent = errors_of(motion, body=replace(RIGID, short_share=0.1))
    top = int(motion.angle_rad.argmax())
    mark = int(np.argmax(motion.angle_rad > 0.9 * motion.angle_rad[top]))
    assert 0 < step_se(bent, top, mark) < 0.2 * bent.of_range(top, 0.0)


def test_an_arm_that_rests_is_seen_to_rest():
    assert moved_level(LEVEL, 0.5) == pytest.approx(LEVEL + 0.5)
    assert 0 < moved_level(LEVEL, -10.0) < 0.01 * LEVEL
    small = 1e-4
    assert moved_level(LEVEL, -small) == pytest.approx(LEVEL - small, abs=small**2 / LEVEL * 1.01)


def held(sinks_deg_s, hold_s):
    """Angle and rate of a rep whose hold sinks evenly."""
    way = np.concatenate([np.linspace(0, 90, 25), np.full(60, 90.0), np.linspace(90, 0, 25)])
    lowered = -way
    lowered[:25] = np.minimum(lowered[:25], -sinks_deg_s)
    held_at = np.full(int(hold_s * RATE_HZ), -sinks_deg_s)
    rates = np.concatenate([np.zeros(200), way, held_at, lowered, np.zeros(200)])
    return np.radians(np.cumsum(rates) / RATE_HZ), np.radians(rates)


def firmness(sinks_deg_s, hold_s=1.5, rate_se_deg_s=0.5, range_se_deg=0.5):
    """Errors of the instants of `held` with nothing but an error of θ̇ near a rest."""
    angle, rate = held(sinks_deg_s, hold_s)
    top, stop = int(angle.argmax()), len(angle)
    at = find_instants(angle, rate, 0, top, stop, RATE_HZ)
    motion = motion_of(raises(), tilt_rad=0.0)
    wobble = math.radians(rate_se_deg_s) / WOBBLE_RATE_RAD_S
    errors = replace(
        errors_of(motion, body=replace(RIGID, wobble_rad=wobble)),
        angle_rad=angle,
        rate_hz=RATE_HZ,
        has_zero=False,
    )
    return at, instant_errors(angle, rate, (0, top, stop), at, errors, math.radians(range_se_deg), 0.0)


def test_where_the_arm_stops_briskly_an_instant_is_off_by_its_rates_error_over_the_slope():
    _, firm = firmness(0.0)
    slope_deg_s2 = 90 / 24 * RATE_HZ
    unseen = UNSEEN_IN_RATE * 90
    sensor = AT_THE_TOP * math.degrees(RATE_FLOOR_RAD_S + RATE_PER_SCALE_RAD_S * POOR.gyroscope)
    wanted = math.hypot(0.5, unseen, sensor) / slope_deg_s2
    assert firm.se_s[1] == pytest.approx(math.hypot(wanted, INSTANT_FLOOR_S), rel=0.25)
    assert not firm.is_undetermined
    assert max(firm.se_s) < 0.02


@pytest.mark.parametrize("sinks_deg_s", [4.7, 5.3])
def test_a_hold_that_sinks_at_the_level_may_as_well_end_when_it_begins(sinks_deg_s):
    at, firm = firmness(sinks_deg_s)
    hold_s = (at.top_end - at.top_start) / RATE_HZ
    assert hold_s == pytest.approx(1.5 if sinks_deg_s < 5 else 0.0, abs=0.1)
    assert firm.is_undetermined
    # It lies 1.5 s away with a probability of a fifth or two: √(p)·1.5 s.
    assert math.sqrt(0.2) * 1.4 < firm.se_s[2] < math.sqrt(0.4) * 1.6
    assert firm.se_s[1] < ELSEWHERE_S
    # A mean rate is between those of the two ways to see it, and so is its error.
    down_s = (at.end - at.top_end) / RATE_HZ
    travelled = 90 * 0.85
    other_s = down_s + 1.5 if sinks_deg_s < 5 else down_s - 1.5
    between = abs(travelled / down_s - (travelled + (7.5 if sinks_deg_s < 5 else -7.5)) / other_s)
    assert 0.3 * between < math.degrees(firm.mean_down_rad_s) < 0.8 * between


@pytest.mark.parametrize("sinks_deg_s", [1.0, 12.0])
def test_a_hold_that_plainly_holds_or_sinks_is_determined(sinks_deg_s):
    _, firm = firmness(sinks_deg_s)
    assert not firm.is_undetermined
    assert max(firm.se_s) < 0.1


def test_a_sink_past_the_mark_ends_the_hold_where_it_passes_or_later():
    """A tenth of the way down is 8.65°: an arm that sinks farther is held until it passes that, wherever it is."""
    at, firm = firmness(2.5, 4.0, rate_se_deg_s=0.1, range_se_deg=15)
    by_mark, by_level = np.abs(firm.apart_s[2, : len(STEPS)]), np.abs(firm.apart_s[2, len(STEPS) :])
    assert (at.top_end - at.top_start) / RATE_HZ == pytest.approx(0.1 * 86.5 / 2.5, abs=0.1)
    assert by_mark.max() > 0.1 > by_level.max()


@pytest.mark.parametrize(("top_deg", "within_reach"), [(90.0, False), (150.0, False), (172.0, True)])
def test_beside_the_vertical_the_hold_begins_as_unsure_as_the_last_part_of_the_way_takes(
    top_deg, within_reach
):
    """Elevation falls again behind it: an arm that points 6° elsewhere is there as much earlier or later."""
    motion = motion_of(raises((top_deg,)))
    angle, rate = motion.angle_rad, motion.angle_rate_rad_s
    span = 0, int(angle.argmax()), len(angle)
    at = find_instants(angle, rate, *span, motion.rate_hz)
    sure, unsure = (
        instant_errors(angle, rate, span, at, errors_of(motion), math.radians(0.5), math.radians(se)).se_s
        for se in (0.0, 6.0)
    )
    assert sure[::3] == unsure[::3]
    last_s = (at.top_start - np.argmax(angle > math.radians(top_deg - 6.0))) / motion.rate_hz
    assert last_s > 0.1
    wanted = math.hypot(sure[1], last_s) if within_reach else sure[1]
    assert unsure[1] == pytest.approx(wanted, abs=0.01)
    assert unsure[2] == pytest.approx(unsure[1], abs=0.02)


@pytest.mark.parametrize(("lasts_s", "is_shaking"), [(0.1, True), (0.6, False)])
def test_a_short_stop_on_the_way_down_may_be_the_strap_that_shook(lasts_s, is_shaking):
    """An arm that sinks at 8 °/s is lowered from there on; where it stops for long, it is held until then."""
    angle, rate = held(8.0, 1.5)
    top = int(angle.argmax())
    stops = slice(top + 60, top + 60 + round(lasts_s * RATE_HZ))
    rate[stops] = math.radians(-1.0)
    angle = np.cumsum(rate) / RATE_HZ
    at = find_instants(angle, rate, 0, top, len(angle), RATE_HZ)
    assert at.top_end == pytest.approx(stops.stop, abs=1.5)
    errors = replace(
        errors_of(motion_of(raises(), tilt_rad=0.0)), angle_rad=angle, rate_hz=RATE_HZ, has_zero=False
    )
    firm = instant_errors(angle, rate, (0, top, len(angle)), at, errors, math.radians(0.5), 0.0)
    assert firm.is_undetermined == is_shaking
    if is_shaking:
        apart_s = (at.top_end - at.top_start) / RATE_HZ
        assert firm.se_s[2] == pytest.approx(math.sqrt(0.4) * apart_s, rel=0.2)
