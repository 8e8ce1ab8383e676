"""Reading recordings of real arms whose columns name no units.

The open wrist dataset: Burns, Leung, Hardisty, Whyne, Henry, McLachlin 2018, Physiol Meas 39:075007 (cited from
memory), 140 recordings of seven exercises, 50 Hz, g and rad/s, carried by the package ``seglearn``. Dumbbell raises,
curls and optical recordings: see ``datasets/README.md`` beside the project for their sources and licences.
"""

import csv
import gzip
import json
import warnings
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, lfilter

from armarc.cli.process import process
from armarc.errors import FormatError, UnitError
from armarc.motion.orientation import estimate_orientation
from armarc.motion.quaternions import rotate_back
from armarc.recording import Recording, read_csv
from armarc.recording.clipping import GYROSCOPE_RANGES_RAD_S, clipped_samples
from grids import crossed
from one_command import program

PEOPLE = Path(__file__).resolve().parents[3] / "shared" / "datasets" / "people"
GRAVITY_M_S2 = 9.80665
HEADER = "time,ax,ay,az,gx,gy,gz"
RAISES = {1: "lateral-raise", 2: "front-raise"}
PROCESS = program(process, "process")


@cache
def dataset():
    with warnings.catch_warnings():
        # On import the package touches names that newer versions of its own dependencies deprecate.
        warnings.filterwarnings("ignore", category=DeprecationWarning)
        warnings.filterwarnings("ignore", category=FutureWarning)
        datasets = pytest.importorskip("seglearn.datasets", reason="seglearn carries the dataset")
        return datasets.load_watch()


def samples(k):
    return np.asarray(dataset()["X"][k], dtype=float)


def picked(code):
    return np.flatnonzero(np.asarray(dataset()["y"]) == code).tolist()


def written(path, acceleration, angular_velocity, rate_hz=50.0):
    t = np.arange(len(acceleration)) / rate_hz
    rows = np.column_stack([t, acceleration, angular_velocity])
    np.savetxt(path, rows, delimiter=",", header=HEADER, comments="", fmt="%.6g")
    return path


@pytest.mark.parametrize(
    ("code", "units"),
    crossed(range(7), [(1.0, "g", 1.0, "rad/s"), (GRAVITY_M_S2, "m/s2", 180 / np.pi, "deg/s")], fold=2),
)
def test_units_of_every_exercise_are_told(tmp_path, code, units):
    a, unit_a, w, unit_g = units
    for k in picked(code):
        recording = read_csv(written(tmp_path / f"{k}.csv", a * samples(k)[:, :3], w * samples(k)[:, 3:]))
        assert recording.source.units == {"time": "s", "acceleration": unit_a, "angular_velocity": unit_g}, k
        assert not any("turn" in warning for warning in recording.warnings), k


@pytest.mark.parametrize("code", RAISES)
def test_raises_are_processed_from_the_command_line_without_a_word_about_units(tmp_path, code):
    for k in picked(code)[::4]:
        path = written(tmp_path / f"{k}.csv", samples(k)[:, :3], samples(k)[:, 3:])
        done = PROCESS(tmp_path, str(path), "-e", RAISES[code], "--side", "right", "--json")
        assert done.exit_code == 0, done.stderr
        assert sum(len(one["reps"]) for one in json.loads(done.stdout)["sets"]) > 0


@pytest.mark.parametrize("code", range(7))
def test_gravity_removed_from_real_recordings_is_refused(tmp_path, code):
    """Whatever the filter that removed it, if it holds the vertical within some 10°."""
    for k in picked(code)[::5]:
        force, rates = samples(k)[:, :3] * GRAVITY_M_S2, samples(k)[:, 3:]
        q = estimate_orientation(rates, force, 50.0)
        linear = force - rotate_back(q, np.array([0.0, 0.0, GRAVITY_M_S2]))
        path = tmp_path / f"{k}.csv"
        written(path, linear, rates)
        named = path.read_text().replace("ax,ay,az", "ax_m_s2,ay_m_s2,az_m_s2", 1)
        path.write_text(named)
        with pytest.raises((FormatError, UnitError), match="gravity was removed"):
            read_csv(path)


