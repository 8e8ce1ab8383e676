"""``armarc reliability``: how well the numbers repeat for this lifter and this sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from armarc.cli.log_options import (
    WHERE,
    AsJson,
    LogFile,
    check_names,
    print_json,
    print_table,
    say,
    say_cautions,
    shown,
)
from armarc.cli.option_rows import taking

if TYPE_CHECKING:
    from armarc.log.reading import Filter


@taking(where=WHERE)
def reliability(
    measures: Annotated[
        list[str] | None, typer.Argument(help="Measures; the usual ones when none is named.")
    ] = None,
    *,
    across: Annotated[
        str, typer.Option("--across", help="days: sessions of the same task; sets: sets of one session.")
    ] = "days",
    where: Filter,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Typical error, smallest detectable change, limits of agreement and intraclass correlation from repeated sets."""
    from armarc.errors import NothingToMeasure
    from armarc.log.effects import digits_for
    from armarc.log.measures import COMPARED, find_measure
    from armarc.log.reading import Filter
    from armarc.log.repeats import ADVICE, repeatability_of
    from armarc.log.store import open_log
    from armarc.log.table import read_table
    from armarc.log.trend import shown as words_of

    chosen = [find_measure(name) for name in measures or COMPARED]
    with open_log(log_file, create=False) as store:
        if not as_json:
            check_names(store, where)
        sets = read_table(store, where, *chosen)
        # What lifters differ by is asked of all of them, whomever the filter keeps.
        others = Filter(exercise=where.exercise, variant=where.variant)
        everyone = sets if others == where else read_table(store, others, *chosen)
    found = [repeatability_of(sets, measure, across=across, everyone=everyone) for measure in chosen]
    if as_json:
        print_json({"schema": "armarc.reliability/1", "measures": [one.to_dict() for one in found]})
    else:
        heads = [
            "Measure",
            "Pairs",
            "Mean",
            "Typical error (95 %)",
            "CV %",
            "Detectable (95 %)",
            "Limits of agreement",
        ]
        heads += ["Worthwhile", "ICC 2,1 (95 %)", "ICC 3,1 (95 %)"]
        lines = []
        for one in found:
            d, e = max(one.measure.digits, 1), one.error
            line = [one.measure.label]
            if e is None:
                line += ["0", *["–"] * 5]
            else:
                d = digits_for(e.typical_error_low, d)
                spread = (
                    f"{e.typical_error:.{d}f} ({e.typical_error_low:.{d}f} to {e.typical_error_high:.{d}f})"
                )
                limits = f"{e.limits[0]:+.{d}f} to {e.limits[1]:+.{d}f}"
                line += [
                    str(e.pairs),
                    shown(e.mean, d),
                    spread,
                    shown(e.cv_pct, 1),
                    f"{e.detectable:.{d}f} ({e.detectable_low:.{d}f} to {e.detectable_high:.{d}f})",
                    limits,
                ]
            line.append(words_of(one.worthwhile, d))
            for form in ("2,1", "3,1"):
                icc = one.icc.get(form)
                line.append("–" if icc is None else f"{icc.value:.2f} ({icc.low:.2f} to {icc.high:.2f})")
            lines.append(line)
        ranks = {
            "ICC 3,1 (95 %)": 5,
            "Limits of agreement": 4,
            "Worthwhile": 3,
            "Mean": 2,
            "ICC 2,1 (95 %)": 1,
        }
        print_table(heads, lines, right=frozenset({1, 2, 4, 7}), ranks=ranks)
        say(
            "Repeats are neighbouring sessions of one task (lifter, exercise, variant, side, load)."
            if across == "days"
            else "Repeats are neighbouring sets of one session and task: tiring adds to the error; what a strap put "
            "on anew adds does not show."
        )
        for why in dict.fromkeys(one.why_no_icc for one in found if one.why_no_icc):
            say(f"No ICC: {why}.")
        for caution in dict.fromkeys(one.icc_caution for one in found if one.icc_caution):
            say(f"Note: {caution}.")
        say(
            "Detectable is 1.96·√2 times the typical error (Weir 2005): with few pairs only what lies above the upper "
            "end of its interval is surely beyond error."
        )
        say(ADVICE)
        say_cautions(sets.exercises)
    if all(one.error is None for one in found):
        raise NothingToMeasure(
            "fewer than three pairs of repeats",
            "log the same task on four days or more, or use --across sets",
        )
