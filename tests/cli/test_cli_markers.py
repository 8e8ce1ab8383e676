"""``process --markers``: reps as subtitles and a table of times, laid over a video by a clap."""

import csv
import json
import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from log_program import run, run_json

STRICT = Path(__file__).parents[2] / "recordings" / "strict-raise.csv"
CLOCK = {".srt": r"(\d\d):([0-5]\d):([0-5]\d),(\d{3})", ".vtt": r"(\d\d):([0-5]\d):([0-5]\d)\.(\d{3})"}


def cues(text, ending):
    """Cues by the grammar of the formats: number, two times, lines of text, an empty line."""
    blocks = [block.split("\n") for block in text.strip().split("\n\n")]
    if ending == ".vtt":
        assert blocks.pop(0) == ["WEBVTT"]
        assert blocks.pop(0)[0].startswith("NOTE ")
    out = []
    for number, (head, times, *words) in enumerate(blocks, start=1):
        assert head == str(number)
        found = re.fullmatch(f"{CLOCK[ending]} --> {CLOCK[ending]}", times)
        h, m, s, ms, h2, m2, s2, ms2 = map(int, found.groups())
        out.append(
            (3600 * h + 60 * m + s + ms / 1000, 3600 * h2 + 60 * m2 + s2 + ms2 / 1000, "\n".join(words))
        )
    return out


def with_clap(path, at_s, size=60.0, again=None):
    """The invented set with a blow of two samples in it."""
    lines = STRICT.read_text().splitlines()
    comments = [line for line in lines if line.startswith("#")]
    table = pd.read_csv(STRICT, comment="#")
    for moment in [at_s, *([again] if again else [])]:
        row = int(np.searchsorted(table["time_s"], moment))
        table.loc[row : row + 1, "ax_m_s2"] += [size, -size / 2]
    path.write_text("\n".join(comments) + "\n" + table.to_csv(index=False))
    return path


@pytest.mark.parametrize("ending", [".srt", ".vtt"])
def test_subtitles_say_each_rep_while_it_lasts(tmp_path, ending):
    out = tmp_path / f"reps{ending}"
    for _ in range(2):  # an older one of ours is replaced
        said = run("process", STRICT, "--markers", out, "--offset", "-4.5")
    assert "8 reps written" in said.stderr
    reps = run_json("process", STRICT)["sets"][0]["reps"]
    found = cues(out.read_text(), ending)
    assert len(found) == 8
    for (start, end, words), rep in zip(found, reps, strict=True):
        assert start == pytest.approx(max(rep["start_s"] - 4.5, 0), abs=0.001)
        assert end == pytest.approx(rep["end_s"] - 4.5, abs=0.001)
        assert words.startswith(
            f"Set 1, rep {rep['rep']}\nstart {rep['start_velocity_deg_s']:.0f} °/s, inside"
        )
    assert all(a[1] <= b[0] for a, b in pairwise(found))


def test_a_clap_lays_the_reps_over_the_video(tmp_path):
    recording = with_clap(tmp_path / "clapped.csv", 1.2)
    out = tmp_path / "reps.csv"
    said = run("process", recording, "--markers", out, "--clap", "10")
    assert "at 1.20 s of the recording is at 10.00 s of the video" in said.stderr
    rows = list(csv.DictReader(out.read_text().splitlines()))
    for row, rep in zip(
        rows, json.loads(run("process", recording, "--json").stdout)["sets"][0]["reps"], strict=True
    ):
        assert float(row["video_start_s"]) == pytest.approx(rep["start_s"] + 8.8, abs=0.011)
        assert float(row["video_end_s"]) - float(row["video_start_s"]) == pytest.approx(
            rep["end_s"] - rep["start_s"], abs=0.002
        )


def test_what_cannot_be_laid_over_is_said(tmp_path):
    out = tmp_path / "reps.srt"
    assert "no clap" in run("process", STRICT, "--markers", out, "--clap", "3", code=2).stderr
    twice = with_clap(tmp_path / "twice.csv", 0.6, again=1.6)
    assert "several blows" in run("process", twice, "--markers", out, "--clap", "3", code=2).stderr
    assert "--markers" in run("process", STRICT, "--clap", "3", code=2).stderr
    assert (
        "one of them"
        in run("process", STRICT, "--markers", out, "--clap", "3", "--offset", "1", code=2).stderr
    )
    run("process", STRICT, "--markers", tmp_path / "reps.txt", code=2)
    out.write_text("1\n00:00:01,000 --> 00:00:02,000\nSomebody's own words\n")
    run("process", STRICT, "--markers", out, code=2)
    assert "Somebody" in out.read_text()
