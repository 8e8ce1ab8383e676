"""Which commands there are."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Attach every command to the program."""
    from armarc.cli.about import about
    from armarc.cli.archive import app as archive
    from armarc.cli.band import band
    from armarc.cli.browse import browse
    from armarc.cli.compare import compare
    from armarc.cli.demo import demo
    from armarc.cli.exercises import exercises
    from armarc.cli.lifter import app as lifter
    from armarc.cli.line_of_pull import line_of_pull
    from armarc.cli.live import live
    from armarc.cli.log import app as log
    from armarc.cli.measures import measures
    from armarc.cli.plan import plan
    from armarc.cli.process import process
    from armarc.cli.record import record
    from armarc.cli.reliability import reliability
    from armarc.cli.report import report
    from armarc.cli.resist import resist
    from armarc.cli.sensor import app as sensor
    from armarc.cli.settings import settings
    from armarc.cli.simulate import simulate
    from armarc.cli.trend import trend

    app.command("process")(process)
    app.command("exercises")(exercises)
    app.command("measures")(measures)
    app.add_typer(log, name="log")
    app.add_typer(archive, name="archive")
    app.command("settings")(settings)
    app.command("simulate")(simulate)
    app.add_typer(lifter, name="lifter")
    app.command("resist")(resist)
    app.command("band")(band)
    app.command("trend")(trend)
    app.command("compare")(compare)
    app.command("reliability")(reliability)
    app.command("plan")(plan)
    app.command("line-of-pull")(line_of_pull)
    app.command("report")(report)
    app.command("browse")(browse)
    app.command("record")(record)
    app.command("live")(live)
    app.add_typer(sensor, name="sensor")
    app.command("demo")(demo)
    app.command("about")(about)
