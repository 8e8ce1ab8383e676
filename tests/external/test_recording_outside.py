"""Reading checked against the standards it rests on and against other libraries."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import constants
from scipy.spatial.transform import Rotation, RotationSpline

from armarc.recording import STANDARD_GRAVITY_M_S2, read_csv, uniform_pieces
from armarc.recording.evidence import gravity_evidence
from armarc.recording.stamps import from_text
from armarc.recording.units import scale_of


def test_standard_gravity():
    # 3rd CGPM (1901), resolution 2, printed in the BIPM SI Brochure: 980.665 cm/s²; SciPy carries the same.
    assert STANDARD_GRAVITY_M_S2 == 9.80665 == constants.g
    assert scale_of("mg", "acceleration") == pytest.approx(constants.g / 1000, rel=1e-15)


def test_degree():
    # SI Brochure, 9th edition, table 8: 1° = (π/180) rad.
    assert scale_of("deg/s", "angular_velocity") == pytest.approx(constants.degree, rel=1e-15)
    assert scale_of("deg/s", "angular_velocity") * 180 == pytest.approx(math.pi, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        # RFC 3339 §5.8, the examples of its profile of ISO 8601, as seconds since 1970-01-01T00:00:00Z.
        ("1985-04-12T23:20:50.52Z", 482196050.52),
        # §5.8: 39 minutes and 57 seconds after the 16th hour of December 19th, 1996, 8 hours behind UTC,
        # "equivalent to 1996-12-20T00:39:57Z in UTC".
        ("1996-12-19T16:39:57-08:00", 851042397.0),
        # POSIX, Base Definitions 4.16 "Seconds Since the Epoch": (year-70)·31536000 + … gives 10^9 here.
        ("2001-09-09T01:46:40Z", 1e9),
    ],
)
def test_iso_8601_instants(text, seconds):
    stamps = from_text(np.array([text, text], object), file="", column="time", line=1)
    assert stamps.origin_s == pytest.approx(seconds, abs=1e-6)


def test_numbers_are_those_of_pandas(tmp_path):
    """The values are pandas' own to the last bit, whatever is done around them."""
    rng = np.random.default_rng(11)
    n = 2000
    t = np.arange(n) / 100
    angle = 0.7 * (1 - np.cos(2 * t))
    force = 9.80665 * np.column_stack([0 * t, np.sin(angle), np.cos(angle)]) + rng.normal(0, 0.03, (n, 3))
    turning = np.column_stack([1.4 * np.sin(2 * t), 0 * t, 0 * t]) + rng.normal(0, 0.003, (n, 3))
    frame = pd.DataFrame(
        np.column_stack([t, force, turning]),
        columns=["time", "ax_m_s2", "ay_m_s2", "az_m_s2", "gx_rad_s", "gy_rad_s", "gz_rad_s"],
    )
    text = frame.to_csv(index=False)
    path = tmp_path / "recording.csv"
    path.write_text(text)
    recording = read_csv(path)
    expected = pd.read_csv(io.StringIO(text)).to_numpy()
    np.testing.assert_array_equal(recording.specific_force_m_s2, expected[:, 1:4])
    np.testing.assert_array_equal(recording.angular_velocity_rad_s, expected[:, 4:7])
    np.testing.assert_allclose(recording.time_s, t, atol=1e-9)


def test_turning_of_gravity_against_scipy_rotations():
    """Orientations and body rates from SciPy's rotation spline: turned back, gravity stands exactly still."""
    rng = np.random.default_rng(5)
    knots = np.arange(0.0, 31.0)
    spline = RotationSpline(knots, Rotation.from_rotvec(rng.normal(0, 0.6, (len(knots), 3))))
    t = np.arange(0.0, 30.0, 0.01)
    force = spline(t).inv().apply([0.0, 0.0, constants.g])
    seen = gravity_evidence(t, force, spline(t, 1))
    assert seen.rad_s.misfit < 1e-3
    assert seen.unturned.misfit > 0.1
    assert seen.rad_s.gravity == pytest.approx(constants.g, rel=2e-3)
    assert seen.unit == "rad/s"
    assert gravity_evidence(t, force, np.degrees(spline(t, 1))).unit == "deg/s"


ORIENTATION = Path(__file__).resolve().parents[3] / "shared" / "datasets" / "orientation"


@pytest.mark.skipif(not ORIENTATION.is_dir(), reason="the orientation benchmark is not beside the project")
@pytest.mark.parametrize(
    ("trial", "radians"),
    [
        ("05_slow_rotation_with_breaks", "rad/s"),
        ("09_fast_rotation_with_breaks", "rad/s"),
        ("24_tapping", "rad/s"),
        ("10_slow_translation", "rad/s"),
        # Moved about with little tilting: radians cannot be told, degrees can.
        ("14_slow_translation_with_breaks", None),
    ],
)
def test_unit_of_a_real_gyroscope(trial, radians):
    """Laidig et al. 2021, BROAD, Data 6(7):72: gyroscope in rad/s; the same numbers in deg/s must be told as well."""
    data = np.load(ORIENTATION / f"{trial}.npz")
    t = np.arange(len(data["gyr_rad_s"])) / float(data["rate_hz"])
    force, turning = data["acc_m_s2"].astype(float), data["gyr_rad_s"].astype(float)
    seen = gravity_evidence(t, force, turning)
    assert seen.unit == radians
    assert seen.rad_s.gravity == pytest.approx(constants.g, rel=0.02)
    assert gravity_evidence(t, force, np.degrees(turning)).unit == "deg/s"


def test_even_pieces_against_scipy_interpolation(tmp_path):
    """Over a bridged hole the filled values are those of numpy's and SciPy's linear interpolation."""
    from scipy.interpolate import interp1d

    from armarc.recording import Recording

    rng = np.random.default_rng(1)
    kept = np.delete(np.arange(500), np.r_[100:103, 200:230])
    t, force, turning = kept / 100.0, rng.normal(size=(len(kept), 3)), rng.normal(size=(len(kept), 3))
    recording = Recording(time_s=t, specific_force_m_s2=force, angular_velocity_rad_s=turning, rate_hz=100.0)
    (piece,) = uniform_pieces(recording)
    np.testing.assert_allclose(piece.specific_force_m_s2, interp1d(t, force, axis=0)(piece.time_s), atol=1e-9)
    np.testing.assert_array_equal(np.flatnonzero(piece.missing), np.arange(200, 230))
