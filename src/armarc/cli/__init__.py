"""The command line: one thin file per command."""

from armarc.cli.app import main

__all__ = ["main"]
