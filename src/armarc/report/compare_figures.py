"""Pictures of sets side by side: curves over each other, and how large the differences are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, MultipleLocator

from armarc.log.curves import SetCurves, mean_of_sets
from armarc.report import picture_parts, style
from armarc.report.picture_parts import HEAD_IN, LEFT_IN, RIGHT_IN, SIDE_IN, WIDTH_IN, KeyItem, empty_picture

if TYPE_CHECKING:
    from armarc.log.comparing import Row


def draw_overlay(
    groups: Sequence[Sequence[SetCurves]],
    names: Sequence[str],
    *,
    title: str,
    facts: str = "",
    notes: Sequence[str] = (),
    width_in: float = WIDTH_IN,
    dark: bool = False,
) -> Figure:
    """Lay groups of sets over each other: angle along the rep, velocity and moment by angle.

    Each set is a thin line, the mean of a group a thick one.

    Parameters
    ----------
    groups : sequence of sequence of SetCurves
        Two to four groups of at least one set.
    names : sequence of str
        What each is called.
    notes : sequence of str
        At the foot.
    """
    curves = [mean_of_sets(group) for group in groups]
    spread = "of the sets" if all(len(group) > 1 for group in groups) else "of the reps"
    palette = style.palette_for(dark)
    with style.look(palette):
        colours = [palette.inside, palette.above, palette.ink, palette.hold]
        with_moment = [c for c in curves if c.moment_n_m is not None]
        heights = [2.7, 2.5, 2.3] if with_moment else [2.7, 2.5]
        gap = 1.15
        total = sum(heights) + gap * (len(heights) - 1)
        foot = picture_parts.foot_lines(notes, width_in)
        foot_in = picture_parts.foot_height_in(foot) if foot else 0.0
        body_in = total + 0.45 + 0.32 * len(curves) + foot_in
        figure, page, top = empty_picture(palette, width_in, title, facts, [], body_in, [])
        picture_parts.draw_foot(page, palette, foot)
        height = float(figure.get_size_inches()[1])
        inner = width_in - LEFT_IN - RIGHT_IN
        top += 0.32 * len(curves)
        titles = [
            ("Angle along the rep", f"degrees, mean ± SD {spread}"),
            ("Velocity while raising", "degrees per second, by angle"),
            ("Shoulder moment while raising", "N·m, by angle, estimated"),
        ]
        panels = []
        for i, panel_height in enumerate(heights):
            picture_parts.panel_title(page, *titles[i], height - top + 0.16)
            panel = style.inch_axes(figure, LEFT_IN, top, inner, panel_height)
            style.plain_axes(panel, palette)
            panel.yaxis.set_major_locator(MaxNLocator(5))
            panels.append(panel)
            top += panel_height + gap
        for i, curve in enumerate(curves):
            colour, dash = colours[i % len(colours)], style.LINE_STYLES[i % len(style.LINE_STYLES)]
            at = height - HEAD_IN - 0.1 - 0.32 * i + (0.0 if facts else 0.3)
            page.plot([SIDE_IN, SIDE_IN + 0.7], [at, at], color=colour, linestyle=dash, linewidth=2.6)
            room = width_in - 2 * SIDE_IN - 0.85
            size = style.fitting_size(names[i], style.SIZE_TEXT, room)
            page.text(SIDE_IN + 0.85, at, names[i], size=size, va="center")
            low, high = curve.angle_deg - curve.angle_sd_deg, curve.angle_deg + curve.angle_sd_deg
            for one in groups[i] if len(groups[i]) > 1 else ():
                thin: dict[str, Any] = {"color": colour, "linewidth": 0.9, "alpha": 0.55}
                panels[0].plot(one.progress, one.angle_deg, **thin)
                panels[1].plot(one.speed_angle_deg, one.speed_deg_s, **thin)
                if one.moment_n_m is not None and one.moment_angle_deg is not None and with_moment:
                    panels[2].plot(one.moment_angle_deg, one.moment_n_m, **thin)
            panels[0].fill_between(curve.progress, low, high, color=colour, alpha=0.16, linewidth=0)
            panels[0].plot(curve.progress, curve.angle_deg, color=colour, linestyle=dash, linewidth=2.6)
            panels[1].plot(
                curve.speed_angle_deg, curve.speed_deg_s, color=colour, linestyle=dash, linewidth=2.6
            )
            if curve.moment_n_m is not None and curve.moment_angle_deg is not None:
                panels[2].plot(
                    curve.moment_angle_deg, curve.moment_n_m, color=colour, linestyle=dash, linewidth=2.6
                )
        panels[0].set_xticks([0, 1, 2], ["start", "top", "end"])
        panels[0].set_xlim(-0.02, 2.02)
        least, most = panels[0].get_ylim()
        panels[0].set_ylim(min(0.0, least), max(95.0, most))
        panels[0].yaxis.set_major_locator(MultipleLocator(30))
        for panel in panels[1:]:
            panel.set_xlabel("angle, degrees", size=style.SIZE_TEXT)
            style.angle_axis(panel)
            panel.set_ylim(bottom=min(0.0, panel.get_ylim()[0]))
    return figure


def draw_differences(rows: Sequence[Row], *, title: str, width_in: float) -> Figure:
    """Draw standardised differences with their 95 % intervals, one row per measure.

    Raises
    ------
    ValueError
        When no row has a size.
    """
    shown = [row for row in rows if row.effect is not None and row.effect.size is not None]
    if not shown:
        raise ValueError("expected at least one difference with a size, got none")
    palette = style.LIGHT
    with style.look(palette):
        items = [
            KeyItem(words="clear and worth speaking of", marker="o", colour=palette.inside),
            KeyItem(words="unclear, small or the same", marker="o", filled=False, colour=palette.ink),
        ]
        tall = 0.48 * len(shown) + 0.2
        figure, _, top = empty_picture(palette, width_in, title, "", items, tall + 0.3, [])
        left = 3.6
        axes = style.inch_axes(figure, left, top, width_in - left - RIGHT_IN, tall)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        axes.axvline(0, color=palette.ink, linewidth=1.2)
        reach = 1.0
        for i, row in enumerate(shown):
            e = row.effect
            assert e is not None
            assert e.size is not None
            assert e.size_low is not None
            assert e.size_high is not None
            colour = palette.inside if row.is_clear else palette.ink
            axes.plot([e.size_low, e.size_high], [i, i], color=colour, linewidth=2.4)
            face = colour if row.is_clear else palette.paper
            axes.plot(
                e.size, i, marker="o", markersize=9, markerfacecolor=face, markeredgecolor=colour, mew=2
            )
            reach = max(reach, abs(e.size_low), abs(e.size_high))
        axes.set_yticks(range(len(shown)), [row.measure.title for row in shown])
        axes.tick_params(axis="y", length=0, pad=10)
        reach = min(reach, 8.0) * 1.08
        axes.set_xlim(-reach, reach)
        axes.set_ylim(len(shown) - 0.5, -0.5)
        first, second = shown[0].first, shown[0].second
        said = f"{second} against {first}, in standard deviations"
        room = 2 * (RIGHT_IN - 0.1) + width_in - left - RIGHT_IN
        axes.set_xlabel(said, size=style.fitting_size(said, style.SIZE_TEXT, room))
    return figure