def test_gravity_removed_by_a_plain_high_pass_is_mostly_refused():
    """As loggers without a gyroscope do it, here at 0.5 Hz: what is left stands still for a while, and is no gravity.

    Before the size of what is left was looked at beside the readings' quiet moments, 7 of these 70 were read.
    """
    b, a = butter(1, 0.5 / 25.0, "high")
    refused = 0
    for k in range(0, 140, 2):
        linear = lfilter(b, a, samples(k)[:, :3] * GRAVITY_M_S2, axis=0)
        try:
            Recording.from_arrays(np.arange(len(linear)) / 50.0, linear, samples(k)[:, 3:6])
        except (FormatError, UnitError):
            refused += 1
    assert refused >= 65


def test_a_refusal_for_want_of_gravity_says_what_else_it_may_be():
    """Gravity turned back by a gyroscope of other axes is smeared, but averages a good deal."""
    said = []
    for k in picked(1):
        force, mixed = samples(k)[:, :3], samples(k)[:, 3:6][:, [1, 0, 2]]
        try:
            Recording.from_arrays(np.arange(len(force)) / 50.0, force, mixed)
        except (FormatError, UnitError) as error:
            said.append(str(error))
    said = [words for words in said if "gravity was removed" in words]
    assert said
    assert all("or its axes are not those of the gyroscope" in words for words in said)


@pytest.mark.parametrize("code", [1, 2, 3])
@pytest.mark.parametrize(
    ("order", "signs"), [((1, 0, 2), (1, 1, 1)), ((0, 1, 2), (-1, -1, -1)), ((1, 2, 0), (1, 1, 1))]
)
def test_a_gyroscope_with_its_axes_mixed_up_is_doubted(tmp_path, code, order, signs):
    doubted = []
    for k in picked(code)[::4]:
        mixed = samples(k)[:, 3:][:, list(order)] * signs
        path = written(tmp_path / f"{k}.csv", samples(k)[:, :3], mixed)
        try:
            recording = read_csv(path, units="acceleration=g,gyroscope=rad/s")
        except UnitError:
            # In the wildest sets such a gyroscope leaves nothing that looks like gravity.
            assert np.median(np.linalg.norm(samples(k)[:, :3], axis=1)) > 2.0
            continue
        doubted.append(any("accelerometer and gyroscope" in warning for warning in recording.warnings))
    assert len(doubted) >= 4
    assert all(doubted)


@pytest.mark.parametrize("code", range(7))
def test_a_calibrated_gyroscope_at_the_end_of_its_range_is_seen(code):
    """Real rates, cut where a sensor's range would end and then calibrated; and as they are, never cut."""
    rng = np.random.default_rng(code)
    seen = []
    for k in picked(code)[::3]:
        rates = samples(k)[:, 3:]
        assert not clipped_samples(rates, GYROSCOPE_RANGES_RAD_S, 2.0).any()
        limit = np.quantile(np.abs(rates).max(axis=1), 0.96)
        if limit < 2.1:
            continue
        true = (np.abs(rates) >= limit).any(axis=1)
        matrix = np.eye(3) + rng.normal(0, 0.02, (3, 3))
        values = np.round(np.clip(rates, -limit, limit) @ matrix.T + rng.normal(0, 0.05, 3), 5)
        flags = clipped_samples(values, GYROSCOPE_RANGES_RAD_S, 2.0)
        assert (flags & ~true).sum() <= 2
        seen.append(flags[true].mean())
    assert not seen or np.mean(np.array(seen) > 0.3) >= 0.7


needs_people = pytest.mark.skipif(not PEOPLE.is_dir(), reason="the people data is not beside the project")


def people():
    names = sorted(PEOPLE.glob("*.csv.gz")) if PEOPLE.is_dir() else []
    return [path for path in names if ".truth." not in path.name]


def unnamed(path, to):
    """The same recording under column names that say no unit."""
    with gzip.open(path, "rt", newline="") as table:
        rows = list(csv.reader(table))
    with to.open("w", newline="") as table:
        csv.writer(table).writerows([HEADER.split(","), *rows[1:]])
    return to


@needs_people
@pytest.mark.parametrize("path", people(), ids=lambda path: path.name.removesuffix(".csv.gz"))
def test_people_are_read_the_same_with_and_without_named_units(tmp_path, path):
    named = read_csv(path)
    recording = read_csv(unnamed(path, tmp_path / "unnamed.csv"))
    assert recording.source.units == named.source.units
    assert not recording.is_clipped.any()
    # The upper arm's accelerometers of the second and third person are damaged, which is no order of axes.
    assert not any("do not turn together" in warning for warning in recording.warnings)
