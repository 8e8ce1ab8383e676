"""``armarc about``: what belongs to a copy of the program and is found without a checkout."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

PAGES = {"licence": "LICENSE", "changes": "changes.md", "citing": "citing.md", "profile": "wrist-profile.md"}
VARIABLES = (
    ("ARMARC_LOG", "log to use instead of your own: a file, or postgresql+psycopg://…"),
    ("ARMARC_CONFIG_DIR", "folder of settings, own exercises, the lifter's body, remembered sensors"),
    ("ARMARC_DATA_DIR", "folder of the log, its recordings and the live page's certificate"),
    ("ARMARC_LARGEST_MB", "largest recording that is read, in megabytes (1024)"),
    ("NO_COLOR", "no colours on the terminal"),
)
"""Environment variables that are heard, as the README's table has them."""


def about(
    page: Annotated[
        str | None, typer.Argument(help="licence, changes, citing or profile (what a sensor must speak).")
    ] = None,
) -> None:
    """Tell what is kept where on this machine; or print the licence, the changes, how to cite, the wrist profile."""
    from armarc import __version__
    from armarc.errors import UsageError

    if page is None:
        _kept(__version__)
        return
    name = PAGES.get(page.lower())
    if name is None:
        raise UsageError(f"there is no page {page!r}", f"choose from: {', '.join(PAGES)}")
    text = page_text(name)
    typer.echo(text.format(version=__version__) if page == "citing" else text, nl=False)


def page_text(name: str) -> str:
    """A page of the package; the wrist profile of a checkout lies with the firmware's notes.

    Raises
    ------
    UsageError
        This copy lacks it.
    """
    from armarc.errors import UsageError

    package = Path(__file__).parents[1]
    for path in (package / "about" / name, package.parents[1] / "firmware_notes" / name):
        if path.is_file():
            return path.read_text(encoding="utf-8")
    raise UsageError(f"this copy of armarc lacks its page {name}", "install it again")


def _kept(version: str) -> None:
    import sys

    from armarc.cli.log_options import print_table
    from armarc.computer import config_folder
    from armarc.log.location import find_location

    log = find_location(None)
    rows = [
        ("program", f"armarc {version}, {Path(__file__).parents[1]}, Python {sys.version.split()[0]}"),
        ("training log", log.name),
        ("raw recordings of logged sets", str(log.recordings or "inside the database")),
        ("settings, own exercises, body, sensors", str(config_folder())),
        ("recordings of armarc live and record", "the folder you start it in, unless --out says otherwise"),
        *((f"${name}", words) for name, words in VARIABLES),
    ]
    print_table(["What", "Where"], [list(row) for row in rows])
