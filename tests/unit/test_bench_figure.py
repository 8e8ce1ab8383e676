"""The picture of an Allan deviation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from armarc.report.sensor_figures import draw_allan
from armarc.sensor.bench.check import check_sensor
from grids import crossed
from invented_bench import SIX_SIDES, handled, still


def words(figure: Figure) -> str:
    return "\n".join(text.get_text() for axes in figure.axes for text in axes.texts)


def boxes(figure: Figure) -> list[Any]:
    """Extents of all texts that are drawn; ticks beyond the limits of an axis are not."""
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    found = [text for axes in figure.axes for text in axes.texts]
    for axes in figure.axes:
        if not axes.axison:
            continue
        for k, axis, limits in ((0, axes.xaxis, axes.get_xlim()), (1, axes.yaxis, axes.get_ylim())):
            found += [one for one in axis.get_ticklabels() if limits[0] <= one.get_position()[k] <= limits[1]]
    return [text.get_window_extent(renderer) for text in found if text.get_text() and text.get_visible()]


@pytest.mark.parametrize(("duration_s", "dark"), crossed([3.0, 20.0, 400.0], [False, True], fold=2))
def test_everything_is_on_the_page(duration_s: float, dark: bool) -> None:
    figure = draw_allan(check_sensor(still(duration_s)), dark=dark)
    FigureCanvasAgg(figure).draw()
    width, height = figure.get_size_inches() * figure.dpi
    found = boxes(figure)
    assert len(found) > 10
    for box in found:
        assert box.x0 >= 0
        assert box.y0 >= 0
        assert box.x1 <= width
        assert box.y1 <= height


def test_the_lines_are_the_curve() -> None:
    check = check_sensor(still(60.0))
    assert check.still is not None
    figure = draw_allan(check)
    panels = [axes for axes in figure.axes if axes.get_xscale() == "log"]
    assert len(panels) == 2
    drawn = panels[0].lines[0].get_ydata()
    curve = np.degrees(check.still.gyroscope_curve.value[:, 0])
    assert np.asarray(drawn) == pytest.approx(curve[: len(drawn)])


def test_names_of_the_lines_do_not_touch() -> None:
    figure = draw_allan(check_sensor(still(60.0)))
    FigureCanvasAgg(figure).draw()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    for panel in (axes for axes in figure.axes if axes.get_xscale() == "log"):
        heights = sorted(text.get_window_extent(renderer).y0 for text in panel.texts)
        assert len(heights) == 3
        assert min(np.diff(heights)) > 10


def test_words_follow_what_is_drawn() -> None:
    short, long = words(draw_allan(check_sensor(still(5.0)))), words(draw_allan(check_sensor(still(60.0))))
    assert "bias instability" not in short
    assert "bias instability" in long
    assert "mdps/√Hz" in long


def test_nothing_to_draw_is_an_error() -> None:
    with pytest.raises(ValueError, match="still stretch"):
        draw_allan(check_sensor(handled(SIX_SIDES, rest_s=0.5)))
