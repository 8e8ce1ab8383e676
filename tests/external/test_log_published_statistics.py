"""Statistics of the log against published tables and against SciPy and R."""

import numpy as np
import pytest
from scipy import stats

from armarc.log.both_arms import asymmetry, symmetry_index
from armarc.log.effects import hedges_correction, independent_effect, noncentrality_interval, paired_effect
from armarc.log.fatigue import fatigue_of
from armarc.log.repeatability import (
    detectable_change,
    intraclass,
    mean_squares,
    paired_error,
    smallest_worthwhile,
)
from armarc.log.smoothing import lowess
from armarc.log.trend import error_from_neighbours
from armarc.measures import row_of
from armarc.reps import Rep

# Shrout and Fleiss 1979, Psychol Bull 86:420-428, table 2: six targets rated by four judges.
SHROUT_FLEISS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
)

# The data set `cars` of R (speed, stopping distance; Ezekiel 1930).
CARS_SPEED = np.array(
    [4, 4, 7, 7, 8, 9, 10, 10, 10, 11, 11, 12, 12, 12, 12, 13, 13, 13, 13, 14, 14, 14, 14, 15, 15, 15, 16, 16, 17, 17,
     17, 18, 18, 18, 18, 19, 19, 19, 20, 20, 20, 20, 20, 22, 23, 24, 24, 24, 24, 25], float)  # fmt: skip
CARS_DISTANCE = np.array(
    [2, 10, 4, 22, 16, 10, 18, 26, 34, 17, 28, 14, 20, 24, 28, 26, 34, 34, 46, 26, 36, 60, 80, 20, 26, 54, 32, 40, 32,
     40, 50, 42, 56, 76, 84, 36, 46, 68, 32, 48, 52, 56, 64, 66, 54, 70, 92, 93, 120, 85], float)  # fmt: skip


def test_typical_error_of_hopkins():
    # Hopkins 2000, Sports Med 30:1-15: five subjects twice; SD of the differences 4.1, typical error 2.9.
    found = paired_error([62, 78, 81, 55, 66], [67, 76, 87, 55, 63])
    assert found.sd_change == pytest.approx(4.1, abs=0.05)
    assert found.typical_error == pytest.approx(2.9, abs=0.05)
    # Recomputed digits of the same table.
    assert found.typical_error == pytest.approx(2.890, abs=5e-4)
    assert found.cv_pct == pytest.approx(4.19, abs=5e-3)
    assert (found.limits[1] - found.limits[0]) / 2 == pytest.approx(8.01, abs=5e-3)
    assert found.detectable == pytest.approx(8.01, abs=5e-3)


def test_typical_error_interval_and_bias_against_scipy():
    rng = np.random.default_rng(3)
    first = rng.normal(80, 5, 24)
    second = first + rng.normal(0.5, 2, 24)
    found = paired_error(first, second)
    test = stats.ttest_rel(second, first)
    assert found.bias / (found.sd_change / np.sqrt(24)) == pytest.approx(test.statistic)
    variance = stats.chi2(23)
    assert found.typical_error_low == pytest.approx(found.typical_error * np.sqrt(23 / variance.ppf(0.975)))
    assert found.typical_error_high == pytest.approx(found.typical_error * np.sqrt(23 / variance.ppf(0.025)))


def test_limits_of_agreement_of_bland_and_altman():
    # Bland and Altman 1986, Lancet 327:307: peak flow of 17 people by two meters; mean difference −2.1, SD 38.8
    # l/min, limits −79.7 and 75.5 with 2 SD (from memory); 1.96 SD are used here.
    wright = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    found = paired_error(mini, wright)
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd_change == pytest.approx(38.8, abs=0.05)
    assert found.limits[0] == pytest.approx(-2.1 - 1.96 * 38.8, abs=0.15)
    # The same paper: 95 % interval of a limit is ± t·√(3/n)·SD, here about 34 l/min.
    assert found.limit_half_width == pytest.approx(2.12 * np.sqrt(3 / 17) * 38.8, abs=0.2)


def test_mean_squares_and_intraclass_correlations_of_shrout_and_fleiss():
    # Table 3: BMS 11.24, JMS 32.49, EMS 1.02, WMS 6.26.
    ms = mean_squares(SHROUT_FLEISS)
    assert ms.between == pytest.approx(11.24, abs=0.005)
    assert ms.trial == pytest.approx(32.49, abs=0.005)
    assert ms.error == pytest.approx(1.02, abs=0.005)
    assert ms.within == pytest.approx(6.26, abs=0.005)
    # Table 4: .17, .29, .71.
    icc = intraclass(SHROUT_FLEISS)
    assert icc["1,1"].value == pytest.approx(0.17, abs=0.005)
    assert icc["2,1"].value == pytest.approx(0.29, abs=0.005)
    assert icc["3,1"].value == pytest.approx(0.71, abs=0.005)
    # Intervals as the R package psych prints them for the same table (from memory).
    assert (icc["1,1"].low, icc["1,1"].high) == pytest.approx((-0.133, 0.723), abs=1e-3)
    assert (icc["2,1"].low, icc["2,1"].high) == pytest.approx((0.019, 0.761), abs=1e-3)
    assert (icc["3,1"].low, icc["3,1"].high) == pytest.approx((0.342, 0.946), abs=1e-3)


