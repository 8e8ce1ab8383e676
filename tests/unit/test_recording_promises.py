"""What a `Recording` promises: time that rises, units that gravity agrees with, values that never change."""

import math

import numpy as np
import pandas as pd
import pytest

import armarc
import armarc.recording.types
from armarc import Recording
from armarc.errors import FormatError, TimingError, UnitError, UsageError
from armarc.recording import Metadata
from armarc.simulate import SensorPlan, SimulationOptions, plan_session, simulate_session


@pytest.fixture(scope="module")
def made():
    """An invented set at 100 Hz."""
    return simulate_session(plan_session(SimulationOptions(reps=3, sensor=SensorPlan(noise="good")), 5), 5)[0]


@pytest.fixture
def arrays(made):
    return made.time_s.copy(), made.specific_force_m_s2.copy(), made.angular_velocity_rad_s.copy()


def fields(made, **changed):
    return {
        "time_s": made.time_s,
        "specific_force_m_s2": made.specific_force_m_s2,
        "angular_velocity_rad_s": made.angular_velocity_rad_s,
        "rate_hz": made.rate_hz,
    } | changed


def test_time_rises_or_there_is_no_recording(made):
    back = made.time_s[::-1].copy()
    twice = made.time_s.copy()
    twice[7] = twice[6]
    for time_s, where in ((back, "at sample 1"), (twice, "at sample 7")):
        with pytest.raises(TimingError, match="does not rise") as caught:
            Recording(**fields(made, time_s=time_s))
        assert where in str(caught.value)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"rate_hz": 0.0}, "positive rate_hz"),
        ({"rate_hz": math.nan}, "positive rate_hz"),
        ({"rate_hz": math.inf}, "positive rate_hz"),
        ({"time_s": np.zeros((3, 3))}, "one axis"),
        ({"temperature_c": np.zeros(3)}, "temperature_c"),
        ({"clipped": np.zeros(3, bool)}, "clipped"),
    ],
)
def test_what_is_no_recording_is_refused(made, changed, said):
    with pytest.raises(FormatError, match=said):
        Recording(**fields(made, **changed))


@pytest.mark.parametrize("name", ["specific_force_m_s2", "angular_velocity_rad_s"])
def test_every_number_is_one(made, name):
    values = getattr(made, name).copy()
    values[11, 1] = np.nan
    with pytest.raises(FormatError, match="sample 11"):
        Recording(**fields(made, **{name: values}))
    with pytest.raises(FormatError, match="shape"):
        Recording(**fields(made, **{name: values[:-1]}))


def test_degrees_in_the_place_of_radians_are_refused_before_they_are_measured(made):
    wrong = Recording(**fields(made, angular_velocity_rad_s=np.degrees(made.angular_velocity_rad_s)))
    with pytest.raises(UnitError, match="as if it were in deg/s"):
        armarc.process(wrong)
    weak = Recording(**fields(made, specific_force_m_s2=made.specific_force_m_s2 / 9.80665))
    with pytest.raises(UnitError, match="in g it would fit"):
        armarc.process(weak)
    assert len(armarc.process(Recording(**fields(made))).sets[0].reps) == 3


def test_arrays_are_looked_at_as_a_file_is(arrays):
    t, force, rate = arrays
    plain = Recording.from_arrays(t, force, rate)
    assert plain.source.units == {"time": "s", "acceleration": "m/s2", "angular_velocity": "rad/s"}
    other = Recording.from_arrays(1000 * t, force / 9.80665, np.degrees(rate))
    assert other.source.units == {"time": "ms", "acceleration": "g", "angular_velocity": "deg/s"}
    assert other.source.inferences
    for name in ("time_s", "specific_force_m_s2", "angular_velocity_rad_s"):
        assert getattr(other, name) == pytest.approx(getattr(plain, name), abs=1e-9)
    assert plain.angular_velocity_rad_s == pytest.approx(rate)
    stated = Recording.from_arrays(t, force, np.degrees(rate), units={"gyroscope": "deg/s"})
    assert stated.angular_velocity_rad_s == pytest.approx(rate)


def test_a_unit_that_gravity_contradicts_is_told_or_refused(arrays):
    t, force, rate = arrays
    told = Recording.from_arrays(t, force, np.degrees(rate), units="gyroscope=rad/s")
    assert any("as if it were in deg/s" in said for said in told.warnings)
    with pytest.raises(UnitError, match="in g it would fit"):
        Recording.from_arrays(t, force / 9.80665, rate, units="acceleration=m/s2")
    with pytest.raises(UsageError):
        Recording.from_arrays(t, force, rate, units="gyroscope=furlongs")


