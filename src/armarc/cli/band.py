"""``armarc band``: a lifter's own band of the start velocity."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.log_options import FILTERS, AsJson, LogFile, make_filter
from armarc.cli.option_rows import only, taking

if TYPE_CHECKING:
    from armarc.kept import OwnBands
    from armarc.load.paced import PacedPlan
    from armarc.log.own_band import Edges, OwnBand
    from armarc.log.reading import Filter

SCHEMA = "armarc.band/1"
SOURCES = ("clean", "smooth")


@taking(where=(only(FILTERS, "exercise", "side", "load", "since", "until"), make_filter))
def band(
    name: Annotated[
        str | None, typer.Argument(metavar="[LIFTER]", help="Whose; without it, whoever is meant unnamed.")
    ] = None,
    *,
    where: Filter,
    keep: Annotated[
        str | None,
        typer.Option(
            "--keep", metavar="WHICH", help="Keep a band: clean, smooth, or two speeds such as 48-66."
        ),
    ] = None,
    forget: Annotated[bool, typer.Option("--forget", help="Go back to the working band.")] = False,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Propose a lifter's own band of the start velocity from their clean reps, and keep it.

    A kept band is taken by process, live and record for that lifter and exercise, unless --band is given.
    """
    from dataclasses import replace

    from armarc.errors import NothingToMeasure, UsageError
    from armarc.exercises import Band, find_exercise
    from armarc.kept import load_own_bands, save_own_bands
    from armarc.log.own_band import RULE
    from armarc.quantities import DEFAULT_LIFTER, clean_name

    lifter = DEFAULT_LIFTER if name is None else clean_name(name, "lifter", empty=False)
    key = None if where.exercise is None else find_exercise(where.exercise).key
    kept = load_own_bands()
    if forget and keep:
        raise UsageError("--forget and --keep contradict each other", "give one of them")
    if (forget or keep) and key is None:
        raise UsageError("which exercise is the band for?", "add for example -e lateral-raise")
    typed = keep is not None and keep not in SOURCES
    if typed or forget:
        from armarc.quantities import parse_pair

        own = None if forget else Band(*_rad(parse_pair(str(keep))), "as stated by you")
        if forget and kept.find(lifter, str(key)) is None:
            raise NothingToMeasure(
                f"no band is kept for {lifter} at {key}", "armarc band shows what there is"
            )
        path = save_own_bands(kept.with_(lifter, str(key), own))
        _say([f"{'Forgotten' if own is None else own.words} ({lifter}, {key}); in {path}"])
        return
    found = _proposals(log_file, replace(where, lifter=lifter, exercise=key))
    if keep is not None:
        (one,) = found
        edges = one.from_clean if keep == "clean" else one.from_smooth
        if edges is None:
            raise NothingToMeasure(
                f"no band can be proposed: {one.missing}", "log more sets, or --keep 48-66"
            )
        own = Band(*_rad(edges.whole_deg_s), one.basis if keep == "clean" else one.smooth_basis)
        path = save_own_bands(kept.with_(lifter, str(key), own))
        _say([f"Kept for {lifter}, {key}: {own.words}; in {path}"])
        return
    plans = {one.exercise: _plan(one) for one in found}
    if as_json:
        from armarc.cli.log_options import print_json

        print_json(
            {
                "schema": SCHEMA,
                "lifter": lifter,
                "rule": RULE,
                "exercises": [_record(one, kept, plans[one.exercise]) for one in found],
            }
        )
        return
    _print(lifter, found, kept, plans)


def _rad(pair: tuple[float, float]) -> tuple[float, float]:
    import math

    return math.radians(pair[0]), math.radians(pair[1])


def _proposals(log_file: str | None, where: Filter) -> list[OwnBand]:
    from armarc.cli.log_options import check_names
    from armarc.errors import NothingToMeasure
    from armarc.exercises import load_catalogue
    from armarc.log.own_band import own_band
    from armarc.log.reading import list_sets, measured_reps
    from armarc.log.store import open_log

    key = where.exercise
    catalogue = load_catalogue()
    with open_log(log_file, create=False) as store:
        check_names(store, where)
        by_exercise: dict[str, list[Any]] = {}
        for entry in list_sets(store, where)[::-1]:
            by_exercise.setdefault(entry.exercise, []).append(entry)
        found = []
        for each, entries in sorted(by_exercise.items(), key=lambda one: -len(one[1])):
            if each in catalogue and (key is not None or catalogue[each].band is not None):
                reps = measured_reps(store, [entry.id for entry in entries])
                found.append(own_band(entries, reps, catalogue[each].gate_rad))
    if not found:
        raise NothingToMeasure(
            "no set of an exercise with a band passes", "widen the filter or log more sets"
        )
    return found


