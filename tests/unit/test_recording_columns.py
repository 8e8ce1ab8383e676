"""Which columns are taken, and which are not."""

from __future__ import annotations

import numpy as np
import pytest
from invented_movement import GRAVITY, movement, text_table

from armarc.errors import FormatError, UsageError
from armarc.recording import Recording, read_csv
from armarc.recording.names import read_name

T, FORCE, TURNING = movement()
A_SI, W_SI = list(FORCE.T), list(TURNING.T)
A_G, W_DEG = list(FORCE.T / GRAVITY), list(np.degrees(TURNING).T)
UP = list((FORCE / np.linalg.norm(FORCE, axis=1, keepdims=True)).T)


def read_columns(tmp_path, header, values, **options) -> Recording:
    path = tmp_path / "recording.csv"
    path.write_text(text_table(values, header), encoding="utf-8")
    return read_csv(path, **options)


def assert_same(recording: Recording, sign: float = 1.0) -> None:
    np.testing.assert_allclose(recording.specific_force_m_s2, sign * FORCE, atol=2e-5)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, TURNING, atol=2e-5)


@pytest.mark.parametrize(
    ("name", "kind", "axis", "unit"),
    [
        ("acc_x [g]", "acceleration", "x", "g"),
        ("GyroX(deg/s)", "angular_velocity", "x", "deg/s"),
        ("accelerometer_x_m_s2", "acceleration", "x", "m/s2"),
        ("ax", "acceleration", "x", ""),
        ("Az (m/s^2)", "acceleration", "z", "m/s2"),
        ("wz", "angular_velocity", "z", ""),
        ("rotationRate.y", "angular_velocity", "y", ""),
        ("rotationRate.alpha", "angular_velocity", "alpha", ""),
        ("gyr_y_rad_s", "angular_velocity", "y", "rad/s"),
        ("gx_deg_s", "angular_velocity", "x", "deg/s"),
        ("Angular velocity z (°/s)", "angular_velocity", "z", "deg/s"),
        ("omega_x", "angular_velocity", "x", ""),
        ("gyro_x_mdps", "angular_velocity", "x", "mdeg/s"),
        ("gFx", "acceleration", "x", ""),
        ("accelerationIncludingGravity.z", "acceleration", "z", ""),
        ("userAcceleration.x", "linear", "x", ""),
        ("linear_acceleration_y", "linear", "y", ""),
        ("gravity.z", "gravity", "z", ""),
        ("mag_x", "magnetic", "x", ""),
        ("qw", "orientation", "", ""),
        ("pitch", "orientation", "", ""),
        ("temperature_c", "temperature", "", ""),
        ("timestamp_ns", "time", "", "ns"),
        ("Time [ms]", "time", "", "ms"),
        ("time_us", "time", "", "us"),
        ("seconds_elapsed", "time", "", ""),
        ("t", "time", "", ""),
        ("ms", "time", "", "ms"),
        ("sample", "index", "", ""),
        ("", "index", "", ""),
        ("pressure", "other", "", ""),
        ("velocity_x", "other", "x", ""),
        ("加速度X", "acceleration", "x", ""),
        ("角速度 Y (°/s)", "angular_velocity", "y", "deg/s"),
        ("ジャイロZ", "angular_velocity", "z", ""),
        ("线性加速度 x (m/s²)", "linear", "x", "m/s2"),
        ("角加速度X", "orientation", "x", ""),
        ("時間(ms)", "time", "", "ms"),
        ("时间 (s)", "time", "", "s"),
        ("가속도 Z (g)", "acceleration", "z", "g"),
        ("Угловая скорость X", "angular_velocity", "x", ""),
        ("Время", "time", "", ""),
    ],
)
def test_names(name, kind, axis, unit):
    found = read_name(name, 0)
    assert (found.kind, found.unit) == (kind, unit)
    if kind != "orientation":
        assert found.axis == axis


@pytest.mark.parametrize(
    "header",
    [
        ("time", "AccX", "AccY", "AccZ", "GyrX", "GyrY", "GyrZ"),
        ("t", "x_acc", "y_acc", "z_acc", "x_gyro", "y_gyro", "z_gyro"),
        ("time", "acc_0", "acc_1", "acc_2", "gyr_0", "gyr_1", "gyr_2"),
        ("time", "acc1", "acc2", "acc3", "gyro1", "gyro2", "gyro3"),
        ("Timestamp", "Accel X", "Accel Y", "Accel Z", "Gyro X", "Gyro Y", "Gyro Z"),
        ("time", "gFx", "gFy", "gFz", "wx", "wy", "wz"),
        ("time", "a_x", "a_y", "a_z", "omega_x", "omega_y", "omega_z"),
        ("時間(s)", *(f"加速度{axis}" for axis in "XYZ"), *(f"角速度{axis}" for axis in "XYZ")),
        ("Время, с", *(f"Ускорение {axis}" for axis in "XYZ"), *(f"Гироскоп {axis}" for axis in "XYZ")),
        ("time", "X [g]", "Y [g]", "Z [g]", "X [deg/s]", "Y [deg/s]", "Z [deg/s]"),
    ],
)
def test_ways_to_name_them(tmp_path, header):
    assert_same(read_columns(tmp_path, header, [T, *A_G, *W_DEG]))