def test_a_file_with_the_same_numbers_gives_the_same_recording(arrays, tmp_path):
    t, force, rate = arrays
    path = tmp_path / "same.csv"
    names = ["time", "ax", "ay", "az", "gx", "gy", "gz"]
    pd.DataFrame(np.column_stack([t, force, rate]), columns=names).to_csv(path, index=False)
    read, made = armarc.read_csv(path), Recording.from_arrays(t, force, rate)
    assert made.time_s == pytest.approx(read.time_s, abs=1e-12)
    assert (made.rate_hz, made.gaps, made.warnings) == (read.rate_hz, read.gaps, read.warnings)
    assert np.array_equal(made.specific_force_m_s2, read.specific_force_m_s2)
    assert made.source.inferences == read.source.inferences


def test_arrays_that_cannot_be_used(arrays):
    t, force, rate = arrays
    for time, acceleration, kind in (
        (t[::-1], force, TimingError),
        (t[:2], force[:2], TimingError),
        (t, force[:, :2], FormatError),
        (t[:, None], force, FormatError),
        (t, [["a", "b", "c"]] * len(t), FormatError),
        (t, np.zeros_like(force), FormatError),
        (t, force + 0j, FormatError),
        ([], np.zeros((0, 3)), TimingError),
    ):
        with pytest.raises(kind):
            Recording.from_arrays(time, acceleration, rate[: len(acceleration)])


def test_what_a_mask_hides_is_missing_whatever_stands_there(arrays):
    t, force, rate = arrays
    hidden = np.zeros(force.shape, dtype=bool)
    hidden[5:8] = True
    junk = np.where(hidden, 5.0, force)
    made = Recording.from_arrays(t, np.ma.masked_array(junk, hidden), rate)
    without = Recording.from_arrays(t, np.where(hidden, np.nan, force), rate)
    assert any("missing cells" in said for said in made.warnings)
    assert np.array_equal(made.specific_force_m_s2, without.specific_force_m_s2)
    assert np.array_equal(made.time_s, without.time_s)


def test_row_numbers_in_the_place_of_time_are_asked_about(arrays):
    t, force, rate = arrays
    made = Recording.from_arrays(np.arange(len(t)), force / 9.80665, rate)
    (said,) = [said for said in made.warnings if "row numbers" in said]
    assert "counts 0, 1, 2" in said
    assert not any("row numbers" in said for said in Recording.from_arrays(1000 * t, force, rate).warnings)


def test_local_instants_over_the_end_of_summer_time_make_no_pause(arrays):
    t, force, rate = arrays
    utc = pd.date_range("2026-10-25 00:59:57", periods=len(t), freq="10ms", tz="UTC")
    local = utc.tz_convert("Europe/Berlin").tz_localize(None)
    assert local[-1] - local[0] < pd.Timedelta(0)
    made = Recording.from_arrays(local, force, rate)
    assert made.gaps == ()
    assert made.duration_s == pytest.approx(0.01 * (len(t) - 1), abs=1e-6)
    assert any("turned by an hour" in said for said in made.warnings)


def test_what_is_no_recording_and_no_table_is_refused_plainly(arrays):
    with pytest.raises(UsageError, match=r"takes a recording, got str \(armarc\.read_csv"):
        armarc.process("set.csv")
    with pytest.raises(UsageError, match=r"recording as trunk, got str \(armarc\.read_csv"):
        armarc.process(Recording.from_arrays(*arrays), trunk="chest.csv")
    with pytest.raises(UsageError, match=r"kept is what armarc\.open_kept\(\) gives, got int"):
        armarc.process(Recording.from_arrays(*arrays), kept=3)
    with pytest.raises(FormatError, match="acceleration holds true and false"):
        Recording.from_arrays(arrays[0], arrays[1] > 0, arrays[2])
    for what in ({"ax": [1.0]}, [1.0], pd.Series([1.0]), np.zeros((3, 7))):
        with pytest.raises(FormatError, match="expected a table of pandas"):
            Recording.from_frame(what)


@pytest.mark.parametrize("stated", ["lateral-raise", 3, {"exercise": "lateral-raise"}])
def test_what_is_stated_is_named(made, stated):
    recording = Recording(**fields(made))
    with pytest.raises(UsageError, match=r"takes MeasuringOptions after the recording, got .*exercise="):
        armarc.process(recording, stated)


@pytest.mark.parametrize(
    ("named", "said"),
    [({"load_kg": "8kg"}, "load_kg is a number"), ({"exercise": 3}, "exercise is a word"),
     ({"side": True}, "side is a word"), ({"rest_s": [3, 4]}, "rest_s is a number")],
)  # fmt: skip
def test_options_of_another_kind_are_refused_plainly(named, said):
    with pytest.raises(UsageError, match=said):
        armarc.MeasuringOptions.of(named)


def test_numbers_of_numpy_are_numbers():
    of = armarc.MeasuringOptions.of
    made = of({"load_kg": np.int16(8), "band_deg_s": np.array([45, 70]), "reach_cm": np.float32(55)})
    assert made == of({"load_kg": 8.0, "band_deg_s": (45, 70), "reach_cm": 55})


