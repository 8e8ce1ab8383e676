"""``armarc measures`` explains every key that ``armarc process`` writes."""

import csv
import json
import re
from fnmatch import fnmatch
from pathlib import Path

import pytest
import typer
from scipy.spatial.transform import Rotation
from typer.testing import CliRunner

from armarc.cli import commands

app = typer.Typer()
commands.register(app)
STRICT = Path(__file__).parents[2] / "recordings" / "strict-raise.csv"


def run(*words):
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, result.stderr
    return result


@pytest.fixture(scope="module")
def explained():
    document = json.loads(run("measures", "--json").stdout)
    keys: dict[str, set[str]] = {}
    for of in ("rep", "set", "load"):
        for row in document[of]:
            keys.setdefault(of, set()).update(
                {row["key"], *([f"{row['key']}_se"] * row["has_standard_error"])}
            )
    for row in document["beside"]:
        keys.setdefault(row["of"], set()).update(re.split(", | …", row["key"]))
        assert row["meaning"]
    return keys


def is_told(key, keys):
    return any(fnmatch(key, name.replace("…", "*")) for name in keys)


def untold(keys, *explained):
    return sorted(key for key in keys if not any(is_told(key, each) for each in explained))


def test_every_key_of_the_json_is_told(explained):
    (line,) = run("process", STRICT, "--json").stdout.splitlines()
    document = json.loads(line)
    (one,) = document.pop("sets")
    files = {name for key, value in document.items() for name in _paths(key, value)}
    assert untold(files, explained["file"]) == []
    assert untold(one["reps"][0], explained["rep"], explained["load"]) == []
    means = {key for key in one["summary"] if key.startswith(("mean_", "cv_"))}
    assert {re.sub("^(mean|cv)_", "", key).removesuffix("_pct" * key.startswith("cv_")) for key in means} - {
        "concentric_deg_s",
        "eccentric_deg_s",
    } <= explained["rep"], "measures of reps, two of which are called mean themselves"
    assert untold(set(one["summary"]) - means, explained["set"]) == []
    load = one.pop("load")
    assert untold(load.pop("summary"), explained["load"], {"reps"}) == []
    assert untold(load, explained["load"]) == []
    assert untold(set(one) - {"summary", "reps"}, explained["set"], {"start_s", "end_s"}) == []


def _paths(key, value):
    if key in ("source", "mounting"):
        return {f"{key}.{name}" for name in value}
    return {key}


def test_every_column_of_the_samples_is_told(explained, tmp_path):
    out = tmp_path / "samples.csv"
    run("process", STRICT, "--samples", out)
    with out.open(newline="") as file:
        head = next(csv.reader(file))
    axes = {"ay_m_s2", "az_m_s2", "gy_rad_s", "gz_rad_s"}
    assert untold(set(head) - axes, explained["sample"]) == []


def test_the_arm_axis_points_to_the_hand(tmp_path):
    """As it is said: turned into global axes it hangs down before the first rep."""
    out = tmp_path / "samples.csv"
    (line,) = run("process", STRICT, "--samples", out, "--json").stdout.splitlines()
    with out.open(newline="") as file:
        first = next(csv.DictReader(file))
    turn = Rotation.from_quat([float(first[name]) for name in ("qx", "qy", "qz", "qw")])
    down = turn.apply(json.loads(line)["mounting"]["arm_axis"])[2]
    assert down == pytest.approx(-1, abs=0.05)


def test_every_flag_of_a_rep_is_told():
    """What the README's table of flags names stands with its meaning in the table and in the JSON, and no other."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    rows = readme.partition("| flag | what was seen |\n")[2].partition("\n\n")[0].splitlines()[1:]
    named = {flag for row in rows for flag in re.findall(r"`(\w+)`", row.split("|")[1])}
    told = json.loads(run("measures", "--json").stdout)["flags"]
    assert set(told) == named
    lines = {line[1]: line[4] for line in csv.reader(run("measures").stdout.splitlines(), delimiter="\t")}
    assert {flag: lines.get(flag) for flag in told} == told
    assert "0.25 s" in told["creeping"]