def test_order_of_columns_does_not_matter(tmp_path):
    header = ("gz", "ay", "gx", "time", "az", "gy", "ax")
    columns = [W_DEG[2], A_G[1], W_DEG[0], T, A_G[2], W_DEG[1], A_G[0]]
    assert_same(read_columns(tmp_path, header, columns))


def test_unit_row(tmp_path):
    path = tmp_path / "recording.csv"
    rows = text_table([T, *A_SI, *W_DEG]).splitlines(keepends=True)
    path.write_text("".join([rows[0], "s,m/s^2,m/s^2,m/s^2,deg/s,deg/s,deg/s\n", *rows[1:]]))
    recording = read_csv(path)
    assert_same(recording)
    assert recording.source.units == {"time": "s", "acceleration": "m/s2", "angular_velocity": "deg/s"}


def test_extra_columns_are_ignored(tmp_path):
    wrong = [a + 1 for a in A_G]
    groups = {
        "acc_{}": A_G,
        "acc_uncalibrated_{}": wrong,
        "gyro_{}": W_DEG,
        "gyro_bias_{}": wrong,
        "mag_{}": wrong,
        "linear_acc_{}": wrong,
    }
    header = [
        "time",
        *(name.format(axis) for name in groups for axis in "xyz"),
        "qw",
        "qx",
        "qy",
        "qz",
        "pressure",
    ]
    columns = [T, *(column for values in groups.values() for column in values), *[T] * 5]
    assert_same(read_columns(tmp_path, header, columns))


def test_temperature_is_kept(tmp_path):
    header = ("time", "ax", "ay", "az", "gx", "gy", "gz", "temperature")
    recording = read_columns(tmp_path, header, [T, *A_G, *W_DEG, 30 + T])
    assert recording.temperature_c is not None
    np.testing.assert_allclose(recording.temperature_c, 30 + T)


def test_two_sensors_in_one_table_need_a_choice(tmp_path):
    header = [
        "time",
        *(f"{side}_acc_{axis}" for side in ("left", "right") for axis in "xyz"),
        "gx",
        "gy",
        "gz",
    ]
    columns = [T, *[a + 1 for a in A_G], *A_G, *W_DEG]
    with pytest.raises(FormatError, match=r"left_acc_x.*right_acc_x.*--columns"):
        read_columns(tmp_path, header, columns)
    chosen = {f"a{axis}": f"right_acc_{axis}" for axis in "xyz"}
    assert_same(read_columns(tmp_path, header, columns, columns=chosen))
    by_number = "ax=5,ay=6,az=7"
    assert_same(read_columns(tmp_path, header, columns, columns=by_number))


@pytest.mark.parametrize(("name", "block"), [("device", 1), ("Sensor", 10), ("node_id", 1), ("arm", 25)])
def test_rows_of_two_sensors_in_turn_are_refused(tmp_path, name, block):
    """Two wrists in one table were read as one sensor of twice the rate."""
    lines = text_table([T, *A_SI, *W_SI]).splitlines()
    path = tmp_path / "both.csv"
    path.write_text("\n".join(mixed(lines, name, block)) + "\n")
    with pytest.raises(FormatError, match=f"belong to 2 sensors in turn, as column '{name}' says: L, R"):
        read_csv(path)
    # A column that says the same all along, or changes once, says nothing of the kind.
    for marks in ("L" * len(lines), "L" * 100 + "R" * len(lines)):
        path.write_text("\n".join([f"{lines[0]},{name}", *map("{},{}".format, lines[1:], marks)]) + "\n")
        assert read_csv(path).rate_hz == pytest.approx(100)


def mixed(lines, name, block):
    """The header, and each row for both sensors, `block` rows of one after as many of the other."""
    yield f"{lines[0]},{name}"
    for first in range(1, len(lines), block):
        for mark in "LR":
            yield from (f"{line},{mark}" for line in lines[first : first + block])


