"""Colours of the pictures against published rules for contrast and colour blindness."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from armarc.report.load_figures import _line_look
from armarc.report.style import DARK, LIGHT

# Machado, Oliveira & Fernandes 2009, IEEE Trans Vis Comput Graph 15:1291, severity 1.0, linear RGB.
# Values from memory; each row must sum to 1, because grey stays grey.
COLOUR_BLINDNESS = {
    "none": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def linear(colour: str) -> np.ndarray:
    srgb = np.array(to_rgb(colour))
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio, W3C WCAG 2.1, definitions of relative luminance and contrast ratio."""
    light, dark = sorted((float(linear(c) @ (0.2126, 0.7152, 0.0722)) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* for the white point D65 (CIE 15:2004)."""
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    x, y, z = (to_xyz @ np.clip(rgb, 0, 1)) / (0.95047, 1.0, 1.08883)
    fx, fy, fz = (v ** (1 / 3) if v > 216 / 24389 else (24389 / 27 * v + 16) / 116 for v in (x, y, z))
    return np.array([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)])


def test_the_yardsticks_themselves():
    # W3C, Understanding WCAG 2.1, 1.4.3: black on white is 21:1, #767676 on white is just above 4.5:1.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert 4.5 < contrast("#767676", "#FFFFFF") < 4.6
    assert lab(np.ones(3)) == pytest.approx([100, 0, 0], abs=0.02)
    for matrix in COLOUR_BLINDNESS.values():
        assert matrix.sum(axis=1) == pytest.approx(np.ones(3), abs=2e-6)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out_from_the_paper(palette):
    # W3C WCAG 2.1: 4.5:1 for text (AA), 7:1 for enhanced contrast (AAA).
    assert contrast(palette.ink, palette.paper) > 7
    for colour in (palette.faint, palette.inside, palette.above, palette.below):
        assert contrast(colour, palette.paper) > 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("kind", COLOUR_BLINDNESS)
def test_verdicts_stay_apart_for_colour_blind_eyes(palette, kind):
    # A just noticeable difference is about 2.3 (Mahy, Van Eycken & Oosterlinck 1994, Color Res Appl 19:105);
    # ten times that is plain at a distance.
    seen = [lab(COLOUR_BLINDNESS[kind] @ linear(c)) for c in (palette.below, palette.inside, palette.above)]
    for one, other in combinations(seen, 2):
        assert np.linalg.norm(one - other) > 23


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_phases_differ_in_lightness_alone(palette):
    lightness = [lab(linear(c))[0] for c in (palette.raising, palette.hold, palette.lowering, palette.paper)]
    for one, other in combinations(lightness, 2):
        assert abs(one - other) > 5


def test_lines_of_a_picture_differ_without_their_colours():
    """Two of the three colours are nearly one grey on paper: up to four lines differ by their kind, twelve by both."""
    looks = [_line_look(LIGHT, i) for i in range(12)]
    assert len({dash for _, dash, _ in looks[:4]}) == 4
    assert len({(colour, dash) for colour, dash, _ in looks}) == 12
