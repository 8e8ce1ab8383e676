"""A sensor that reads wrongly on every axis: whoever measures with it takes the kept calibration, once."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import numpy as np
import pytest

from armarc.api import NOTHING_KEPT, Kept, process
from armarc.archive.measuring import ArchiveTask, measure_task
from armarc.archive.setup import make_setup
from armarc.choices import choose
from armarc.known_sensor import KnownSensor, open_shelf
from armarc.live.aftermath import After
from armarc.live.session import LiveSession
from armarc.live.source import LinkNews, Samples
from armarc.load import Lifter
from armarc.log.measuring import measure_session
from armarc.options import MeasuringOptions
from armarc.recording import Metadata, read_csv, write_csv
from armarc.sensor.calibration import (
    AccelerometerCalibration,
    Calibration,
    GyroscopeCalibration,
    save_calibration,
)
from armarc.simulate import SensorPlan, SimulationOptions, plan_session, simulate_session

GAIN = 1.04
SKEWED = np.array([[1.0, 0.05, -0.03], [0.04, 0.97, 0.0], [0.0, 0.06, 1.02]])
OFFSET = np.array([0.2, -0.1, 0.15])
BIAS = np.radians([1.0, -0.5, 0.3])
SERIAL = "invented-17"


@pytest.fixture(scope="module")
def calibration():
    none = np.zeros(3)
    return Calibration(
        sensor="wonky",
        serial=SERIAL,
        made_at="2026-01-02T03:04:05+0000",
        accelerometer=AccelerometerCalibration(
            offset_m_s2=OFFSET,
            matrix=np.linalg.inv(SKEWED),
            offset_se_m_s2=none + 0.001,
            scale_se=none + 0.0005,
            cross_se=0.0005,
            poses=6,
            rests=6,
            spread_before_m_s2=0.3,
            spread_after_m_s2=0.01,
            gravity_m_s2=9.80665,
        ),
        gyroscope=GyroscopeCalibration(
            bias_rad_s=BIAS,
            matrix=np.eye(3) / GAIN,
            bias_se_rad_s=1e-4,
            scale_se=none + 0.001,
            cross_se=0.001,
            turns=6,
            turned_axes=("x", "y", "z"),
            error_before_rad=0.1,
            error_after_rad=0.002,
            mean_turn_rad=3.0,
        ),
    )


@pytest.fixture(scope="module")
def true_set():
    simulated_as = SimulationOptions(reps=4, sensor=SensorPlan(noise="ideal"), still_s=2.0)
    return simulate_session(plan_session(simulated_as, 3), 3)[0]


@pytest.fixture(scope="module")
def wonky(true_set):
    """What the wrong sensor makes of it."""
    metadata = replace(true_set.metadata, sensor="wonky", other={"sensor_serial": SERIAL})
    return replace(
        true_set,
        specific_force_m_s2=true_set.specific_force_m_s2 @ SKEWED.T + OFFSET,
        angular_velocity_rad_s=true_set.angular_velocity_rad_s * GAIN + BIAS,
        metadata=metadata,
    )


@pytest.fixture
def kept(calibration, tmp_path, monkeypatch):
    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(tmp_path / "config"))
    save_calibration(calibration)
    return open_shelf()


def tops(document):
    return np.array([rep["top_deg"] for one in document["sets"] for rep in one["reps"]])


@pytest.fixture(scope="module")
def wanted(true_set):
    return tops(process(true_set).to_dict())


def test_without_the_calibration_the_sensor_is_wrong(wonky, wanted):
    found = tops(process(wonky).to_dict())
    assert (np.abs(found - wanted) > 1.0).all()


def test_python_takes_along_what_is_kept_unless_told_otherwise(wonky, wanted, kept):
    session = process(wonky)
    assert tops(session.to_dict()) == pytest.approx(wanted, abs=0.05)
    scales = session.to_dict()["mounting"]["scale_se"]
    assert scales["told_by"] == "calibration"
    assert scales["gyroscope_pct"] == pytest.approx(100 * np.hypot(0.001, 0.001), rel=1e-3)
    # A stranger is left alone.
    stranger = kept.look_up(replace(wonky.metadata, sensor="other", other={}), "right")
    assert stranger == KnownSensor()
    assert stranger.corrected(wonky) is wonky
    alone = process(wonky, kept=NOTHING_KEPT).to_dict()
    assert alone["mounting"]["scale_se"]["told_by"] == "noise"
    assert (np.abs(tops(alone) - wanted) > 1.0).all()


def test_the_log_measures_again_with_it(wonky, wanted, kept, tmp_path):
    path = tmp_path / "kept.csv"
    write_csv(wonky, path)
    again = measure_session(path.read_bytes(), "kept.csv", {"side": "right"}, Lifter())
    assert tops(again.to_dict()) == pytest.approx(wanted, abs=0.05)


def test_an_archive_takes_it_along_to_its_workers(wonky, wanted, kept, tmp_path):
    path = tmp_path / "one.csv"
    write_csv(wonky, path)
    task = ArchiveTask(str(path), path.stat().st_size, 0)
    setup = make_setup(kept=Kept(sensors=kept))
    outcome = measure_task(task, setup)
    assert [rep["top_deg"] for rep in outcome.reps] == pytest.approx(wanted, abs=0.05)
    assert any("calibration of wonky" in said for said in outcome.file["inferences"])
    # Another calibration is another run of the archive.
    assert setup.run != make_setup().run


class Paper:
    """A writer that keeps what it is given."""

    def __init__(self, rate_hz, head):
        self.rate_hz, self.head, self.rates = rate_hz, head, []

    def append(self, time_s, force, omega):
        self.rates.append(omega)

    def flush(self):
        pass

    def close(self):
        pass


def test_live_corrects_what_comes_in_and_keeps_what_came(wonky, wanted, kept, tmp_path):
    head = Metadata(sensor="wonky", other={"sensor_serial": SERIAL})
    papers, said = [], []

    async def source():
        yield LinkNews(time_s=0.0, state="up", text="wonky is connected", rate_hz=100.0, head=head)
        for first in range(0, len(wonky.time_s), 10):
            cut = slice(first, first + 10)
            yield Samples(
                time_s=wonky.time_s[cut],
                specific_force_m_s2=wonky.specific_force_m_s2[cut],
                angular_velocity_rad_s=wonky.angular_velocity_rad_s[cut],
            )

    session = LiveSession(
        choices=choose(wonky.metadata, MeasuringOptions(side="right")),
        faces=[],
        after=After(),
        tell=said.append,
        writer_for=lambda _, rate_hz, known: papers.append(Paper(rate_hz, known)) or papers[-1],
        known_for=kept.look_up,
        in_step=True,
    )
    asyncio.run(session.run(source(), []))
    (measured,) = session.sets
    assert tops(measured.result.to_dict()) == pytest.approx(wanted, abs=0.3)
    assert any("calibration made at 2026-01-02" in text for text in said)
    # The raw stream is as it came and names its sensor, so that it can be measured again.
    assert np.concatenate(papers[0].rates) == pytest.approx(wonky.angular_velocity_rad_s)
    assert papers[0].head.other["sensor_serial"] == SERIAL
    # The set's own samples are corrected and say so: measuring them again changes nothing.
    path = tmp_path / "set.csv"
    write_csv(measured.raw, path)
    again = measure_session(path.read_bytes(), "set.csv", {"side": "right"}, Lifter())
    assert tops(again.to_dict()) == pytest.approx(tops(measured.result.to_dict()), abs=0.05)
    assert read_csv(path).metadata.other["calibrated_with"]
