"""Looking back beside the loop: begun at one sample, taken up at a later one that the samples alone decide.

What takes tens of milliseconds (counting again, fitting the lever arm) must not hold up the samples that come in the
meantime. A worker does it on a copy of the rows; what it found is taken up a fixed number of samples later, or sooner
where what comes next rests on it. So the same samples give the same events, however fast the worker is.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

from armarc.live.events import EngineEvent

Found = TypeVar("Found")

ASIDE_S = 0.1
"""So long a look may take before a sample waits for it: a rep's end is told later by that (working limit)."""


class Aside:
    """One look back at a time.

    Attributes
    ----------
    pending : bool
        Whether a look has begun and was not taken up.
    before_moving : bool
        Whether it must be taken up before the arm leaves its bottom.
    due : int
        Row at which it is taken up at the latest.
    """

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="looking back")
        self._future: Future[Any] | None = None
        self._take_up: Callable[[Any, list[EngineEvent]], None] | None = None
        self.pending = self.before_moving = False
        self.due = 0

    def begin(
        self,
        look: Callable[[], Found],
        take_up: Callable[[Found, list[EngineEvent]], None],
        due: int,
        *,
        before_moving: bool = False,
    ) -> None:
        """Begin a look.

        Parameters
        ----------
        look : callable
            Runs in the worker: what it reads must not change.
        take_up : callable (found, events)
            Runs in the loop; it may begin the next look.
        due : int
        before_moving : bool
        """
        assert not self.pending
        self._future, self._take_up = self._worker.submit(look), take_up
        self.pending, self.before_moving, self.due = True, before_moving, due

    def settle(self, events: list[EngineEvent]) -> None:
        """Wait for the look, if there is one, and take it up."""
        if self._future is not None and self._take_up is not None:
            found, take_up = self._future.result(), self._take_up
            self.forget()
            take_up(found, events)

    def forget(self) -> None:
        """Nobody waits for it any more."""
        self._future = self._take_up = None
        self.pending = self.before_moving = False
