"""A report as one HTML file: no network, light and dark, for paper, screen, phone and screen reader.

Pictures are vector parts of it, in its own light and dark colours, with words for the blind.
"""

from __future__ import annotations

import io
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import fields
from datetime import datetime
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import quoteattr

import matplotlib as mpl

from armarc import __version__
from armarc.report.page_parts import Section
from armarc.report.style import DARK, LIGHT, Palette
from armarc.report.wording import cautions_for

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


CAUTIONS = (
    "Training log and measurement aid, not a medical device: it does not diagnose, treat or predict injury.",
    "Stop at pain, numbness, tingling, instability, dizziness or chest discomfort and see a licensed practitioner. "
    "After injury or surgery, or with heart, metabolic or kidney disease: medical clearance first.",
    "Angles come from the forearm: a bent elbow, a loose strap or a leaning trunk changes them. ± is one standard "
    "error where one can be given.",
    "Moments are estimates from body tables and the load you typed, not forces in muscles or joints.",
    "Velocity loss and reps in reserve vary between days and people (Jukic et al. 2023, Sports Med Open 9:80).",
    "A band is a working band, no source, or a lifter's own from clean reps; loaded ranges have no source. Start "
    "light and never chase a number.",
)


def render_page(
    title: str,
    subtitle: str,
    sections: Sequence[Section],
    *,
    exercises: Collection[str] = (),
    invented: str = "",
    nav: Sequence[Mapping[str, str]] = (),
    form: Mapping[str, object] | None = None,
) -> str:
    """Make the page.

    Parameters
    ----------
    title, subtitle : str
    sections : sequence of Section
    exercises : collection of str
        Whose own cautions stand at the foot.
    invented : str
        Which data is invented, in words.
    nav : sequence of mapping
        Links above the page (``href``, ``words``), for pages that are served.
    form : mapping or None
        What can be edited, for pages that are served; see ``edit.html.j2``.

    Returns
    -------
    str
        A whole HTML document; every text in it is escaped.
    """
    from markupsafe import Markup

    number = 0
    shown: list[dict[str, object]] = []
    for section in sections:
        pictures = []
        for picture in section.pictures:
            number += 1
            # The drawing library escapes what it writes; the alt text is quoted by `inline_svg`.
            svg = Markup(inline_svg(picture.figure, picture.alt, number=number))
            pictures.append({"svg": svg})
        shown.append(
            {
                "heading": section.heading,
                "words": section.words,
                "pictures": pictures,
                "tables": section.tables,
                "notes": section.notes,
                "quotes": section.quotes,
            }
        )
    page: str = (
        environment()
        .get_template("report.html.j2")
        .render(
            title=title,
            subtitle=subtitle,
            sections=shown,
            cautions=[*(cautions_for(exercises) if exercises else ()), *CAUTIONS],
            made_at=datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
            version=__version__,
            invented=invented,
            nav=nav,
            form=form,
            form_action="'self'" if form else "'none'",
            light=css_colours(dark=False),
            dark=css_colours(dark=True),
        )
    )
    return page


def environment() -> Any:
    """Template environment of the package: everything escaped, a missing value is an error."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    folder = files("armarc.report") / "templates"
    return Environment(
        loader=FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
