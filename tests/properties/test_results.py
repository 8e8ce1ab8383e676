"""A result read back is the result: whatever is published, by this version or an earlier one."""

from __future__ import annotations

import copy
import json
import math
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import armarc
from armarc.errors import ArmarcError, FormatError, InputError, UsageError
from armarc.load.table import LoadMeasures
from armarc.measures import columns, record_of, row_of
from armarc.reps import Rep
from armarc.results import Result, SetResult
from invented_sets import invent

NUMBERS = st.floats(-1e4, 1e4) | st.integers(-500, 500).map(float)
KINDS = {
    "number": NUMBERS,
    "whole": st.integers(0, 10**6),
    "text": st.text(max_size=8),
    "texts": st.lists(st.text(max_size=8), max_size=3),
    "yes/no": st.booleans(),
}


PARTS = ("sets", "left_out", "source", "settings", "mounting")


@pytest.fixture(scope="module")
def document():
    recording = armarc.read_csv("recordings/three-sets.csv", kept=armarc.NOTHING_KEPT)
    lifter = armarc.Lifter(name="Kim", body_mass_kg=61.5, stature_m=1.68)
    return armarc.process(recording, load_kg=6, lifter=lifter, kept=armarc.NOTHING_KEPT).to_dict()


def records(table):
    return st.fixed_dictionaries(
        {c.key: KINDS[c.kind] if not c.optional else st.none() | KINDS[c.kind] for c in columns(table)}
    )


@settings(max_examples=60, deadline=None)
@given(st.data(), st.sampled_from((Rep, LoadMeasures)))
def test_a_published_row_read_back_is_published_the_same(data, table):
    once = record_of(row_of(table, data.draw(records(table))))
    assert record_of(row_of(table, once)) == once


def test_a_result_read_back_is_published_the_same(document):
    assert Result.from_dict(json.loads(json.dumps(document))).to_dict() == document
    laid = {"shift_s": 1.25, "forward": "+z", "sha256": "a" * 64}  # a chest sensor's recording
    beside = {**document, "settings": {**document["settings"], "trunk": laid}}
    assert Result.from_dict(beside).settings.trunk.shift_s == 1.25
    assert Result.from_dict(beside).to_dict() == beside


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 5), st.integers(0, 10**6), st.booleans())
def test_an_invented_set_read_back_is_published_the_same(reps, seed, banded):
    _, measured = invent(reps, seed=seed, band=(45.0, 70.0) if banded else None, flags={1: ("partial",)})
    record = SetResult.of(measured).record()
    assert SetResult.from_record(record).record() == record


def test_the_body_used_and_the_settings_come_back_in_si(document):
    result = Result.from_dict(document)
    load = result.sets[0].load
    assert load is not None
    assert load.lifter == armarc.Lifter(name="Kim", body_mass_kg=61.5, stature_m=1.68)
    assert result.options.load_kg == 6
    assert (result.settings.coordinate, result.settings.trunk) == ("elevation", None)
    assert (result.source.samples, result.source.gaps) == (document["source"]["samples"], ())
    assert result.mounting is not None
    assert math.degrees(result.mounting.uncertainty_rad) == pytest.approx(
        document["mounting"]["uncertainty_deg"]
    )
    assert result.mounting.scale_se.told_by == "noise"
    assert load.reps[0].measures.peak_moment_n_m == document["sets"][0]["reps"][0]["peak_moment_n_m"]
    first, published = result.sets[0].reps[0], document["sets"][0]["reps"][0]
    assert 57.29577951308232 * first.rom_rad == pytest.approx(published["rom_deg"])


def test_what_an_earlier_version_did_not_give_is_null_or_summed_up_now(document):
    old = copy.deepcopy(document)
    for part, key in (("source", "jitter_s"), ("settings", "swung_cm"), ("mounting", "scale_se")):
        del old[part][key]
    for one in old["sets"]:
        for rep in one["reps"]:
            for key in ("time_to_peak_s", "time_to_peak_s_se", "start_ratio", "clean"):
                del rep[key]
        for key in ("clean_reps", "means_over", "mean_time_to_peak_s"):
            del one["summary"][key]
    read = Result.from_dict(old)
    assert (read.source.jitter_s, read.options.swung_m, read.mounting.scale_se) == (None, None, None)
    assert read.sets[0].rep_records()[0]["time_to_peak_s"] is None
    assert read.sets[0].summary.clean_reps == document["sets"][0]["summary"]["clean_reps"]
    assert read.sets[0].summary.record()["mean_time_to_peak_s"] is None


def places(value, path=()):
    yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in inner:
        yield from places(part, (*path, key))


@settings(max_examples=200, deadline=None, derandomize=True)
@given(data=st.data())
def test_damage_is_said_and_never_a_fault(document, data):
    broken = copy.deepcopy({**document, "sets": document["sets"][:1]})
    path = data.draw(st.sampled_from([p for p in places(broken) if p and p[0] in PARTS]))
    at = broken
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = data.draw(st.sampled_from((None, "x", [], {}, -1, True, 1e300, [[1]])))
    with suppress(ArmarcError):
        json.dumps(Result.from_dict(broken).to_dict(), allow_nan=False)


def test_what_is_no_result_is_refused(tmp_path, document):
    with pytest.raises(InputError, match="no result of armarc process"):
        Result.from_dict({"schema": "armarc.log/1"})
    path = tmp_path / "result.json"
    with pytest.raises(FormatError, match="no result can be read"):
        armarc.read_result(path)
    path.write_text("{")
    with pytest.raises(FormatError, match="no result can be read"):
        armarc.read_result(path)
    path.write_text(json.dumps(document), "utf-8")
    assert armarc.read_result(path) == Result.from_dict(document)
    with pytest.raises(UsageError, match=r"takes a path, got dict.*Result\.from_dict"):
        armarc.read_result(document)


def test_a_result_is_a_value_and_a_wrong_file_is_named(tmp_path, document):
    one, other = Result.from_dict(document), Result.from_dict(document)
    assert one == other
    assert hash(one) == hash(other)
    assert len(repr(one)) < 1500
    (tmp_path / "other.json").write_text('{"schema": "something else"}')
    with pytest.raises(InputError, match=r"other\.json"):
        armarc.read_result(tmp_path / "other.json")
