"""The picture of one set."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgba
from matplotlib.text import Text

from armarc.errors import UsageError
from armarc.exercises import find_exercise, load_catalogue
from armarc.report import draw_session, draw_set, save_figure
from armarc.report.page_parts import PICTURE_IN
from armarc.report.style import DARK, LIGHT, fitting_size, text_width_in, verdict_mark, wrapped
from grids import seldom
from invented_sets import invent

CATALOGUE = load_catalogue()


def shown_texts(figure):
    canvas = FigureCanvasAgg(figure)
    figure.draw_without_rendering()  # everything finds its place; no letter is painted
    renderer = canvas.get_renderer()
    texts = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    outside = [axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)]
    # The library keeps tick labels beyond the ends of an axis; it does not draw them.
    hidden = set()
    for axis in outside:
        low, high = sorted(axis.get_view_interval())
        for tick in axis.get_major_ticks():
            if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                hidden |= {tick.label1, tick.label2}
        if not axis.axes.axison:
            hidden |= set(axis.get_ticklabels())
    return [(t.get_text(), t.get_window_extent(renderer)) for t in texts if t not in hidden]


def assert_tidy(figure):
    boxes = shown_texts(figure)
    width, height = figure.get_size_inches() * figure.dpi
    for text, box in boxes:
        assert box.x0 >= 0, text
        assert box.y0 >= 0, text
        assert box.x1 <= width, text
        assert box.y1 <= height, text
    for (one, a), (other, b) in combinations(boxes, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        down = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across <= 1.0 or down <= 1.0, (one, other)


def all_text(figure):
    return " ".join(t.get_text() for t in figure.findobj(Text))


@pytest.mark.parametrize("reps", [1, 3, 20, *seldom(2, 8, 12, 40)])
def test_nothing_overlaps_and_nothing_is_cut_off(reps):
    motion, measured = invent(reps, seed=reps, flags={3: ("partial",), 5: ("gap", "clipped")})
    assert_tidy(draw_set(motion, measured))


@pytest.mark.parametrize("verdict", ["inside", "above"])
def test_facts_and_count_keep_apart_on_a_page_too(verdict):
    """The picture of a page is narrow, and what stands under the count is bold where all starts are inside."""
    motion, measured = invent(6, seed=3)
    reps = tuple(replace(rep, start_verdict=verdict) for rep in measured.reps)
    assert_tidy(draw_set(motion, replace(measured, reps=reps), width_in=PICTURE_IN))


@pytest.mark.parametrize("seed", [0, 3, *seldom(1, 2)])
def test_fast_small_and_wild_sets_stay_tidy(seed):
    motion, measured = invent(
        10, seed=seed, top_deg=[30.0, 55.0, 120.0, 178.0][seed], pause_s=[0.0, 3.0, 0.1, 0.5][seed],
        exercise="front-raise-little-finger-up", without_start=(2, 3), load_kg=123.456, side="left",
    )  # fmt: skip
    assert_tidy(draw_set(motion, measured, dark=seed % 2 == 0))


def test_every_rep_has_its_number_top_and_start_velocity():
    motion, measured = invent(6)
    text = all_text(draw_set(motion, measured)).split()
    for rep in measured.reps:
        assert str(rep.rep) in text
        assert f"{math.degrees(rep.top_rad):.0f}°" in text
        # Once beside its mark on the velocity curve, once in the strip.
        assert text.count(f"{math.degrees(rep.start_velocity_rad_s):.0f}") >= 2


def test_numbers_beside_marks_that_crowd_are_left_out():
    motion, measured = invent(14, pause_s=[12.0] * 7 + [0.0] * 7)
    figure = draw_set(motion, measured)
    assert_tidy(figure)
    axes = next(axes for axes in figure.axes if axes.get_xlabel().startswith("time in the recording"))
    renderer = FigureCanvasAgg(figure).get_renderer()
    numbers = [t for t in axes.texts if t.get_text().isdigit()]
    boxes = [t.get_window_extent(renderer) for t in numbers]
    assert 7 < len(numbers) < 14
    marks = [axes.transData.transform(t.xy) for t in numbers]
    for box in boxes:
        assert not any(box.x0 < x < box.x1 and box.y0 < y < box.y1 for x, y in marks)


def test_headline_counts_only_judged_reps():
    motion, measured = invent(7, without_start=(2,), load_kg=None, side=None)
    inside = sum(rep.start_verdict == "inside" for rep in measured.reps)
    text = all_text(draw_set(motion, measured))
    assert f"{inside} of 6" in text
    assert "7 reps" in text
    assert "kg" not in text
    assert "no start velocity" in text


def test_exercise_without_a_band_has_no_count_and_no_band():
    motion, measured = invent(3, band=None, exercise="upright-row")
    text = all_text(draw_set(motion, measured))
    assert "in the band" not in text
    assert "no source" not in text
    assert "upper arm" in text


def test_gates_sit_where_the_arm_passed_them_in_the_colour_of_the_verdict():
    motion, measured = invent(5, without_start=(4,))
    exercise = replace(
        find_exercise("lateral-raise", CATALOGUE), gate_rad=(math.radians(10), math.radians(20))
    )
    axes = draw_set(motion, measured, exercise=exercise).axes[1]
    gates = [
        c for c in axes.collections
        if isinstance(c, PolyCollection) and len(c.get_paths()) == 1
        and tuple(c.get_facecolor()[0]) == to_rgba(LIGHT.paper)
    ]  # fmt: skip
    known = [rep for rep in measured.reps if rep.start_velocity_rad_s is not None]
    assert len(gates) == len(known) == 4
    for gate, rep in zip(gates, known, strict=True):
        corners = gate.get_paths()[0].vertices
        bottom = math.degrees(rep.bottom_rad)
        assert corners[:, 1].min() == pytest.approx(bottom + 10)
        assert corners[:, 1].max() == pytest.approx(bottom + 20)
        middle = 0.5 * (corners[:, 0].min() + corners[:, 0].max())
        angle = np.interp(middle, motion.time_s, np.degrees(motion.angle_rad))
        assert bottom + 10 < angle < bottom + 20
        assert tuple(gate.get_edgecolor()[0]) == to_rgba(verdict_mark(rep.start_verdict, LIGHT).colour)


def test_the_gate_says_where_it_counts_from():
    motion, measured = invent(3)
    exercise = find_exercise("lateral-raise", CATALOGUE)
    assert "10–20° above the bottom" in all_text(draw_set(motion, measured, exercise=exercise))
    turned = replace(exercise, gate_from="vertical")
    assert "10–20° from straight down" in all_text(draw_set(motion, measured, exercise=turned))


def test_phases_are_shaded_where_they_are():
    motion, measured = invent(4)
    axes = draw_set(motion, measured).axes[1]
    for colour, start, stop in (
        (LIGHT.raising, "start_s", "top_start_s"),
        (LIGHT.hold, "top_start_s", "top_end_s"),
        (LIGHT.lowering, "top_end_s", "end_s"),
    ):
        (areas,) = [
            c for c in axes.collections
            if isinstance(c, PolyCollection) and tuple(c.get_facecolor()[0]) == to_rgba(colour)
        ]  # fmt: skip
        assert len(areas.get_paths()) == 4
        for path, rep in zip(areas.get_paths(), measured.reps, strict=True):
            assert path.vertices[:, 0].min() == pytest.approx(getattr(rep.phases, start))
            assert path.vertices[:, 0].max() == pytest.approx(getattr(rep.phases, stop))


def test_verdicts_differ_in_shape_not_only_in_colour():
    marks = [verdict_mark(v, LIGHT) for v in ("below", "inside", "above", None)]
    assert len({mark.marker for mark in marks}) == 4


def test_flags_are_marked_and_explained_and_unknown_ones_too():
    motion, measured = invent(5, flags={2: ("partial",), 4: ("gap", "some_new_flag")})
    text = all_text(draw_set(motion, measured))
    assert "2ᵃ" in text
    assert "4ᵇᶜ" in text
    assert "ᵃ less than 70 %" in text
    assert "some new flag" in text


def test_where_no_mark_fits_the_flags_are_counted():
    motion, measured = invent(12)
    flags = ("swung", "coarse", "loose_strap", "near_edge", "bent_elbow", "stall")
    reps = tuple(replace(rep, quality=flags[: 1 + 5 * (rep.rep == 3)]) for rep in measured.reps)
    text = all_text(draw_set(motion, replace(measured, reps=reps), width_in=4.0))
    assert "Of 12 reps: the body swung" in text
    assert "(12);" in text
    assert "(1)." in text
    assert "ᵃ" not in text


def test_gaps_are_hatched_and_break_the_line():
    motion, measured = invent(4)
    missing = motion.missing.copy()
    missing[1000:1100] = True
    figure = draw_set(replace(motion, missing=missing), measured)
    curves = [line for line in figure.axes[1].lines if len(line.get_xdata()) > 100]
    assert np.isnan(curves[0].get_ydata()).any()
    assert [p for p in figure.axes[1].patches if p.get_hatch()]
    assert_tidy(figure)


def test_dark_variant_uses_the_dark_palette_and_leaves_the_callers_settings_alone():
    before = dict(mpl.rcParams)
    motion, measured = invent(2)
    figure = draw_set(motion, measured, dark=True)
    assert figure.get_facecolor() == to_rgba(DARK.paper)
    assert dict(mpl.rcParams) == before


def test_long_recordings_are_thinned():
    motion, measured = invent(40, rate_hz=800.0)
    axes = draw_set(motion, measured).axes[1]
    assert max(len(line.get_xdata()) for line in axes.lines) < 5000
    assert max(len(p.vertices) for c in axes.collections for p in c.get_paths()) < 500


@pytest.mark.parametrize(("top_deg", "labelled"), [(36.0, True), (22.5, False)])
def test_a_range_out_of_sight_is_named_only_where_it_shows(top_deg, labelled):
    motion, measured = invent(4, top_deg=top_deg, bottom_deg=1.0)
    figure = draw_set(motion, measured)
    assert_tidy(figure)
    panel = figure.axes[1].get_window_extent()
    boxes = [box for text, box in shown_texts(figure) if text.startswith("loaded")]
    assert bool(boxes) == labelled
    assert all(panel.y0 < 0.5 * (box.y0 + box.y1) < panel.y1 for box in boxes)


def test_unknown_exercise_name_is_shown_as_it_is():
    motion, measured = invent(2, exercise="$x_1$ & <b>")
    figure = draw_set(motion, measured)
    assert "$x_1$ & <b>" in all_text(figure)
    assert_tidy(figure)


def test_a_set_needs_a_rep():
    motion, measured = invent(1)
    with pytest.raises(ValueError, match="at least one rep"):
        draw_set(motion, replace(measured, reps=()))


@pytest.mark.parametrize(
    ("suffix", "start"),
    [(".svg", b"<?xml"), (".pdf", b"%PDF"), (".PNG", b"\x89PNG"), *seldom((".png", b"\x89PNG"))],
)
def test_same_picture_same_bytes(tmp_path, suffix, start):
    written = []
    for name in ("a", "b"):
        motion, measured = invent(2)
        save_figure(draw_set(motion, measured), tmp_path / (name + suffix))
        written.append((tmp_path / (name + suffix)).read_bytes())
    assert written[0] == written[1]
    assert written[0].startswith(start)
    assert b"CreationDate" not in written[0]
    assert not re.search(rb"<dc:date>", written[0])


def test_saving_refuses_other_endings_and_bad_places(tmp_path):
    motion, measured = invent(1)
    figure = draw_set(motion, measured)
    for name in ("a.jpg", "a", "a.png.txt"):
        with pytest.raises(UsageError, match=r"\.png, \.svg, \.pdf"):
            save_figure(figure, tmp_path / name)
    with pytest.raises(UsageError, match="cannot write"):
        save_figure(figure, tmp_path / "missing" / "a.png")
    assert list(tmp_path.iterdir()) == []


def test_text_is_measured_as_it_is_drawn():
    motion, measured = invent(1)
    figure = draw_set(motion, measured)
    boxes = dict(shown_texts(figure))
    said = "Elevation of the arm"
    assert boxes[said].width / figure.dpi == pytest.approx(text_width_in(said, 15, bold=True), rel=0.03)
    assert fitting_size("a long line", 20, 0.5) < 20
    assert fitting_size("a", 20, 5) == 20
    lines = wrapped("one two three four five six seven eight nine ten", 12, 1.0)
    assert " ".join(lines).split() == [
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
    ]
    assert all(text_width_in(line, 12) <= 1.0 for line in lines)
    # A sign is not parted from its number.
    broken = wrapped("last rep 23 % slower, +0.8 °", 12, text_width_in("last rep 23", 12) + 0.01)
    assert " ".join(broken) == "last rep 23 % slower, +0.8 °"
    assert not any(line.startswith(("%", "°")) for line in broken)


def session(count, rest_s, **changes):
    """Several invented sets one after the other in one recording."""
    motions, sets, at = [], [], 0.0
    for i in range(count):
        motion, measured = invent(
            6 + i % 3, seed=i, number=i + 1, start_s=rest_s / 2, tail_s=rest_s / 2,
            **{key: values[i % len(values)] for key, values in changes.items()},
        )  # fmt: skip
        reps = tuple(
            replace(
                rep,
                phases=replace(rep.phases, **{f: getattr(rep.phases, f) + at for f in rep.phases.__slots__}),
            )
            for rep in measured.reps
        )
        sets.append(replace(measured, start_s=measured.start_s + at, end_s=measured.end_s + at, reps=reps))
        motions.append(motion)
        at += len(motion.time_s) / motion.rate_hz
    angle = np.concatenate([m.angle_rad for m in motions])
    whole = replace(
        motions[0], time_s=np.arange(len(angle)) / 100.0, angle_rad=angle, missing=np.zeros(len(angle), bool)
    )
    return whole, sets


@pytest.mark.parametrize("count", [3, 14, *seldom(1, 5)])
def test_sessions_are_tidy_and_name_every_set(count):
    motion, sets = session(
        count, 60.0, exercise=["lateral-raise", "front-raise-little-finger-up", "upright-row"],
        band=[(45.0, 70.0), (45.0, 70.0), None], load_kg=[8.0, 12.5, None],
    )  # fmt: skip
    figure = draw_session(motion, sets, dark=count == 3)
    assert_tidy(figure)
    text = all_text(figure)
    for measured in sets:
        assert re.search(rf"(set )?{measured.set}\b", text)
    judged = sum(rep.start_verdict is not None for m in sets for rep in m.reps)
    assert f"of {judged}" in text


def test_sets_of_another_exercise_are_named_and_not_judged():
    motion, sets = session(3, 60.0, band=[(45.0, 70.0)] * 3, load_kg=[8.0] * 3)
    other = tuple(replace(rep, quality=(*rep.quality, "another_exercise")) for rep in sets[1].reps)
    beside = [sets[0], replace(sets[1], reps=other), sets[2]]
    figure = draw_session(motion, beside)
    assert_tidy(figure)
    text = all_text(figure)
    judged = sum(rep.start_verdict is not None for m in (sets[0], sets[2]) for rep in m.reps)
    assert f"of {judged}" in text
    assert "2 sets" in text
    assert "1 set of something else" in text
    # Where it is all there is, it is shown as any set.
    assert "something else" not in all_text(draw_session(motion, [beside[1]]))


def test_session_in_pieces_and_without_a_set():
    first, _ = invent(3)
    later = replace(first, time_s=first.time_s + 100.0)
    figure = draw_session([first, later], [])
    assert_tidy(figure)
    assert "No set found" in all_text(figure)
    assert figure.axes[1].get_xlim()[1] == pytest.approx(later.time_s[-1])
    with pytest.raises(ValueError, match="none"):
        draw_session([], [])
