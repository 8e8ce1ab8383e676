"""``armarc measures``: what every rep and every set is measured by."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from armarc.cli.log_options import AsJson

if TYPE_CHECKING:
    from armarc.measures import Column


def measures(
    as_json: AsJson = False,
) -> None:
    """List every measure: its key in JSON and tables, its unit, what it means, whether it has a standard error.

    Behind them what else stands in a result (process --json, --samples), and what the flags of a rep's quality mean.
    """
    from dataclasses import asdict

    from armarc.cli.result_keys import BESIDE
    from armarc.load.table import LoadMeasures
    from armarc.measures import columns
    from armarc.reps.flags import FLAGS
    from armarc.reps.summary import SetSummary
    from armarc.reps.types import Rep

    tables = {"rep": columns(Rep), "set": columns(SetSummary), "load": columns(LoadMeasures)}
    if as_json:
        import json

        document = {
            "schema": "armarc.measures/1",
            **{
                of: [_record(each, found) for each in found if not each.is_error]
                for of, found in tables.items()
            },
            "beside": [asdict(each) for each in BESIDE],
            "flags": FLAGS,
        }
        typer.echo(json.dumps(document, ensure_ascii=False, indent=2))
        return
    from armarc.cli.log_options import print_table

    lines = [
        [of, each.key, each.unit.sign, "yes" if _has_error(each, found) else "", each.measure.meaning]
        for of, found in tables.items()
        for each in found
        if not each.is_error
    ]
    lines += [[each.of, each.key, each.unit, "", each.meaning] for each in BESIDE]
    lines += [["flag", flag, "", "", meaning] for flag, meaning in FLAGS.items()]
    print_table(["Of a", "Key", "Unit", "SE", "Meaning"], lines)


def _has_error(column: Column, among: tuple[Column, ...]) -> bool:
    from armarc.load.table import WITHOUT_ERROR, LoadMeasures
    from armarc.measures import columns

    if among is columns(LoadMeasures):  # their errors stand in a second row of the same table
        return column.key not in WITHOUT_ERROR
    return any(each.is_error and each.measure is column.measure for each in among)


def _record(column: Column, among: tuple[Column, ...]) -> dict[str, object]:
    return {
        "key": column.key,
        "title": column.measure.title,
        "unit": column.unit.sign,
        "kind": column.kind,
        "meaning": column.measure.meaning,
        "averaged_over_a_set": column.measure.average,
        "has_standard_error": _has_error(column, among),
    }
