"""Options of ``armarc simulate`` that say what the body and the strap do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from armarc.simulate import Body

BODY, STRAP = "Body", "Strap"

ElbowBend = Annotated[
    float | None,
    typer.Option(metavar="DEG", help="Bend of the elbow at the bottom.", rich_help_panel=BODY),
]
ElbowBendTop = Annotated[
    float | None,
    typer.Option(
        metavar="DEG", help="Bend of the elbow at the top (default: as at the bottom).", rich_help_panel=BODY
    ),
]
ForearmTurn = Annotated[
    float | None,
    typer.Option(
        metavar="DEG", help="Turn of the forearm from bottom to top, + thumb inward.", rich_help_panel=BODY
    ),
]
GirdleRiseCm = Annotated[
    float | None,
    typer.Option(metavar="CM", help="Rise of the shoulder girdle with the level arm.", rich_help_panel=BODY),
]
Lean = Annotated[
    float | None,
    typer.Option(
        metavar="DEG", help="Standing lean of the trunk, + away from the arm.", rich_help_panel=BODY
    ),
]
LeanTravel = Annotated[
    float | None,
    typer.Option(metavar="DEG", help="Further lean away from the arm at the top.", rich_help_panel=BODY),
]
Stoop = Annotated[
    float | None,
    typer.Option(metavar="DEG", help="Standing lean of the trunk forward.", rich_help_panel=BODY),
]
Tip = Annotated[
    float | None,
    typer.Option(
        metavar="DEG", help="Trunk tips forward at the start of each rep, and back.", rich_help_panel=BODY
    ),
]
TipS = Annotated[
    float | None,
    typer.Option(metavar="SECONDS", help="Time of tipping, each way.", rich_help_panel=BODY),
]
TipLeadS = Annotated[
    float | None,
    typer.Option(
        metavar="SECONDS", help="Tipping begins this long before the arm sets off.", rich_help_panel=BODY
    ),
]
TrunkSway = Annotated[
    float | None,
    typer.Option(metavar="DEG", help="Wander of the trunk about the hips.", rich_help_panel=BODY),
]
ArmWithTrunk = Annotated[
    float | None,
    typer.Option(
        metavar="PERCENT",
        help="Share of the trunk's tilt that the arm takes along (default 100).",
        rich_help_panel=BODY,
    ),
]
RestPlane = Annotated[
    float | None,
    typer.Option(
        metavar="DEG",
        help="Plane in which the weight rests between reps, 75 before the thighs.",
        rich_help_panel=BODY,
    ),
]
SwingRise = Annotated[
    float | None,
    typer.Option(
        metavar="DEG",
        help="Direction of --swing-cm above straight forward (default 66).",
        rich_help_panel=BODY,
    ),
]
SwingPeak = Annotated[
    float | None,
    typer.Option(
        metavar="PERCENT",
        help="Part of the concentric at which the swing is farthest out (default 50).",
        rich_help_panel=BODY,
    ),
]
StrapWobble = Annotated[
    float | None,
    typer.Option(
        metavar="DEG", help="Wobble of the sensor about the wrist during reps.", rich_help_panel=STRAP
    ),
]
StrapWobbleHz = Annotated[
    float | None,
    typer.Option(metavar="HZ", help="Its frequency (default 7).", rich_help_panel=STRAP),
]
StrapWobbleDamping = Annotated[
    float | None,
    typer.Option(
        metavar="RATIO",
        help="0 lasts through the rep (default), above: struck by each phase, dies away.",
        rich_help_panel=STRAP,
    ),
]
StrapSlip = Annotated[
    float | None,
    typer.Option(
        metavar="DEG", help="The strap slips askew in the middle of the middle set.", rich_help_panel=STRAP
    ),
]
StrapSlipRoll = Annotated[
    float | None,
    typer.Option(metavar="DEG", help="It slips about the forearm there.", rich_help_panel=STRAP),
]


def shape_body(
    body: Body,
    *,
    degrees: Mapping[str, float | None],
    hundredths: Mapping[str, float | None],
    plain: Mapping[str, float | None],
) -> Body:
    """Change what was asked for; None leaves a body's own value.

    Parameters
    ----------
    body : Body
    degrees, hundredths, plain : mapping of str to float or None
        Fields of the body, given in degrees, in hundredths (percent, centimetres), and as they are.

    Raises
    ------
    UsageError
        If a value lies outside what a body can do.
    """
    import math
    from dataclasses import replace

    scales = ((degrees, math.pi / 180), (hundredths, 0.01), (plain, 1.0))
    asked = {
        name: scale * value for part, scale in scales for name, value in part.items() if value is not None
    }
    return replace(body, **asked)
