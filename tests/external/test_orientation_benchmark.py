"""Inclination against optical truth: windows of the BROAD benchmark, beside independent filters in the same run.

Laidig, Caruso, Cereatti, Seel 2021, "BROAD – A Benchmark for Robust Inertial Orientation Estimation", Data 6(7):72,
doi 10.3390/data6070072 (CC BY 4.0). Measure: inclination RMSE over tracked movement samples. The filters beside are
`vqf` (Laidig and Seel 2023, "VQF: Highly accurate IMU orientation estimation with bias estimation and magnetic
disturbance rejection", Information Fusion 91:187) and those of `ahrs`.
"""

from pathlib import Path

import numpy as np
import pytest

from armarc.motion import quaternions
from armarc.motion.causal import start, step
from armarc.motion.orientation import estimate_orientation
from turns import inclination

FOLDER = Path(__file__).parents[2].parent / "shared" / "datasets" / "orientation"
WINDOWS = sorted(FOLDER.glob("*.npz")) if FOLDER.is_dir() else []
pytestmark = pytest.mark.skipif(
    not WINDOWS, reason="the windows of the BROAD benchmark are not beside the project"
)


class Window:
    def __init__(self, path):
        with np.load(path) as data:
            self.omega = np.ascontiguousarray(data["gyr_rad_s"], dtype=float)
            self.force = np.ascontiguousarray(data["acc_m_s2"], dtype=float)
            self.truth = data["opt_quat_wxyz"].astype(float)
            self.moving = data["movement"] & np.isfinite(self.truth).all(axis=1)
            self.rate_hz = float(data["rate_hz"])

    def cuts(self, length_s):
        n = round(length_s * self.rate_hz)
        for first in range(0, len(self.omega) - n + 1, n):
            if self.moving[first : first + n].mean() > 0.3:
                yield slice(first, first + n)

    def rmse_deg(self, estimate, cut=slice(None), bias_deg_s=0.0):
        omega, force = self.omega[cut] + np.radians(bias_deg_s), self.force[cut]
        q = estimate(omega, force, self.rate_hz)
        here = self.moving[cut]
        error = inclination(quaternions.multiply(q[here], quaternions.conjugate(self.truth[cut][here])))
        return float(np.degrees(np.sqrt(np.mean(error**2))))


def vqf_offline(omega, force, rate_hz):
    vqf = pytest.importorskip("vqf")
    return vqf.offlineVQF(omega, force, None, 1.0 / rate_hz)["quat6D"]


def vqf_real_time(omega, force, rate_hz):
    vqf = pytest.importorskip("vqf")
    return vqf.VQF(1.0 / rate_hz).updateBatch(omega, force)["quat6D"]


def live(omega, force, rate_hz):
    state, out = start(), []
    for gyroscope, accelerometer in zip(omega.tolist(), force.tolist(), strict=True):
        state = step(state, gyroscope, accelerometer, 1.0 / rate_hz)
        out.append(state.quaternion)
    return np.array(out)


@pytest.fixture(scope="module")
def windows():
    return [Window(path) for path in WINDOWS]


def whole(windows, estimate, bias_deg_s=0.0):
    return np.mean([w.rmse_deg(estimate, bias_deg_s=bias_deg_s) for w in windows])


def short(windows, estimate, bias_deg_s=0.0):
    return np.mean([w.rmse_deg(estimate, cut, bias_deg_s) for w in windows for cut in w.cuts(10.0)])


@pytest.mark.parametrize(("bias_deg_s", "mark_deg"), [(0.0, 0.50), (1.0, 0.50)])
def test_windows_of_half_a_minute(windows, bias_deg_s, mark_deg):
    ours = whole(windows, estimate_orientation, bias_deg_s)
    assert ours < mark_deg
    assert ours < whole(windows, vqf_offline, bias_deg_s)


@pytest.mark.parametrize(("bias_deg_s", "mark_deg", "of_vqf"), [(0.0, 0.55, 0.9), (1.0, 0.55, 0.5)])
def test_windows_of_ten_seconds(windows, bias_deg_s, mark_deg, of_vqf):
    ours = short(windows, estimate_orientation, bias_deg_s)
    assert ours < mark_deg
    assert ours < of_vqf * short(windows, vqf_offline, bias_deg_s)


def test_no_window_is_worse_than_with_the_other_filters(windows):
    for window in windows:
        ours = window.rmse_deg(estimate_orientation)
        assert ours < window.rmse_deg(vqf_offline) + 0.05


@pytest.mark.parametrize("method", ["madgwick", "mahony", "ekf", "aqua"])
def test_textbook_filters_are_in_the_same_frame_and_worse(windows, method):
    """Every fourth sample, the filters being slow; a wrong convention would show as tens of degrees."""
    for window in windows[:2]:
        ours = window.rmse_deg(estimate_orientation)
        theirs = window.rmse_deg(
            lambda omega, force, rate_hz: np.repeat(
                estimate_orientation(omega[::4], force[::4], rate_hz / 4, method), 4, axis=0
            )[: len(omega)]
        )
        assert ours < theirs < 6.0


def test_live_filter_after_the_first_seconds(windows):
    """The windows begin in mid-movement: what a causal filter knows during the first seconds is not compared."""
    ours, others, apart = [], [], []
    for window in windows:
        settled = window.moving.copy()
        settled[: round(5.0 * window.rate_hz)] = False
        q, other = (f(window.omega, window.force, window.rate_hz) for f in (live, vqf_real_time))
        smooth = estimate_orientation(window.omega, window.force, window.rate_hz)
        for errors, estimate, reference in (
            (ours, q, window.truth),
            (others, other, window.truth),
            (apart, q, smooth),
        ):
            error = inclination(
                quaternions.multiply(estimate[settled], quaternions.conjugate(reference[settled]))
            )
            errors.append(np.degrees(np.sqrt(np.mean(error**2))))
    assert np.mean(ours) < 0.7
    assert np.mean(ours) < np.mean(others)
    assert np.max(apart) < 0.8