def test_blank_rows_and_gaps_are_told(arrays):
    t, force, rate = arrays
    force[5] = np.nan
    keep = np.r_[0:100, 150 : len(t)]
    made = Recording.from_arrays(t[keep], force[keep], rate[keep], temperature_c=np.full(len(keep), 21.0))
    assert any("1 row" in said for said in made.warnings)
    assert len(made.gaps) == 1
    assert made.gaps[0].missing_samples == 50
    assert made.temperature_c is not None
    assert (made.temperature_c == 21).all()


def test_instants_and_metadata(arrays):
    t, force, rate = arrays
    began = np.datetime64("2026-01-02T03:04:05.500")
    instants = began + (t * 1e9).round().astype("timedelta64[ns]")
    made = Recording.from_arrays(instants, force, rate, metadata=Metadata(side="left", load_kg=4.0))
    assert made.time_s == pytest.approx(t, abs=1e-6)
    assert made.metadata == Metadata(side="left", load_kg=4.0, started_at="2026-01-02T03:04:05.500")
    instants[3] = np.datetime64("NaT")
    with pytest.raises(TimingError, match="missing"):
        Recording.from_arrays(instants, force, rate)


def test_a_frame_is_read_by_its_column_names(arrays):
    t, force, rate = arrays
    columns = {f"acc_{axis} [g]": force[:, i] / 9.80665 for i, axis in enumerate("xyz")}
    columns |= {f"gyro_{axis} [deg/s]": np.degrees(rate[:, i]) for i, axis in enumerate("xyz")}
    frame = pd.DataFrame({"time [ms]": 1000 * t, **columns})
    made = Recording.from_frame(frame)
    assert made.source.columns["gx"] == "gyro_x [deg/s]"
    assert made.angular_velocity_rad_s == pytest.approx(rate)
    assert made.time_s == pytest.approx(t, abs=1e-9)
    indexed = pd.DataFrame(columns, index=pd.Timestamp("2026-01-02", tz="UTC") + pd.to_timedelta(t, unit="s"))
    again = Recording.from_frame(indexed)
    assert again.specific_force_m_s2 == pytest.approx(force)
    assert again.metadata.started_at == "2026-01-02T00:00:00Z"
    since = Recording.from_frame(pd.DataFrame(columns, index=pd.to_timedelta(t + 3.0, unit="s")))
    assert since.time_s == pytest.approx(t, abs=1e-6)
    dated = Recording.from_frame(indexed.reset_index(names="when"))  # the only column of dates
    assert dated.time_s == pytest.approx(t, abs=1e-6)
    assert dated.source.columns["time"] == "when"
    twice = indexed.reset_index(names="when").assign(then=indexed.index)
    with pytest.raises(TimingError, match="columns='time=…'"):
        Recording.from_frame(twice)
    with pytest.raises(TimingError, match=r"frame\.reset_index"):
        Recording.from_frame(frame.set_index("time [ms]"))
    objects = Recording.from_frame(frame.astype(object))  # as a table of mixed columns has them
    assert objects.time_s == pytest.approx(t, abs=1e-9)
    with pytest.raises(TimingError, match="columns='time=…'"):
        Recording.from_frame(pd.DataFrame(columns))
    with pytest.raises(FormatError, match="gyro"):
        Recording.from_frame(frame.drop(columns="gyro_y [deg/s]"))


def test_nothing_of_a_result_can_be_changed(arrays):
    t, force, rate = arrays
    made = Recording.from_arrays(t, force, rate)
    force[:] = 0
    assert made.specific_force_m_s2.any()
    session = armarc.process(made, load_kg=3.0)
    motion, load = session.motions[0], session.loads[0]
    for array in (
        made.time_s,
        made.specific_force_m_s2,
        motion.angle_rad,
        motion.quaternion,
        motion.orientation.quaternion,
        motion.mounting.arm_axis,
        load.angle_rad,
        load.reps[0].concentric_n_m,
    ):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0


def test_equal_things_are_equal_and_shown_in_a_line(arrays):
    one, two = (Recording.from_arrays(*arrays) for _ in range(2))
    assert one == two
    assert hash(one) == hash(two)
    first, second = (armarc.process(made, load_kg=3.0) for made in (one, two))
    assert first == second
    assert hash(first) == hash(second)
    assert first != armarc.process(one, load_kg=4.0)
    arrays[1][50] += 0.01
    assert Recording.from_arrays(*arrays) != one
    assert one != "a recording"
    for thing in (one, first, first.motions[0], first.sets[0], first.loads[0]):
        assert len(repr(thing)) < 1000
        assert type(thing).__name__ in repr(thing)
    assert f"time_s=<{len(one.time_s)} float64>" in repr(one)