def _plan(one: OwnBand) -> PacedPlan | None:
    """The paced plan of the lifter's median clean rep at both edges and a smooth start, with the newest load."""
    import math

    from armarc.errors import UsageError
    from armarc.load.capacity import ShoulderCapacity, capacity_curve
    from armarc.load.lifter import load_lifters
    from armarc.load.paced import paced_plan
    from armarc.load.resistance import Dumbbell
    from armarc.load.strength import StrengthSource
    from armarc.simulate import RepPlan

    if one.from_clean is None or one.load_kg is None or one.bottom_deg is None or one.top_deg is None:
        return None
    paces = one.from_clean.whole_deg_s
    resistances = (Dumbbell(mass_kg=one.load_kg),)
    try:
        return paced_plan(
            RepPlan(
                bottom_rad=math.radians(one.bottom_deg),
                top_rad=math.radians(one.top_deg),
                concentric_s=one.concentric_s or 1.6,
                hold_s=one.hold_s or 0.0,
                eccentric_s=one.eccentric_s or 2.0,
            ),
            _rad(paces),
            source=StrengthSource(lifter=load_lifters().find(one.lifter), resistances=resistances),
            resistances=resistances,
            shape=ShoulderCapacity(peak_n_m=1.0, curve=capacity_curve("mid-range")),
        )
    except UsageError:
        # A rep as short or as quick as this leaves no room for the pace.
        return None


def _record(one: OwnBand, kept: OwnBands, plan: PacedPlan | None) -> dict[str, object]:
    import math

    def edges(found: Edges | None) -> dict[str, object] | None:
        if found is None:
            return None
        return {
            "band_deg_s": list(found.whole_deg_s),
            "low_deg_s": round(found.low_deg_s, 2),
            "high_deg_s": round(found.high_deg_s, 2),
            "low_se_deg_s": round(found.low_se_deg_s, 2),
            "high_se_deg_s": round(found.high_se_deg_s, 2),
        }

    own = kept.find(one.lifter, one.exercise)
    return {
        "exercise": one.exercise,
        "in_force": _in_force(one, kept),
        "kept": own is not None,
        "clean_reps": one.reps,
        "sessions": one.sessions,
        "from_clean_reps": edges(one.from_clean),
        "from_smooth_reps": edges(one.from_smooth),
        "missing": one.missing or None,
        "paced": None
        if plan is None
        else [
            {
                "start_velocity_deg_s": round(math.degrees(lane.gate_rad_s), 1),
                "start_ratio": None if lane.start_ratio is None else round(lane.start_ratio, 3),
                "peak_concentric_moment_n_m": round(lane.measures.peak_concentric_moment_n_m, 1),
            }
            for lane in plan.lanes
        ],
    }


def _in_force(one: OwnBand, kept: OwnBands) -> str:
    from armarc.exercises import find_exercise

    own = kept.find(one.lifter, one.exercise) or find_exercise(one.exercise).band
    return "none" if own is None else own.words


def _print(lifter: str, found: list[OwnBand], kept: OwnBands, plans: dict[str, PacedPlan | None]) -> None:
    from armarc.cli.log_options import print_table, say_cautions
    from armarc.load.table import MOMENT_CAUTION
    from armarc.log.own_band import RULE

    def edges(one: Edges | None) -> str:
        if one is None:
            return "–"
        return (
            f"{one.low_deg_s:.0f} ± {one.low_se_deg_s:.0f} to {one.high_deg_s:.0f} ± {one.high_se_deg_s:.0f}"
        )

    heads = ["Exercise", "In force", "Clean reps °/s", "Smooth reps °/s", "Reps", "Sessions"]
    lines = [
        [
            one.exercise, _in_force(one, kept), edges(one.from_clean), edges(one.from_smooth), str(one.reps),
            str(one.sessions),
        ]
        for one in found
    ]  # fmt: skip
    print_table(heads, lines, right=frozenset({4, 5}), ranks={"Sessions": 2, "Reps": 1})
    said = [f"{one.exercise}: {one.missing}." for one in found if one.missing]
    for each in found:
        if (plan := plans[each.exercise]) is not None:
            said.append(_paced_words(each, plan))
    if any(plans.values()):
        said.append(MOMENT_CAUTION)
    said += [
        RULE,
        "Smooth reps: where minimum-jerk raises of the same ranges and concentric times pass the gate (start ratio 1 "
        "of `plan --pace`). Keep one with --keep clean, --keep smooth or --keep 48-66; --forget takes it away. "
        "Never chase the number.",
    ]
    _say(said)
    say_cautions({one.exercise for one in found})


def _paced_words(one: OwnBand, plan: PacedPlan) -> str:
    import math

    lanes = [
        f"at {math.degrees(lane.gate_rad_s):.0f} °/s"
        + ("" if lane.start_ratio is None else f" start ratio {lane.start_ratio:.2f},")
        + f" raising peaks at {lane.measures.peak_concentric_moment_n_m:.0f} N·m"
        for lane in plan.lanes
    ]
    return (
        f"{one.exercise}, paced plan of the median clean rep with {one.load_kg:.4g} kg (as a dumbbell): "
        f"{'; '.join(lanes)}."
    )


def _say(lines: list[str]) -> None:
    from armarc.cli.log_options import say

    for line in lines:
        say(line)
