"""Pictures in other sizes: their proportions, their message, nothing beyond an edge and nothing over anything else."""

from itertools import combinations

import numpy as np
import pytest

from armarc.report.load_figures import Curve, draw_moments
from armarc.report.set_figure import draw_set
from armarc.report.sizes import HEIGHT_BY_WIDTH, in_size
from armarc.report.style import DARK, LIGHT
from grids import crossed
from invented_sets import invent
from log_program import run, wide_log

MESSAGE = "8 of 8 in the band, last rep 15 % slower than the best, clean."


def boxes(figure):
    """Every text of the page itself, and the panels, in pixels."""
    figure.draw_without_rendering()
    for axes in figure.axes:
        if axes.axison:
            yield axes.get_window_extent()
        else:
            yield from (text.get_window_extent() for text in axes.texts if text.get_text())


def check_boxes(figure):
    """Nothing lies beyond an edge of the picture and nothing over anything else."""
    found = list(boxes(figure))
    for box in found:
        assert box.x0 >= -1
        assert box.y0 >= -1
        assert box.x1 <= figure.bbox.width + 1
        assert box.y1 <= figure.bbox.height + 1
    for one, other in combinations(found, 2):
        wide = min(one.x1, other.x1) - max(one.x0, other.x0)
        high = min(one.y1, other.y1) - max(one.y0, other.y0)
        assert wide <= 2 or high <= 4, (one, other)


@pytest.mark.parametrize(
    ("size", "dark", "reps"), crossed(list(HEIGHT_BY_WIDTH), [False, True], [1, 8, 24], fold=3)
)
def test_a_set_in_each_size(size, dark, reps):
    motion, measured = invent(reps)
    figure = in_size(lambda width: draw_set(motion, measured, width_in=width, dark=dark), size, MESSAGE)
    width, height = figure.get_size_inches()
    assert height / width == pytest.approx(HEIGHT_BY_WIDTH[size], rel=1e-6)
    title = figure.axes[-1].texts
    assert " ".join(text.get_text() for text in title) == MESSAGE
    assert {text.get_color() for text in title} == {(DARK if dark else LIGHT).ink}
    check_boxes(figure)


def test_a_picture_made_higher_keeps_its_lines_together():
    def draw(_width):
        curve = Curve(label="raising", x=np.arange(10.0, 90.0), y=np.arange(80.0))
        notes = ["one line at the foot", "another one"]
        return draw_moments([curve], title="Moment", facts="right arm", loaded_deg=(30, 60), notes=notes)

    own, tall = draw(None), in_size(draw, "tall", MESSAGE)
    for figure in (own, tall):
        figure.draw_without_rendering()
    panels = [[axes.get_window_extent().height for axes in each.axes if axes.axison] for each in (own, tall)]
    assert panels[1][0] > 1.2 * panels[0][0]
    heights = [
        {text.get_text(): text.get_window_extent().y0 for text in each.axes[0].texts} for each in (own, tall)
    ]
    for upper, lower in (("one line at the foot", "another one"), ("Moment", "right arm")):
        apart = [each[upper] - each[lower] for each in heights]
        assert apart[1] == pytest.approx(apart[0], abs=1)


def test_wide_is_the_picture_as_it_was():
    motion, measured = invent(5)
    own = draw_set(motion, measured)
    same = in_size(lambda width: draw_set(motion, measured, width_in=width), "wide", MESSAGE)
    assert same.get_size_inches().tolist() == own.get_size_inches().tolist()
    assert len(same.axes) == len(own.axes)


@pytest.mark.parametrize("words", ["rom_deg", "weeks"])
def test_trends_in_each_size(tmp_path, words):
    image = pytest.importorskip("PIL.Image")
    log = wide_log(tmp_path)
    for size, ratio in HEIGHT_BY_WIDTH.items():
        path = tmp_path / f"{size}.png"
        run("trend", words, "--plot", path, "--size", size, "--log-file", log)
        with image.open(path) as picture:
            width, height = picture.size
        assert height / width == pytest.approx(ratio, rel=2 / width)
    said = run("trend", words, "--plot", tmp_path / "x.png", "--size", "round", "--log-file", log, code=2)
    assert "'round' is no size" in " ".join(said.stderr.split())
