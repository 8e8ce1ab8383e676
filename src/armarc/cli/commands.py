"""Which commands there are."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Attach every command to the program."""
    from armarc.cli.exercises import exercises
    from armarc.cli.lifter import app as lifter
    from armarc.cli.log import app as log
    from armarc.cli.process import process
    from armarc.cli.resist import resist
    from armarc.cli.settings import settings
    from armarc.cli.simulate import simulate

    app.command("process")(process)
    app.command("exercises")(exercises)
    app.add_typer(log, name="log")
    app.command("settings")(settings)
    app.command("simulate")(simulate)
    app.add_typer(lifter, name="lifter")
    app.command("resist")(resist)
