"""The sample output in README.md, made anew: ``python tests/readme_sample.py`` writes it in.

It is what a terminal of 100 columns shows of ``armarc process recordings/strict-raise.csv``, without its colours.
"""

from __future__ import annotations

import io
import os
import re
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
_SAMPLE = re.compile(r"(## What comes out\n\n```\n)(.*?)(```\n)", re.S)


def sample() -> str:
    """What the program prints now."""
    from rich.console import Console

    from armarc.cli import batch
    from armarc.kept import open_kept
    from armarc.options import MeasuringOptions

    with tempfile.TemporaryDirectory() as empty:
        before = os.environ.get("ARMARC_CONFIG_DIR")
        os.environ["ARMARC_CONFIG_DIR"] = empty  # nobody's own settings
        try:
            path = ROOT / "recordings" / "strict-raise.csv"
            measured = batch.measure_file(path, {}, MeasuringOptions(), open_kept())
        finally:
            if before is None:
                del os.environ["ARMARC_CONFIG_DIR"]
            else:
                os.environ["ARMARC_CONFIG_DIR"] = before
    drawn = io.StringIO()
    console = Console(file=drawn, width=100, force_terminal=True, color_system=None, highlight=False)
    batch.show(measured.result, path, 0, 1, console)
    batch.show_cautions(batch.cautions_of(measured.result), console)
    plain = re.sub(r"\x1b\[[\d;]*m", "", drawn.getvalue())
    return "\n".join(line.rstrip() for line in plain.splitlines()) + "\n"


def shown(readme: str) -> str:
    """The sample as the README has it."""
    match = _SAMPLE.search(readme)
    assert match, "README.md has no sample below 'What comes out'"
    return match[2]


if __name__ == "__main__":
    page = ROOT / "README.md"
    made = sample()
    text = _SAMPLE.sub(lambda match: match[1] + made + match[3], page.read_text(encoding="utf-8"))
    page.write_text(text, encoding="utf-8")
