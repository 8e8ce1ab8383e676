"""Pictures as parts of a page: vector, in the page's own light and dark colours, with words for the blind."""

from __future__ import annotations

import io
import re
from dataclasses import fields
from typing import TYPE_CHECKING
from xml.sax.saxutils import quoteattr

import matplotlib as mpl

from armarc.report.style import DARK, LIGHT, Palette

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_HEX = re.compile(r"#[0-9a-fA-F]{6}\b")
_ID = re.compile(r'\bid="([^"]+)"')
_LINK = re.compile(r'(url\(#|href="#)([^)"]+)')


def inline_svg(figure: Figure, alt: str, *, number: int) -> str:
    """One picture as an ``<svg>`` element.

    Parameters
    ----------
    figure : Figure
        Drawn with the light palette; its colours become the page's colour variables.
    alt : str
        What the picture says, for people who cannot see it.
    number : int
        Tells the pictures of a page apart: names inside an ``<svg>`` are valid for the whole page.
    """
    stream = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": f"armarc-{number}", "svg.fonttype": "path"}):
        figure.savefig(stream, format="svg", facecolor="none", metadata={"Date": None, "Creator": None})
    text = stream.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)
    text = _ID.sub(rf'id="p{number}-\1"', text)
    text = _LINK.sub(rf"\1p{number}-\2", text)
    text = _HEX.sub(lambda match: variables().get(match[0].lower(), match[0]), text)
    head, _, rest = text.partition(">")
    view = re.search(r'viewBox="[^"]+"', head)
    box = view[0] if view else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {box} '
        f'role="img" aria-label={quoteattr(alt)} focusable="false">{rest.strip()}'
    )


def variables() -> dict[str, str]:
    """Colour of the light palette → CSS variable with that colour as its fallback."""
    out: dict[str, str] = {}
    for name in names():
        colour = getattr(LIGHT, name).lower()
        out.setdefault(colour, f"var(--{name}, {colour})")
    return out


def names() -> tuple[str, ...]:
    """Names of the colours, as in `Palette`."""
    return tuple(field.name for field in fields(Palette))


def css_colours(dark: bool) -> str:
    """Declarations of the colour variables of one palette."""
    palette = DARK if dark else LIGHT
    return " ".join(f"--{name}: {getattr(palette, name)};" for name in names())
