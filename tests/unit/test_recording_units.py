"""Units: stated, named, or told by gravity."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from invented_movement import GRAVITY, HEADER, movement, text_table

from armarc.errors import FormatError, UnitError, UsageError
from armarc.recording import read_csv
from armarc.recording.consistency import lever_misfit, short_windows
from armarc.recording.evidence import gravity_evidence
from armarc.recording.units import scale_of, stated_units, unit_in

RECORDINGS = Path(__file__).parents[2] / "recordings"
T, FORCE, TURNING = movement()
A_SI, W_SI = list(FORCE.T), list(TURNING.T)
A_G, W_DEG = list(FORCE.T / GRAVITY), list(np.degrees(TURNING).T)


def read_columns(tmp_path, columns, header=HEADER, **options):
    path = tmp_path / "recording.csv"
    path.write_text(text_table(columns, header), encoding="utf-8")
    return read_csv(path, **options)


def assert_same(recording, within: float = 3e-5):
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE, atol=within)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, TURNING, atol=within)


@pytest.mark.parametrize(
    ("text", "quantity", "unit"),
    [
        ("m/s²", "acceleration", "m/s2"),
        ("m/s^2", "acceleration", "m/s2"),
        ("m·s⁻²", "acceleration", "m/s2"),
        ("m s-2", "acceleration", "m/s2"),
        ("G", "acceleration", "g"),
        ("mg", "acceleration", "mg"),
        ("°/s", "angular_velocity", "deg/s"),
        ("dps", "angular_velocity", "deg/s"),
        ("deg s-1", "angular_velocity", "deg/s"),
        ("rad/s", "angular_velocity", "rad/s"),
        ("rad/sec", "angular_velocity", "rad/s"),
        ("mdps", "angular_velocity", "mdeg/s"),
        ("µs", "time", "us"),
        ("μs", "time", "us"),
        ("milliseconds", "time", "ms"),
        ("kg", "acceleration", None),
    ],
)
def test_spellings(text, quantity, unit):
    assert unit_in(text, quantity) == unit


def test_counts_per_unit():
    assert scale_of("g/4096", "acceleration") == pytest.approx(GRAVITY / 4096)
    assert scale_of("deg/s/16.4", "angular_velocity") == pytest.approx(np.pi / 180 / 16.4)
    assert scale_of("rad/s", "angular_velocity") == 1.0


@pytest.mark.parametrize(
    "units", ["gyroscope=furlong", "acceleration=deg/s", "mass=kg", "gyroscope", "time=s/0"]
)
def test_units_that_make_no_sense(units):
    with pytest.raises(UsageError):
        stated_units(units)


@pytest.mark.parametrize(("acceleration", "a"), [("m/s2", 1.0), ("g", 1 / GRAVITY), ("mg", 1000 / GRAVITY)])
@pytest.mark.parametrize(
    ("angular", "w"), [("rad/s", 1.0), ("deg/s", 180 / np.pi), ("mdeg/s", 180e3 / np.pi)]
)
def test_units_told_by_gravity(tmp_path, acceleration, a, angular, w):
    recording = read_columns(tmp_path, [T, *(FORCE.T * a), *(TURNING.T * w)])
    assert recording.source.units == {"time": "s", "acceleration": acceleration, "angular_velocity": angular}
    assert_same(recording)
    said = " ".join(recording.source.inferences)
    assert f"acceleration is in {acceleration}" in said
    assert f"angular velocity is in {angular}: " in said


def test_slow_degrees_are_not_taken_for_radians(tmp_path):
    """A swing of at most 8 °/s looks like a fast one in rad/s; gravity knows better."""
    t = np.arange(3000) / 100.0
    angle = 0.3 * (1 - np.cos(2 * np.pi * t / 15))
    rate = 0.3 * 2 * np.pi / 15 * np.sin(2 * np.pi * t / 15)
    zero = np.zeros_like(t)
    columns = [t, zero, np.sin(angle), np.cos(angle), np.degrees(rate), zero, zero]
    recording = read_columns(tmp_path, columns)
    assert recording.source.units["angular_velocity"] == "deg/s"
    assert np.degrees(recording.angular_velocity_rad_s).max() == pytest.approx(
        np.degrees(rate).max(), rel=1e-3
    )


def test_a_gyroscope_that_gravity_does_not_see_must_be_stated(tmp_path):
    rng = np.random.default_rng(1)
    rate = 1.5 * np.sin(2 * np.pi * T / 3)
    noise = [0.003 * rng.normal(size=len(T)) for _ in range(5)]
    columns = [T, noise[0], noise[1], 1 + noise[2], noise[3], noise[4], rate]
    with pytest.raises(UnitError, match=r"tilts too little.*--units gyroscope=deg/s"):
        read_columns(tmp_path, columns)
    recording = read_columns(tmp_path, columns, units={"gyroscope": "rad/s"})
    np.testing.assert_allclose(recording.angular_velocity_rad_s[:, 2], rate, atol=1e-6)


def test_far_too_fast_for_radians(tmp_path):
    rng = np.random.default_rng(1)
    noise = [0.003 * rng.normal(size=len(T)) for _ in range(5)]
    columns = [T, noise[0], noise[1], 1 + noise[2], noise[3], noise[4], 300 * np.sin(2 * np.pi * T / 3)]
    assert read_columns(tmp_path, columns).source.units["angular_velocity"] == "deg/s"


def test_names_that_contradict_gravity(tmp_path):
    wrong_a = ["time", "ax [g]", "ay [g]", "az [g]", "gx", "gy", "gz"]
    with pytest.raises(UnitError, match=r"9\.8 times gravity; in m/s2 it would fit.*acceleration=m/s2"):
        read_columns(tmp_path, [T, *A_SI, *W_SI], wrong_a)
    assert_same(read_columns(tmp_path, [T, *A_SI, *W_SI], wrong_a, units="acceleration=m/s2"))
    wrong_g = ["time", "ax", "ay", "az", "gx [rad/s]", "gy [rad/s]", "gz [rad/s]"]
    with pytest.raises(UnitError, match=r"said to be in rad/s.*as if it were in deg/s.*gyroscope=deg/s"):
        read_columns(tmp_path, [T, *A_SI, *W_DEG], wrong_g)
    assert_same(read_columns(tmp_path, [T, *A_SI, *W_DEG], wrong_g, units="gyroscope=deg/s"))


def test_what_the_user_states_wins_but_is_doubted(tmp_path):
    recording = read_columns(tmp_path, [T, *A_SI, *W_DEG], units="gyroscope=rad/s")
    np.testing.assert_allclose(recording.angular_velocity_rad_s, np.degrees(TURNING), atol=1e-5)
    assert any("as if it were in deg/s" in warning for warning in recording.warnings)


def test_raw_counts(tmp_path):
    counts = [*(np.round(4096 * a) for a in A_G), *(np.round(16.4 * w) for w in W_DEG)]
    with pytest.raises(UnitError, match="acceleration=g/4096"):
        read_columns(tmp_path, [T, *counts])
    recording = read_columns(tmp_path, [T, *counts], units="acceleration=g/4096,gyroscope=deg/s/16.4")
    assert_same(recording, within=3e-3)
    beside_g = read_columns(tmp_path, [T, *A_G, *counts[3:]])
    assert any("raw counts" in warning for warning in beside_g.warnings)


def test_absurd_acceleration(tmp_path):
    with pytest.raises(UnitError, match="cannot be told"):
        read_columns(tmp_path, [T, *[0.05 * a for a in A_SI], *W_SI])
    with pytest.raises(FormatError, match=r"reads zero|never changes"):
        read_columns(tmp_path, [T, *[0 * a for a in A_SI], *W_SI])


def test_mirrored_and_mixed_axes_are_warned_of(tmp_path):
    mirrored = read_columns(tmp_path, [T, *A_SI, *[-w for w in W_SI]], units="gyroscope=rad/s")
    assert any("against each other" in warning for warning in mirrored.warnings)
    fine = read_columns(tmp_path, [T, *A_SI, *W_SI], units="gyroscope=rad/s")
    assert fine.warnings == ()


def test_gravity_stands_still_only_with_the_right_turning():
    seen = gravity_evidence(T, FORCE, TURNING)
    assert seen.rad_s.misfit < 1e-3
    assert seen.deg_s.misfit > 0.05
    assert seen.rad_s.gravity == pytest.approx(GRAVITY, rel=1e-3)
    assert seen.rad_s.share == pytest.approx(1.0, abs=1e-3)
    assert (seen.unit, seen.certain) == ("rad/s", True)
    degrees = gravity_evidence(T, FORCE, np.degrees(TURNING))
    assert degrees.deg_s.misfit == pytest.approx(seen.rad_s.misfit)
    assert degrees.rad_s.misfit > 0.3
    assert (degrees.unit, degrees.certain) == ("deg/s", True)
    # Only the direction of gravity's line counts, so its sign cannot matter.
    assert gravity_evidence(T, -FORCE, TURNING).rad_s.misfit == pytest.approx(seen.rad_s.misfit)


def test_misfit_known_answers():
    """Gravity turning evenly through full circles in the sensor is all misfit unless turned back by as much."""
    t = np.arange(400) / 100.0
    turn = np.pi * t
    gravity = np.stack([0 * t, np.sin(turn), np.cos(turn)], axis=1)
    around = np.tile([np.pi, 0.0, 0.0], (400, 1))
    windows = short_windows(t, gravity, around)
    assert lever_misfit(windows, 1.0) == pytest.approx(0.0, abs=1e-6)
    assert lever_misfit(windows, 0.0) == pytest.approx(1.0, abs=1e-3)
    # Turned back by half, half a circle is left, over which the mean of the unit vector is 2/π long; no arm of less
    # than 1.2 m swings fast enough to stand for it.
    assert lever_misfit(windows, 0.5) > 0.3
    # A reading that stands in the sensor while it turns with π/s is a centrifuge with an arm of g/π² = 0.99 m.
    still = np.tile([0.0, 0.0, 1.0], (400, 1))
    assert lever_misfit(short_windows(t, still, around), 1.0) == pytest.approx(0.0, abs=1e-6)
    assert short_windows(t[:19], still[:19], around[:19]) is None
    assert gravity_evidence(t[:19], still[:19], around[:19]) is None


def test_an_arm_far_from_gravity_at_its_median_is_no_arm_without_gravity(tmp_path):
    """Raises so fast that the sensor, 0.6 m from the shoulder, mostly feels twice gravity."""
    t = np.arange(3000) / 100.0
    angle = 1.0 * (1 - np.cos(2 * np.pi * t / 1.1))
    rate, bend = np.gradient(angle, t), np.gradient(np.gradient(angle, t), t)
    force = np.stack([9.81 * np.cos(angle) + 0.6 * rate**2, 9.81 * np.sin(angle) + 0.6 * bend, 0 * t], axis=1)
    assert np.median(np.linalg.norm(force, axis=1)) > 2.0 * 9.81
    turning = np.stack([0 * t, 0 * t, -rate], axis=1)
    for size, unit in ((1.0, "m/s2"), (1 / 9.81, "g")):
        recording = read_columns(tmp_path, [t, *(force * size).T, *turning.T])
        assert recording.source.units["acceleration"] == unit
        assert recording.source.units["angular_velocity"] == "rad/s"
        assert recording.warnings == ()


@pytest.mark.parametrize(("mirror", "order"), [(-1.0, [0, 1, 2]), (1.0, [1, 0, 2])])
def test_a_unit_nobody_states_is_told_through_axes_that_are_wrong(tmp_path, mirror, order):
    """Read as degrees they turn next to nothing, which left no rep and not a word about the axes."""
    made = read_csv(RECORDINGS / "strict-raise.csv")
    force = made.specific_force_m_s2 * [mirror, 1, 1]
    rate = (made.angular_velocity_rad_s * [mirror, 1, 1])[:, order]
    for scale, unit in ((1.0, "rad/s"), (np.degrees(1.0), "deg/s")):
        found = read_columns(tmp_path, [made.time_s, *force.T, *(scale * rate).T])
        assert found.source.units["angular_velocity"] == unit
        assert any("accelerometer and gyroscope" in warning for warning in found.warnings)


@pytest.mark.parametrize(("mixed", "named"), [((-1, 0, 0), "turn against"), ((1, 1, 2), "mixed up")])
def test_a_fast_arm_with_its_gyroscope_mixed_up_is_doubted(tmp_path, mixed, named):
    """The same arm, twisting as well: fast, but only a wrong sign or order of axes raises doubt."""
    t = np.arange(3000) / 100.0
    angle, twist = 1.0 * (1 - np.cos(2 * np.pi * t / 1.1)), 0.8 * np.sin(2 * np.pi * t / 2.3)
    rate, bend, turn = np.gradient(angle, t), np.gradient(np.gradient(angle, t), t), np.gradient(twist, t)
    across = 9.81 * np.sin(angle) + 0.6 * bend
    force = np.stack(
        [9.81 * np.cos(angle) + 0.6 * rate**2, np.cos(twist) * across, -np.sin(twist) * across], axis=1
    )
    turning = np.stack([turn, -np.sin(twist) * rate, -np.cos(twist) * rate], axis=1)
    units = "acceleration=m/s2,gyroscope=rad/s"
    assert read_columns(tmp_path, [t, *force.T, *turning.T], units=units).warnings == ()
    sign, first, second = mixed
    wrong = sign * turning
    wrong[:, [first, second]] = wrong[:, [second, first]]
    (warning,) = read_columns(tmp_path, [t, *force.T, *wrong.T], units=units).warnings
    assert named in warning


@pytest.mark.parametrize("names", [HEADER, [*HEADER[:1], "ax [m/s2]", "ay [m/s2]", "az [m/s2]", *HEADER[4:]]])
def test_gravity_removed_is_refused_though_the_arm_is_never_still(tmp_path, names):
    t = np.arange(3000) / 100.0
    angle = 1.0 * (1 - np.cos(2 * np.pi * t / 1.1))
    rate, bend = np.gradient(angle, t), np.gradient(np.gradient(angle, t), t)
    zero = 0 * t
    with pytest.raises(FormatError, match="gravity was removed"):
        read_columns(tmp_path, [t, 0.6 * rate**2, 0.6 * bend, zero, zero, zero, -rate], names)


@pytest.mark.parametrize("unit", ["rad/s", "deg/s"])
def test_axes_that_do_not_fit_leave_the_lengths_to_tell_the_unit(unit):
    """A swing of 80°: gravity wanders as far as the gyroscope turns, whatever its axes are called."""
    from armarc.recording.inference import angular_velocity_unit

    time_s = np.arange(3000) / 100
    angle = np.radians(40) * (1 - np.cos(2 * np.pi * time_s / 4))
    rate = np.gradient(angle, time_s)
    force = 9.81 * np.stack([np.sin(angle), np.cos(angle), 0 * angle], axis=1)
    mixed = np.stack([0.6 * rate, 0.8 * rate, 0 * rate], axis=1) * (1 if unit == "rad/s" else 180 / np.pi)
    told, why, _ = angular_velocity_unit(
        time_s, force, mixed, None, stated=None, named=None, file="set.csv", column="gx"
    )
    assert told == unit
    assert why


def test_a_sensor_at_rest_does_not_tell_its_unit():
    from armarc.recording.inference import angular_velocity_unit

    rng = np.random.default_rng(0)
    force = np.array([0.0, 0.0, 9.81]) + rng.normal(0, 0.02, (3000, 3))
    time_s, rates = np.arange(3000) / 100, rng.normal(0, 0.1, (3000, 3))
    with pytest.raises(UnitError, match="cannot be told"):
        angular_velocity_unit(
            time_s,
            force,
            rates,
            gravity_evidence(time_s, force, rates),
            stated=None,
            named=None,
            file="still.csv",
            column="gx",
        )


@pytest.mark.parametrize("header", [HEADER, None])
def test_exchanged_sensors_are_called_exchanged(tmp_path, header):
    """A spreadsheet's columns moved about: gravity stands where the gyroscope should."""
    columns = [T, *W_SI, *A_SI]
    with pytest.raises(FormatError, match="their columns are exchanged"):
        read_columns(tmp_path, columns, *([] if header is None else [header]))


def test_a_recording_without_gravity_is_not_called_exchanged(tmp_path):
    with pytest.raises((FormatError, UnitError)) as refused:
        read_columns(tmp_path, [T, *(FORCE - FORCE.mean(axis=0)).T, *W_DEG], HEADER)
    assert "exchanged" not in str(refused.value)
