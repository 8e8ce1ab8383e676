"""Loss of velocity and range along a set, and where it could have been stopped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from armarc.reps.summary import fullness, last_rep, loss
from armarc.reps.types import Rep

CAUTION = (
    "Velocity loss agrees poorly from day to day (Jukic et al. 2023, Sports Med Open 9:80) and was studied "
    "in squat and bench press, not in raises: one sign among others."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fatigue:
    """What was lost along a set.

    Parameters
    ----------
    velocity_loss_pct, rom_loss_pct : tuple of float or None
        Per rep: 100·(best so far − this)/best so far; 0 for a new best, None where a rep has no value.
    velocity_loss_set_pct : float or None
        100·(fastest − last)/fastest over the whole set.
    stop_at_pct : float or None
        The lifter's own mark, for which there is no limit from science; None without one.
    stop_after_rep : int or None
        Number of the first rep whose loss reached the threshold and stayed there for the next rep too (or
        that was the last one); None when none did.
    last_rep : str
        What the set's losses are taken at, in words.
    """

    velocity_loss_pct: tuple[float | None, ...]
    rom_loss_pct: tuple[float | None, ...]
    velocity_loss_set_pct: float | None
    stop_at_pct: float | None
    stop_after_rep: int | None
    last_rep: str = "last rep"

    def to_dict(self) -> dict[str, object]:
        """JSON-ready."""
        return {
            "velocity_loss_pct": [_rounded(value) for value in self.velocity_loss_pct],
            "rom_loss_pct": [_rounded(value) for value in self.rom_loss_pct],
            "velocity_loss_set_pct": _rounded(self.velocity_loss_set_pct),
            "stop_at_pct": self.stop_at_pct,
            "stop_after_rep": self.stop_after_rep,
        }

    def words(self) -> str:
        """The same for a lifter."""
        if self.velocity_loss_set_pct is None:
            return "No velocity loss: fewer than two reps with a raising velocity."
        text = f"The {self.last_rep} was {self.velocity_loss_set_pct:.0f} % slower than the fastest. "
        return text + self.mark_words() + CAUTION

    def mark_words(self) -> str:
        """What became of the lifter's own mark; nothing without one."""
        if self.stop_at_pct is None:
            return ""
        reached = "not reached" if self.stop_after_rep is None else f"reached at rep {self.stop_after_rep}"
        return f"The {self.stop_at_pct:g} % mark was {reached}. "


def fatigue_of(reps: Sequence[Rep], *, stop_at_pct: float | None = None) -> Fatigue:
    """Velocity and range loss of a set.

    Parameters
    ----------
    reps : sequence of Rep
        In order. A partial, swung or cut rep has no loss and is no best, where others are left; of such
        sets one that is not cut is taken, as in their means.
    stop_at_pct : float or None, %
        The lifter's own mark; None for none.

    Notes
    -----
    Velocity loss is 100·(v_best − v_i)/v_best (Sánchez-Medina and González-Badillo 2011). Along the set the
    best so far counts, because that is all one can know during it.
    """
    most = max((fullness(rep.quality) for rep in reps), default=0)
    full = [rep if fullness(rep.quality) == most else None for rep in reps]
    velocity = losses([None if rep is None else rep.mean_concentric_rad_s for rep in full])
    speeds = [rep.mean_concentric_rad_s for rep in full if rep and (rep.mean_concentric_rad_s or 0.0) > 0]
    slower = loss(speeds) if len(speeds) > 1 else None
    return Fatigue(
        velocity_loss_pct=velocity,
        rom_loss_pct=losses([None if rep is None else rep.rom_rad for rep in full]),
        velocity_loss_set_pct=None if slower is None else 100 * slower,
        stop_at_pct=stop_at_pct,
        stop_after_rep=None if stop_at_pct is None else _stop_rep(reps, velocity, stop_at_pct),
        last_rep=last_rep(reps),
    )


def losses(values: Sequence[float | None]) -> tuple[float | None, ...]:
    """Loss of each value against the best so far, in %; None stays None."""
    out: list[float | None] = []
    best = 0.0
    for value in values:
        if value is None or not value > 0:
            out.append(None)
            continue
        best = max(best, value)
        out.append(100 * (best - value) / best)
    return tuple(out)


def _stop_rep(reps: Sequence[Rep], lost: Sequence[float | None], threshold: float) -> int | None:
    known = [(rep.rep, value) for rep, value in zip(reps, lost, strict=True) if value is not None]
    for i, (number, value) in enumerate(known):
        # One slow rep among fast ones is a slip, not fatigue.
        if value >= threshold and (i + 1 == len(known) or known[i + 1][1] >= threshold):
            return number
    return None


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
