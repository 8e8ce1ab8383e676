"""The command line: one thin file per command."""

from __future__ import annotations

import os
import sys
from typing import NoReturn

INTERRUPTED = 130

__all__ = ["main"]


def main() -> NoReturn:
    """Run the command line. Ctrl-C while its libraries are loaded ends it as Ctrl-C later does, without a trace."""
    try:
        from armarc.computer import one_thread

        one_thread(os.environ)  # before NumPy is loaded
        # Pictures go into files by canvases of their own; a backend meant for a notebook would only stop them.
        os.environ.pop("MPLBACKEND", None)
        from armarc.cli.app import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
