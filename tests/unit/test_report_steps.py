"""One rep drawn step by step: what was measured stands there, nothing is cut, nothing lies over anything else."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.patches import Wedge
from test_report_sizes import check_boxes

from armarc.report.sizes import in_size
from armarc.report.step_figure import draw_steps
from grids import crossed
from invented_sets import invent
from log_program import run


def texts(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts]


@pytest.mark.parametrize(
    ("size", "side", "dark"), crossed(["wide", "square", "tall"], ["left", "right"], [False, True], fold=3)
)
def test_every_step_has_its_place(size, side, dark):
    motion, measured = invent(5)
    measured = replace(measured, side=side)
    figure = in_size(
        lambda width: draw_steps(motion, measured, 2, width_in=width, dark=dark), size, "Rep 2 in six steps"
    )
    check_boxes(figure)


def test_what_was_measured_is_said():
    motion, measured = invent(5)
    rep = measured.reps[2]
    said = texts(draw_steps(motion, measured, 3))
    assert any(text.startswith(f"range {math.degrees(rep.rom_rad):.0f} ± ") for text in said)
    assert any(
        text.startswith(f"start velocity {math.degrees(rep.start_velocity_rad_s):.0f}") for text in said
    )
    assert [text[0] for text in said if text[1:3] == "  "] == list("123456")
    # The arm sweeps to its own side: from the front a right arm would be on the left.
    assert any("Seen from behind" in " ".join(text.split()) for text in said)
    for side, sign in (("left", -1), ("right", 1)):
        figure = draw_steps(motion, replace(measured, side=side), 3)
        top = [axes for axes in figure.axes if any(isinstance(p, Wedge) for p in axes.patches)][2]
        (wedge,) = [p for p in top.patches if isinstance(p, Wedge)]
        middle = math.radians(0.5 * (wedge.theta1 + wedge.theta2))
        assert sign * math.cos(middle) > 0


@pytest.mark.parametrize("zero_deg", [-93.0, 0.0, 150.0])
def test_a_movement_without_a_zero_is_drawn_from_its_bottom(zero_deg):
    motion, measured = invent(5)
    by = math.radians(zero_deg) - measured.reps[0].bottom_rad
    rep = measured.reps[0]
    moved = replace(
        rep,
        **{k: getattr(rep, k) + by for k in ("bottom_rad", "top_rad", "peak_concentric_at_rad")},
        bottom_se_rad=None,
        top_se_rad=None,
    )
    figure = draw_steps(
        replace(motion, coordinate="movement"), replace(measured, reps=(moved, *measured.reps[1:])), 1
    )
    check_boxes(figure)
    assert f"{zero_deg:.0f}°".replace("-", "−") in texts(figure)
    assert any("Drawn from where the rep begins" in text for text in texts(figure))
    for axes in figure.axes[1:]:
        for line in axes.lines:
            assert max(map(abs, line.get_ydata())) <= 1.25
            assert axes.get_xlim()[0] <= min(line.get_xdata())
            assert max(line.get_xdata()) <= axes.get_xlim()[1]


def test_a_rep_without_a_start_says_so():
    motion, measured = invent(3)
    bare = replace(measured.reps[0], start_velocity_rad_s=None, start_verdict=None)
    figure = draw_steps(motion, replace(measured, reps=(bare, *measured.reps[1:])), 1)
    assert "the gate was not passed" in texts(figure)


def test_a_rep_that_is_not_there():
    motion, measured = invent(3)
    with pytest.raises(ValueError, match="from 1 to 3, got 4"):
        draw_steps(motion, measured, 4)


def test_the_command_draws_it(tmp_path):
    file = Path(__file__).parents[2] / "recordings" / "strict-raise.csv"
    assert "add --plot" in run("process", file, "--steps", 3, code=2).stderr
    run("process", file, "--steps", 3, "--plot", tmp_path / "rep.png")
    assert (tmp_path / "rep.png").stat().st_size > 10_000
    missing = run("process", file, "--steps", 30, "--plot", tmp_path / "no.png", code=2)
    assert "no set of strict-raise.csv has so many reps" in missing.stderr
