"""Who may use the pages over the log: the browser that came first with the code, known by its cookie from then on.

The address a browser is started with stands in the list of processes, where every user of the machine can read it.
So it holds a code that works once; what opens the pages afterwards is a cookie, which stands nowhere.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import MutableMapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
}


class Entry:
    """One start of the pages: a place for them, a code that works once, and the cookie it becomes.

    The place keeps the cookie away from other servers on this machine: a browser sends cookies to every port.
    """

    def __init__(self) -> None:
        self.place = f"/{secrets.token_urlsafe(12)}/"
        self.code = secrets.token_urlsafe(24)
        self._cookie = secrets.token_urlsafe(32)
        self._used = False

    @property
    def first_address(self) -> str:
        """Path and query the first browser is sent to."""
        return f"{self.place}?code={self.code}"

    def redeem(self, code: str) -> str | None:
        """The cookie's header for a right code that comes for the first time; else None."""
        if self._used or not hmac.compare_digest(code.encode(), self.code.encode()):
            return None
        self._used = True
        return f"armarc={self._cookie}; Path={self.place}; HttpOnly; SameSite=Strict"

    def knows(self, cookie: str | None) -> bool:
        """Whether a request carries the cookie."""
        return hmac.compare_digest((cookie or "").encode(), self._cookie.encode())


class WithHeaders:
    """Puts the headers on every answer, the refusals of the framework among them."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""

        async def with_headers(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                have = {name.lower() for name, _ in message.get("headers", [])}
                more = [(k.lower().encode(), v.encode()) for k, v in HEADERS.items()]
                message["headers"] = [
                    *message.get("headers", []),
                    *(pair for pair in more if pair[0] not in have),
                ]
            await send(message)

        await self._app(scope, receive, with_headers)
