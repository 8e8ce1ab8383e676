"""Arm angles against the ISB definitions, decomposed with SciPy.

Wu et al. 2005, J Biomech 38:981–992 (shoulder: plane of elevation, elevation, axial rotation as Y–X′–Y″), and the
tilt-and-torsion form Chénier et al. 2022, Clin Biomech 92:105573, recommend. Thorax axes: X forward, Y up, Z right.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.motion import angles

THORAX = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""Thorax axes in the global frame (x forward, y left, z up), one per column: X = x, Y = z, Z = −y."""
ARM = np.array([0.0, -1.0, 0.0])
"""Shoulder → hand in the humerus frame: −Y."""
CASES = [(0, 90, 0), (35, 80, 10), (90, 60, -20), (60, 120, 40), (-20, 45, -60), (10, 150, 5)]


def isb(plane, elevation, axial):
    """Humerus in thorax, right arm. Raising outward is a negative rotation about X′ by the right-hand rule."""
    return Rotation.from_euler("YXY", [plane, -elevation, axial], degrees=True)


def in_global(humerus_in_thorax):
    return Rotation.from_matrix(THORAX) * humerus_in_thorax


@pytest.mark.parametrize(("plane", "elevation", "axial"), CASES)
def test_elevation_and_plane_are_the_first_two_isb_angles(plane, elevation, axial):
    q = in_global(isb(plane, elevation, axial)).as_quat(scalar_first=True)[None]
    up = angles.up_in_sensor(q)
    assert math.degrees(angles.elevation(up, ARM)[0]) == pytest.approx(elevation, abs=1e-9)
    arm = in_global(isb(plane, elevation, axial)).apply(ARM)[None]
    assert math.degrees(angles.plane_of_elevation(arm, np.zeros(1), "right")[0]) == pytest.approx(
        plane, abs=1e-9
    )


def test_a_random_arm_decomposed_by_scipy():
    random = Rotation.random(200, rng=5)
    g1, minus_theta, _ = random.as_euler("YXY").T
    # SciPy's middle angle of a proper Euler sequence is 0 … π; ISB's is its negative with γ turned by π.
    theta, plane = minus_theta, (g1 + np.pi + np.pi) % (2 * np.pi) - np.pi
    q = in_global(random).as_quat(scalar_first=True)
    np.testing.assert_allclose(angles.elevation(angles.up_in_sensor(q), ARM), theta, atol=1e-9)
    found = angles.plane_of_elevation(in_global(random).apply(ARM), np.zeros(200), "right")
    known = np.isfinite(found)
    assert known.sum() > 150
    off = (found - plane + np.pi) % (2 * np.pi) - np.pi
    np.testing.assert_allclose(off[known], 0, atol=1e-9)


@pytest.mark.parametrize(("plane", "elevation", "axial"), CASES)
def test_a_left_arm_is_the_mirror_image(plane, elevation, axial):
    # The mirror z → −z of the thorax frame: M R M.
    mirror = np.diag([1.0, 1.0, -1.0])
    left = Rotation.from_matrix(mirror @ isb(plane, elevation, axial).as_matrix() @ mirror)
    arm = in_global(left).apply(ARM)[None]
    assert math.degrees(angles.plane_of_elevation(arm, np.zeros(1), "left")[0]) == pytest.approx(
        plane, abs=1e-9
    )
    up = angles.up_in_sensor(in_global(left).as_quat(scalar_first=True)[None])
    assert math.degrees(angles.elevation(up, ARM)[0]) == pytest.approx(elevation, abs=1e-9)


@pytest.mark.parametrize(("plane", "elevation", "axial"), CASES)
@pytest.mark.parametrize("side", ["right", "left"])
def test_the_turn_of_the_hand_is_the_torsion_of_tilt_and_torsion(plane, elevation, axial, side):
    # R = Ry(γ1)·Rx(−θ)·Ry(γ2) = Ry(γ1)·Rx(−θ)·Ry(−γ1)·Ry(s): s = γ1 + γ2, internal rotation positive.
    # Internal rotation turns the thumb of a raised arm down: the hand's turn toward thumb up is −s.
    pose = isb(plane, elevation, axial)
    if side == "left":
        mirror = np.diag([1.0, 1.0, -1.0])
        pose = Rotation.from_matrix(mirror @ pose.as_matrix() @ mirror)
    before = in_global(Rotation.identity()).as_quat(scalar_first=True)
    found = math.degrees(angles.axial_change(before, in_global(pose).as_quat(scalar_first=True), ARM, side))
    expected = -(plane + axial)
    assert (found - expected + 180) % 360 - 180 == pytest.approx(0, abs=1e-8)