def test_analysis_of_variance_against_scipy():
    ms = mean_squares(SHROUT_FLEISS)
    assert ms.between / ms.within == pytest.approx(stats.f_oneway(*SHROUT_FLEISS).statistic)


def test_smallest_worthwhile_change_leaves_the_noise_out():
    # Hopkins 2000: 0.2 of the pure between-subject SD.
    assert smallest_worthwhile(5.0, 3.0) == pytest.approx(0.2 * 4.0)
    assert smallest_worthwhile(2.0, 3.0) == 0.0
    # Weir 2005, J Strength Cond Res 19:231 (from memory): minimal difference = SEM·1.96·√2.
    assert detectable_change(1.0) == pytest.approx(1.96 * np.sqrt(2), rel=1e-4)


def test_lowess_of_cleveland_as_r_computes_it():
    # Cleveland 1979, J Am Stat Assoc 74:829; `lowess(cars)` of R (values from memory).
    smooth = lowess(CARS_SPEED, CARS_DISTANCE)
    want = {0: 4.965459, 2: 13.124495, 4: 15.858633, 5: 18.579691, 6: 21.280313, 9: 24.129277, 11: 27.119549,
            15: 30.027276, 19: 32.962506, 23: 36.757728, 26: 40.435075, 28: 43.463492, 31: 46.885479, 35: 50.793152,
            38: 56.491224, 43: 67.585824, 44: 73.079695, 45: 78.643164, 49: 84.328698}  # fmt: skip
    for place, value in want.items():
        assert smooth[place] == pytest.approx(value, abs=1e-5), place


def test_effect_intervals_against_scipy():
    rng = np.random.default_rng(5)
    first = rng.normal(50, 4, 12)
    second = first + rng.normal(2, 3, 12)
    found = paired_effect(first, second)
    interval = stats.ttest_rel(second, first).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high))
    assert found.p == pytest.approx(stats.ttest_rel(second, first).pvalue)
    free = independent_effect(first, second)
    interval = stats.ttest_ind(second, first, equal_var=False).confidence_interval(0.95)
    assert (free.low, free.high) == pytest.approx((interval.low, interval.high))


@pytest.mark.parametrize(("t", "df"), [(2.0, 10), (-1.3, 4), (0.0, 30), (12.0, 60), (-25.0, 8)])
def test_noncentral_interval_against_scipy(t, df):
    low, high = noncentrality_interval(t, df)
    assert stats.nct(df, low).sf(t) == pytest.approx(0.025, abs=1e-6)
    assert stats.nct(df, high).cdf(t) == pytest.approx(0.025, abs=1e-6)


def test_hedges_correction():
    # Hedges 1981, J Educ Stat 6:107, table of c(m): c(10) = .9228, c(50) = .9849 (from memory).
    assert hedges_correction(10) == pytest.approx(0.9228, abs=1.5e-4)
    assert hedges_correction(50) == pytest.approx(0.9849, abs=1.5e-4)
    # The usual approximation 1 − 3/(4m − 1).
    assert hedges_correction(20) == pytest.approx(1 - 3 / 79, abs=2e-4)


def test_asymmetry_formulas():
    # Robinson et al. 1987 (formula from memory), on round numbers.
    assert symmetry_index(90, 110) == pytest.approx(20)
    assert symmetry_index(110, 90) == pytest.approx(-20)


def test_asymmetry_interval_against_scipy():
    left, right = np.array([50.0, 52, 49, 51, 50]), np.array([53.0, 52, 54, 53, 52])
    found = asymmetry(left, right)
    index = 200 * (right - left) / (right + left)
    interval = stats.ttest_1samp(index, 0).confidence_interval(0.95)
    assert (found.low_pct, found.high_pct) == pytest.approx((interval.low, interval.high))


def test_velocity_loss_of_sanchez_medina_and_gonzalez_badillo():
    # 2011, Med Sci Sports Exerc 43:1725: loss = 100·(fastest − last)/fastest.
    speeds = [60.0, 62.0, 58.0, 49.0, 46.5]
    reps = [
        row_of(Rep, {"rep": i + 1, "mean_concentric_deg_s": v, "rom_deg": 80.0}) for i, v in enumerate(speeds)
    ]
    found = fatigue_of(reps, stop_at_pct=20)
    assert found.velocity_loss_set_pct == pytest.approx(25.0)
    assert found.stop_after_rep == 4
    assert found.rom_loss_pct == (0.0,) * 5


def test_error_of_neighbours_against_the_known_noise():
    # von Neumann 1941, Ann Math Stat 12:367: half the mean square successive difference estimates the variance. What
    # is held at three robust SDs costs a few per cent of it.
    rng = np.random.default_rng(11)
    n, rounds = 12, 4000
    noise = rng.normal(0, 2.0, (rounds, n))
    plain = np.mean(np.diff(noise) ** 2) / 2
    assert plain == pytest.approx(4.0, rel=0.03)
    squares = np.array([error_from_neighbours(one) ** 2 for one in noise])
    assert squares.mean() == pytest.approx(4.0, rel=0.08)
    noise[:, 5] += 30.0
    assert np.median([error_from_neighbours(one) for one in noise]) < 2 * 2.0
