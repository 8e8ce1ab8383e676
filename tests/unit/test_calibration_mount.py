"""The guided move: arm and thumb in the sensor, against the simulated truth."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from armarc.errors import InputError
from armarc.guided_mount import find_guided_mount, keep_as, refuse_conflict, thumb_words, with_stored_mount
from armarc.motion import Mounting
from armarc.recording import FloatArray, Metadata, Recording
from armarc.sensor.calibration.store import forget_mounts, latest_mount, load_mounts, save_mount
from armarc.simulate import SimulationOptions, plan_session, simulate_session
from armarc.simulate.arm import HAND, THUMB, mount_matrix
from armarc.simulate.plan import MountPlan, SensorPlan
from invented_bench import still


def guided(
    side: str = "right", strap: str = "back", **options: object
) -> tuple[Recording, FloatArray, FloatArray]:
    """A recording with the move and one set, and the true directions of hand and thumb in the sensor."""
    plan = plan_session(
        SimulationOptions(
            **({"twist": True, "front_raise": True} | options),  # type: ignore[arg-type]
            reps=2,
            side=side,
            mount=MountPlan(strap=strap, roll_rad=0.3, tilt_rad=0.08),
            sensor=SensorPlan(noise="common"),
        ),
        7,
    )
    recording, _ = simulate_session(plan, 7)
    axes = mount_matrix(plan.mount, side)
    return recording, axes.T @ HAND, axes.T @ THUMB


def apart_deg(a: FloatArray, b: FloatArray) -> float:
    return math.degrees(math.acos(max(-1.0, min(1.0, float(a @ b)))))


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("strap", ["back", "inside", "thumb"])
def test_arm_and_thumb_are_found(side: str, strap: str) -> None:
    recording, hand, thumb = guided(side, strap)
    found = find_guided_mount(recording)
    assert apart_deg(found.arm_axis, hand) < 1.5
    assert apart_deg(found.thumb_axis, thumb) < 4
    assert abs(float(found.arm_axis @ found.thumb_axis)) < 1e-9
    assert apart_deg(found.thumb_axis, thumb) < 3 * math.degrees(found.thumb_se_rad)
    assert math.degrees(found.raise_rad) == pytest.approx(79, abs=10)
    assert found.notes == ()


def test_without_a_twist_it_is_refused() -> None:
    recording, _, _ = guided(twist=False)
    with pytest.raises(InputError, match="no twist"):
        find_guided_mount(recording)
    with pytest.raises(InputError, match="no twist"):
        find_guided_mount(still(10.0))


def test_without_a_raise_it_is_refused() -> None:
    recording, _, _ = guided()
    until = recording.time_s < find_guided_mount(recording).times_s[1]
    short = replace(
        recording,
        time_s=recording.time_s[until],
        specific_force_m_s2=recording.specific_force_m_s2[until],
        angular_velocity_rad_s=recording.angular_velocity_rad_s[until],
        clipped=None,
    )
    with pytest.raises(InputError, match="no raise"):
        find_guided_mount(short)


def test_it_is_kept_per_sensor_and_side(tmp_path: Path) -> None:
    recording, _, _ = guided()
    found = find_guided_mount(recording)
    named = replace(recording, metadata=Metadata(sensor="strap", other={"sensor_serial": "A1"}))
    save_mount(keep_as(found, named, sensor="strap", side="right", made_at="2026-01-01"), tmp_path)
    back = latest_mount(load_mounts(tmp_path), named.metadata, "right")
    assert back is not None
    assert back.thumb_axis == pytest.approx(found.thumb_axis, abs=1e-8)
    assert latest_mount(load_mounts(tmp_path), named.metadata, "left") is None
    other = Metadata(sensor="strap", other={"sensor_serial": "B2"})
    assert latest_mount(load_mounts(tmp_path), other, "right") is None
    assert forget_mounts("strap", tmp_path) == 1
    assert load_mounts(tmp_path) == ()


def test_it_completes_what_a_recording_shows() -> None:
    recording, hand, thumb = guided()
    stored = keep_as(
        find_guided_mount(recording), recording, sensor="strap", side="right", made_at="2026-01-01"
    )
    slightly = hand + 0.1 * thumb
    lever = Mounting(method="lever_arm", arm_axis=slightly / np.linalg.norm(slightly), uncertainty_rad=0.02)
    done, notes = with_stored_mount(lever, stored)
    assert done.method == "lever_arm"
    assert done.arm_axis == pytest.approx(lever.arm_axis)
    assert done.thumb_axis is not None
    assert abs(float(done.thumb_axis @ done.arm_axis)) < 1e-12
    assert apart_deg(done.thumb_axis, thumb) < 8
    assert len(notes) == 1
    hanging, notes = with_stored_mount(replace(lever, method="hanging", uncertainty_rad=0.14), stored)
    assert hanging.method == "stored"
    assert apart_deg(hanging.arm_axis, hand) < 1.5
    assert hanging.uncertainty_rad < 0.14
    assert len(notes) == 2


def test_a_strap_worn_otherwise_is_told() -> None:
    recording, _, _ = guided()
    stored = keep_as(
        find_guided_mount(recording), recording, sensor="strap", side="right", made_at="2026-01-01"
    )
    turned = Mounting(method="lever_arm", arm_axis=-stored.arm_axis, uncertainty_rad=0.02)
    same, notes = with_stored_mount(turned, stored)
    assert same is turned
    assert "worn otherwise" in notes[0]
    assert with_stored_mount(turned, None) == (turned, ())


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("strap", ["back", "inside", "thumb", "little-finger"])
def test_what_was_stated_is_held_against_the_move(side: str, strap: str) -> None:
    recording, _, _ = guided(side, strap)
    found = find_guided_mount(recording)
    refuse_conflict(found, side=side, strap=strap, hand_axis=recording.metadata.hand_axis)
    refuse_conflict(found, side=side)
    place = {"thumb": "thumb side", "little-finger": "little-finger side"}.get(strap, strap)
    assert f"sits on the {place} of the {side} wrist" in thumb_words(found, side)


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_raise_to_the_side_is_refused(side: str) -> None:
    """Its thumb is a quarter turn off, at a stated error of a few degrees."""
    recording, _, thumb = guided(side, front_raise=False)  # the first movement is a rep of lateral raises
    found = find_guided_mount(recording)
    assert apart_deg(found.thumb_axis, thumb) > 60
    with pytest.raises(InputError, match="as when the arm was raised to the side"):
        refuse_conflict(found, side=side, strap="back")


@pytest.mark.parametrize("strap", ["back", "inside"])
def test_the_wrong_arm_is_refused(strap: str) -> None:
    recording, _, _ = guided("left", strap)
    with pytest.raises(InputError, match="as on the other arm than the right one"):
        refuse_conflict(find_guided_mount(recording), side="right", strap=strap)


def test_a_hand_axis_that_does_not_fit_is_refused() -> None:
    recording, _, _ = guided()
    with pytest.raises(InputError, match=r"17\d° from the stated hand axis -y.*sensor's \+y axis"):
        refuse_conflict(find_guided_mount(recording), side="right", hand_axis="-y")