def test_stated_columns_that_are_not_there(tmp_path):
    header = ("time", "ax", "ay", "az", "gx", "gy", "gz")
    with pytest.raises(FormatError, match=r"'nothing' is not in the table.*ax, ay"):
        read_columns(tmp_path, header, [T, *A_G, *W_DEG], columns={"ax": "nothing"})
    with pytest.raises(UsageError, match="no column role 'qx'"):
        read_columns(tmp_path, header, [T, *A_G, *W_DEG], columns={"qx": "ax"})
    with pytest.raises(UsageError, match="key=value"):
        read_columns(tmp_path, header, [T, *A_G, *W_DEG], columns="ax")


def test_missing_gyroscope_names_the_second_file(tmp_path):
    with pytest.raises(FormatError, match=r"no gyroscope columns.*--gyroscope FILE"):
        read_columns(tmp_path, ("time", "ax", "ay", "az"), [T, *A_G])


def test_acceleration_without_gravity_is_refused_by_name_and_by_value(tmp_path):
    moved = [a - u for a, u in zip(A_G, UP, strict=True)]
    named = ("time", *(f"linear_acceleration_{axis}" for axis in "xyz"), "gx", "gy", "gz")
    with pytest.raises(FormatError, match="gravity was removed"):
        read_columns(tmp_path, named, [T, *moved, *W_DEG])
    with pytest.raises(FormatError, match="gravity was removed"):
        read_columns(tmp_path, ("time", "ax", "ay", "az", "gx", "gy", "gz"), [T, *moved, *W_DEG])


def test_gravity_columns_are_added(tmp_path):
    moved = [GRAVITY * (a - u) for a, u in zip(A_G, UP, strict=True)]
    pull = [GRAVITY * u for u in UP]
    header = ["t", *(f"{name}_{a}" for name in ("linear_acc", "gravity", "gyroscope") for a in "xyz")]
    recording = read_columns(tmp_path, header, [T, *moved, *pull, *W_SI])
    assert_same(recording)
    assert any("were added" in sentence for sentence in recording.source.inferences)


def test_user_acceleration_and_gravity_report_gravity_downward(tmp_path):
    moved = [u - a for a, u in zip(A_G, UP, strict=True)]
    header = [
        "t",
        *(f"{name}.{a}" for name in ("userAcceleration", "gravity", "rotationRate") for a in "xyz"),
    ]
    columns = [T, *moved, *[-u for u in UP], *W_SI]
    recording = read_columns(tmp_path, header, columns)
    assert_same(recording)
    assert any("signs were turned round" in sentence for sentence in recording.source.inferences)
    assert_same(read_columns(tmp_path, header, columns, gravity_sign="reaction"), sign=-1.0)


@pytest.mark.parametrize(("order", "said"), [((0, 1, 2), "x, y, z"), ((2, 0, 1), "z, x, y")])
def test_greek_angular_velocities_are_told_by_gravity(tmp_path, order, said):
    header = ["t", *(f"accelerationIncludingGravity.{a}" for a in "xyz")]
    header += [f"rotationRate.{a}" for a in ("alpha", "beta", "gamma")]
    recording = read_columns(tmp_path, header, [T, *A_SI, *(W_DEG[i] for i in order)])
    assert_same(recording)
    assert any(f"about {said}" in sentence for sentence in recording.source.inferences)


def test_axes_are_turned(tmp_path):
    header = ("time", "ax", "ay", "az", "gx", "gy", "gz")
    columns = [T, -A_G[1], A_G[0], A_G[2], -W_DEG[1], W_DEG[0], W_DEG[2]]
    assert_same(read_columns(tmp_path, header, columns, axes="+y,-x,+z"))


@pytest.mark.parametrize("axes", ["x,y", "x,x,z", "x,y,w", "-x,y,z", "y,x,z"])
def test_axes_that_are_no_rotation(tmp_path, axes):
    with pytest.raises(UsageError, match="axes"):
        read_columns(tmp_path, ("time", "ax", "ay", "az", "gx", "gy", "gz"), [T, *A_G, *W_DEG], axes=axes)


def test_gravity_sign(tmp_path):
    header = ("time", "ax", "ay", "az", "gx", "gy", "gz")
    columns = [T, *[-a for a in A_G], *W_DEG]
    assert_same(read_columns(tmp_path, header, columns, gravity_sign="gravity"))
    assumed = read_columns(tmp_path, header, columns)
    assert_same(assumed, sign=-1.0)
    assert any("taken to read +g upward" in sentence for sentence in assumed.source.inferences)
    with pytest.raises(UsageError, match="reaction or gravity"):
        read_columns(tmp_path, header, columns, gravity_sign="down")
