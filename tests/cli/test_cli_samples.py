"""The time series out: every sample with its angle, rate, orientation and phase."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

import armarc
from log_program import run

DEMOS = Path(__file__).parents[2] / "recordings"


def test_samples_carry_the_set_the_rep_and_the_phase(tmp_path):
    out = tmp_path / "samples.csv"
    run("process", DEMOS / "three-sets.csv", "--samples", out)
    table = pd.read_csv(out, keep_default_na=False, na_values=["nan", ""])
    session = armarc.process(armarc.read_csv(DEMOS / "three-sets.csv"))
    motion = session.motions[0]
    assert len(table) == sum(len(one.time_s) for one in session.motions)
    assert table["angle_deg"].to_numpy() == pytest.approx(np.degrees(motion.angle_rad), abs=1e-5)
    assert sorted(table["set"].unique()) == [0, 1, 2, 3]
    for one in session.sets:
        for rep in one.reps:
            own = table[(table["set"] == one.set) & (table["rep"] == rep.rep)]
            raising = own[own["phase"] == "raising"]
            assert len(raising) * 0.01 == pytest.approx(rep.concentric_s, abs=0.011)
            assert own["angle_deg"].max() == pytest.approx(np.degrees(rep.top_rad), abs=0.05)
    # Turned into the global frame, gravity points down where the arm rests.
    turning = np.linalg.norm(table[["gx_rad_s", "gy_rad_s", "gz_rad_s"]].to_numpy(), axis=1)
    still = table[(table["set"] == 0) & (turning < 0.03)]
    q = still[["qw", "qx", "qy", "qz"]].to_numpy(copy=True)
    f = still[["ax_m_s2", "ay_m_s2", "az_m_s2"]].to_numpy(copy=True)
    up = Rotation.from_quat(q, scalar_first=True).apply(f)
    up = np.median(up, axis=0)
    assert up == pytest.approx([0, 0, 9.81], abs=0.15)


def test_a_file_per_recording_in_parquet_and_nothing_of_others_is_overwritten(tmp_path):
    pytest.importorskip("pyarrow")
    out = tmp_path / "samples.parquet"
    names = ("strict-raise", "swung-set")
    for _ in range(2):  # an older one of ours is replaced
        run("process", *(DEMOS / f"{name}.csv" for name in names), "--samples", out)
    for name in names:
        table = pd.read_parquet(tmp_path / f"samples-{name}.parquet")
        session = armarc.process(armarc.read_csv(DEMOS / f"{name}.csv"))
        pd.testing.assert_frame_equal(table, session.samples_frame(), check_dtype=False)
    mine = tmp_path / "mine.csv"
    mine.write_text("somebody's own, numbers\n1,2\n")
    run("process", DEMOS / "strict-raise.csv", "--samples", mine, code=2)
    assert mine.read_text().startswith("somebody's own")
    run("process", DEMOS / "strict-raise.csv", "--samples", tmp_path / "samples.txt", code=2)


def test_sets_as_a_table():
    session = armarc.process(armarc.read_csv(DEMOS / "three-sets.csv"))
    table, records = session.summary_frame(), session.to_dict()["sets"]
    assert table["set"].tolist() == [1, 2, 3]
    assert table["mean_rom_deg"].tolist() == [one["summary"]["mean_rom_deg"] for one in records]
    assert table["in_band_count"].tolist() == [one["summary"]["in_band"]["count"] for one in records]
    assert table["peak_moment_n_m"].tolist() == [one["load"]["summary"]["peak_moment_n_m"] for one in records]


def test_means_of_the_load_go_over_the_full_reps_too():
    """Sets of five clean reps, one swung and one partial: the two others would move the peak and the loaded range."""
    session = armarc.process(armarc.read_csv(DEMOS / "three-sets.csv"))
    for one in session.to_dict()["sets"]:
        full = [rep for rep in one["reps"] if not {"swung", "partial"} & set(rep["quality"])]
        assert (len(full), len(one["reps"])) == (5, 7)
        summary = one["load"]["summary"]
        assert (summary["reps"], summary["full_reps"]) == (7, 5)
        for key in ("peak_moment_n_m", "peak_moment_at_deg", "loaded_impulse_pct", "concentric_work_j"):
            values = [rep[key] for rep in full]
            assert summary[key] == pytest.approx(np.mean(values), abs=1e-3)
            assert summary[f"{key}_sd"] == pytest.approx(np.std(values, ddof=1), abs=1e-3)
        over_all = np.mean([rep["peak_moment_n_m"] for rep in one["reps"]])
        assert over_all > summary["peak_moment_n_m"] + 1
