"""Both arms lifted together: which reps belong together, how far the sides differ and how sure that is."""

import math
from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import armarc
from armarc.log import list_sets, log_session, open_log
from armarc.log.both_arms import LEAST_OVERLAP, Index, paired_index, paired_reps, shared, together
from armarc.measures import row_of
from armarc.recording import Metadata, write_csv
from armarc.report.page_build import build_sections
from armarc.reps import Rep
from invented_log import fill
from live_runs import recording


def spans(starts):
    return [(at, at + 3.0) for at in starts]


def test_reps_are_paired_by_time_and_one_arm_alone_has_no_partner():
    left, right = spans([0.0, 4.0, 8.0, 12.0]), spans([0.2, 8.1, 12.3])
    assert paired_reps(left, right) == [(0, 0), (2, 1), (3, 2)]
    assert paired_reps(left, []) == paired_reps([], right) == []
    assert paired_reps(spans([1.0]), spans([1.3])) == [(0, 0)]
    assert paired_reps(spans([1.0]), spans([3.9])) == []


@given(
    st.lists(st.tuples(st.booleans(), st.booleans(), st.floats(-0.4, 0.4)), min_size=1, max_size=12),
    st.floats(-0.5, 0.5),
)
def test_pairs_are_those_that_were_lifted_together(reps, apart_s):
    left = [n for n, (a, _, _) in enumerate(reps) if a]
    right = [n for n, (_, b, _) in enumerate(reps) if b]
    late = [4.0 * n + reps[n][2] + apart_s for n in right]
    found = paired_reps(spans([4.0 * n for n in left]), spans(late))
    assert [left[i] for i, _ in found] == [right[j] for _, j in found] == [n for n in left if n in right]


def rep(value, se=1.0):
    return row_of(Rep, {"rep": 1, "rom_deg": value, "rom_deg_se": se})


def test_the_index_and_its_error_are_those_of_the_formula():
    each, whole = paired_index(
        [(rep(80.0), rep(88.0)), (rep(80.0), rep(84.0)), (rep(80.0), rep(None))], "rom_deg"
    )
    # 100·(R − L)/(½(R + L)): 8/84 and 4/82; the third has no meaning
    assert each[:2] == pytest.approx([100 * 8 / 84, 100 * 4 / 82])
    assert each[2] is None
    assert (whole.reps, whole.index_pct) == (2, pytest.approx(np.mean(each[:2])))
    common = np.mean([400 * math.hypot(80, 88) / 168**2, 400 * math.hypot(80, 84) / 164**2])
    assert whole.se_pct == pytest.approx(math.hypot(common, np.std(each[:2], ddof=1) / math.sqrt(2)))


def test_the_error_of_a_pair_agrees_with_drawing_at_random():
    rng = np.random.default_rng(4)
    left, right = rng.normal(80, 1.5, 200_000), rng.normal(90, 2.0, 200_000)
    drawn = float(np.std(200 * (right - left) / (right + left)))
    _, whole = paired_index([(rep(80.0, 1.5), rep(90.0, 2.0))], "rom_deg")
    assert whole.se_pct == pytest.approx(drawn, rel=0.01)


def test_many_reps_do_not_average_out_what_the_strap_errs():
    _, few = paired_index([(rep(80.0), rep(80.0))] * 2, "rom_deg")
    _, many = paired_index([(rep(80.0), rep(80.0))] * 20, "rom_deg")
    assert few.se_pct == pytest.approx(many.se_pct)


@pytest.mark.parametrize(
    ("index", "words"),
    [
        (Index(index_pct=8.0, se_pct=2.0, reps=5), "8.0 ± 2.0 % more on the right"),
        (Index(index_pct=-8.0, se_pct=2.0, reps=5), "8.0 ± 2.0 % more on the left"),
        (Index(index_pct=3.0, se_pct=2.0, reps=5), "no clear difference (+3.0 ± 2.0 %)"),
    ],
)
def test_in_words(index, words):
    assert index.words() == words


@pytest.fixture(scope="module")
def wrists(tmp_path_factory):
    """A log with a set lifted by both arms, the left one 70°, the right one 85°, and a later set of the left alone."""
    folder = tmp_path_factory.mktemp("wrists")
    log = str(folder / "log.sqlite")
    truths = {}
    with open_log(log) as store:
        for name, side, rom, begun in (
            ("left", "left", 70.0, "18:00:00"),
            ("right", "right", 85.0, "18:00:00"),
            ("later", "left", 70.0, "18:10:00"),
        ):
            made, truths[name] = recording(3, reps=5, rom_rad=math.radians(rom), side=side)
            head = Metadata(exercise="lateral-raise", side=side, started_at=f"2026-03-02T{begun}+00:00")
            path = folder / f"{name}.csv"
            write_csv(replace(made, metadata=head), path)
            log_session(store, armarc.process(armarc.read_csv(path)), path)
        yield store


def test_the_report_has_them_side_by_side(wrists):
    entries = list_sets(wrists)
    ((left, right),) = together(entries)
    assert (left.side, right.side, left.done_at.minute, right.done_at.minute) == ("left", "right", 0, 0)
    sections = build_sections(wrists, entries, curves=False)
    (both,) = [one for one in sections if one.heading == f"Both arms: sets {left.id} and {right.id}"]
    assert len(both.tables[0].rows) == 5
    assert both.tables[0].rows[0][0] == "1 / 1"
    (words,) = [one for one in both.words if one.startswith("Range")]
    assert "more on the right, over 5 reps" in words
    # What was planned: 100·(85 − 70)/77.5; within three of the error that is said.
    index, error = float(words.split()[1]), float(words.split()[3])
    assert abs(index - 100 * 15 / 77.5) < 3 * max(error, 0.3)


def lifted(number, side, begun_s, lasts_s, lifter="Anna"):
    return SimpleNamespace(
        id=number,
        side=side,
        lifter=lifter,
        exercise="lateral-raise",
        done_at=datetime.fromtimestamp(1.7e9 + begun_s, tz=UTC),
        start_s=2.0,
        end_s=2.0 + lasts_s,
    )


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["left", "right"]),
            st.floats(0, 300),
            st.floats(1, 60),
            st.sampled_from(["Anna", "Ben"]),
        ),
        max_size=12,
    )
)
def test_sets_of_both_arms_are_found_among_all_as_by_trying_every_pair(sets):
    entries = [lifted(number, *one) for number, one in enumerate(sets)]
    free, expected = [one for one in entries if one.side == "right"], []
    for left in (one for one in entries if one.side == "left"):

        def common(one, left=left):
            return shared(*((at := s.done_at.timestamp(), at + s.end_s - s.start_s) for s in (left, one)))

        same = [one for one in free if one.lifter == left.lifter and common(one) >= LEAST_OVERLAP]
        if same:
            best = max(same, key=common)
            free.remove(best)
            expected.append((left, best))
    assert together(entries) == expected


def test_of_many_sets_with_both_arms_the_report_has_the_newest_and_says_so(tmp_path):
    with open_log(str(tmp_path / "log.sqlite")) as store:
        for side, seed in (("left", 100), ("right", 200)):
            fill(store, days=14, sets=1, side=side, seed=seed)
        entries = list_sets(store)
        headings = [one.heading for one in build_sections(store, entries, curves=False)]
        (said,) = [one for one in build_sections(store, entries, curves=False) if one.heading == "Both arms"]
    assert said.words == ("The newest 12 of 14 sets lifted with both arms follow.",)
    pairs = [heading for heading in headings if heading.startswith("Both arms: ")]
    assert len(pairs) == 12
    assert pairs[-1] == f"Both arms: sets {entries[1].id} and {entries[0].id}" == "Both arms: sets 14 and 28"


def test_sets_one_after_the_other_are_not_together(wrists):
    assert together([one for one in list_sets(wrists) if one.side == "left"]) == []
