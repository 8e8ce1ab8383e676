"""The log as pages on this machine only: list, filter, open, compare, edit.

Nobody sees or changes anything but the browser that came first with the code, known by its cookie from then on.
No script runs in the pages.

The address a browser is started with stands in the list of processes, where every user of the machine can read it.
So it holds a code that works once; what opens the pages afterwards is a cookie, which stands nowhere.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlencode

import sqlalchemy as sa
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from armarc.errors import ArmarcError, LogError, UsageError
from armarc.log import Filter, Labels, LoggedSet, Store, list_sets, schema
from armarc.log.changing import edit_sets, remove_sets, undo
from armarc.log.coaching import Coaching
from armarc.log.labels import check_side
from armarc.log.reading import count_sets, get_set, parse_day
from armarc.report.page import environment, render_page
from armarc.report.page_build import build_sections, compare_section, invented_words, title_for
from armarc.report.page_parts import list_row

if TYPE_CHECKING:
    from starlette.requests import Request
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


PAGE_SETS = 100
MOST_REPORT_SETS = 5000
LARGEST_FORM_BYTES = 64_000
FILTERS = ("lifter", "exercise", "side", "tag", "since", "until")


def make_app(store: Store, entry: Entry, coaching: Coaching | None = None) -> Starlette:
    """Pages over an open log.

    Parameters
    ----------
    store : Store
    entry : Entry
        Decides who is let in; others get 403 at the place of the pages, and 404 anywhere else.
    coaching : Coaching or None
        The coach's own table; None is the one armarc comes with.
    """
    pages = _Pages(store, entry, coaching)
    place = entry.place
    routes = [
        Route(place, pages.guarded(pages.index), methods=["GET"]),
        Route(f"{place}report", pages.guarded(pages.report), methods=["GET"]),
        Route(f"{place}compare", pages.guarded(pages.compare), methods=["GET"]),
        Route(f"{place}set/{{number:int}}", pages.guarded(pages.one_set), methods=["GET"]),
        Route(f"{place}set/{{number:int}}", pages.guarded(pages.change), methods=["POST"]),
    ]
    hosts = ["127.0.0.1", "localhost", "[::1]"]
    return Starlette(
        routes=routes,
        middleware=[
            Middleware(WithHeaders),
            Middleware(TrustedHostMiddleware, allowed_hosts=hosts, www_redirect=False),
        ],
    )


class _Pages:
    """Handlers that share the log; drawing is done one at a time, as the plotting library wants it."""

    def __init__(self, store: Store, entry: Entry, coaching: Coaching | None) -> None:
        self.store = store
        self.coaching = coaching
        self.entry = entry
        self.base = entry.place
        self.drawing = threading.Lock()

    def guarded(self, handler: Callable[[Request, bytes], Response]) -> Callable[[Request], object]:
        """Let in whom the entry knows, and turn errors into plain pages."""

        async def answer(request: Request) -> Response:
            from starlette.concurrency import run_in_threadpool

            if not self.entry.knows(request.cookies.get("armarc")):
                return self._first_time(request)
            if "code" in request.query_params:
                return RedirectResponse(self.base, status_code=303)
            if request.method == "POST" and not _same_origin(request):
                return PlainTextResponse("refused: the form comes from another site", status_code=403)
            body = b""
            async for chunk in request.stream():
                body += chunk
                if len(body) > LARGEST_FORM_BYTES:
                    return PlainTextResponse("refused: the form is too large", status_code=413)
            try:
                return await run_in_threadpool(handler, request, body)
            except ArmarcError as error:
                status = 404 if isinstance(error, LogError) else 400
                return HTMLResponse(self._error_page(error), status_code=status)

        return answer

    def _first_time(self, request: Request) -> Response:
        cookie = self.entry.redeem(request.query_params.get("code", "")) if request.method == "GET" else None
        if cookie is None:
            text = "This browser is not let in: the address works once. Start armarc browse again.\n"
            return PlainTextResponse(text, status_code=403)
        return RedirectResponse(self.base, status_code=303, headers={"Set-Cookie": cookie})

    def index(self, request: Request, body: bytes) -> Response:
        """List of sets with its filter."""
        chosen = {name: request.query_params.get(name, "").strip() for name in FILTERS}
        where = _filter(chosen)
        offset = _whole(request.query_params.get("from", "0"))
        entries = list_sets(self.store, where, limit=PAGE_SETS, offset=offset)
        total = count_sets(self.store, where)
        page = (
            environment()
            .get_template("browse.html.j2")
            .render(
                base=self.base,
                total=total,
                first=offset + 1,
                rows=[list_row(entry) for entry in entries],
                chosen=chosen,
                lifters=self._distinct(schema.lifter.c.name),
                exercises=self._distinct(schema.training_set.c.exercise),
                newer=self._list_link(chosen, offset - PAGE_SETS) if offset > 0 else "",
                older=self._list_link(chosen, offset + PAGE_SETS) if offset + PAGE_SETS < total else "",
                **_colours(),
            )
        )
        return HTMLResponse(page)

    def report(self, request: Request, body: bytes) -> Response:
        """Report of everything the filter lets through."""
        where = _filter({name: request.query_params.get(name, "").strip() for name in FILTERS})
        entries = list_sets(self.store, where, limit=MOST_REPORT_SETS)
        if not entries:
            raise LogError("no set passes the filter", "widen it")
        return self._page(entries)

    def one_set(self, request: Request, body: bytes) -> Response:
        """One set in full, with the form to edit it."""
        entry = get_set(self.store, request.path_params["number"])
        return self._page([entry], form=self._form(entry))

    def compare(self, request: Request, body: bytes) -> Response:
        """Two to four sets side by side."""
        numbers = list(dict.fromkeys(_whole(word) for word in request.query_params.getlist("set")))
        if not 2 <= len(numbers) <= 4:
            raise UsageError(
                f"{len(numbers)} {'set is' if len(numbers) == 1 else 'sets are'} ticked",
                "tick two to four in the list",
            )
        entries = sorted((get_set(self.store, n) for n in numbers), key=lambda one: (one.done_at, one.id))
        with self.drawing:
            sections = compare_section(self.store, entries)
            page = render_page(
                "Sets " + ", ".join(str(entry.id) for entry in entries) + " side by side",
                ", ".join(dict.fromkeys(entry.lifter for entry in entries)),
                sections,
                exercises={entry.exercise for entry in entries},
                invented=invented_words(entries),
                nav=self._nav(entries),
            )
        return HTMLResponse(page)

    def change(self, request: Request, body: bytes) -> Response:
        """Save, remove or undo, then show the set again."""
        number = int(request.path_params["number"])
        entry = get_set(self.store, number)
        fields = {key: values[0] for key, values in parse_qs(body.decode("utf-8", "replace"), True).items()}
        action = fields.get("do", "")
        if action == "remove":
            remove_sets(self.store, [number])
        elif action == "undo":
            undo(self.store)
        elif action == "save":
            self._save(entry, fields)
        else:
            raise UsageError("the form asks for nothing known", "go back and try again")
        return RedirectResponse(f"{self.base}set/{number}", status_code=303)

    def _save(self, entry: LoggedSet, fields: Mapping[str, str]) -> None:
        from armarc.log.measures import find_measure

        emptied = ("load_kg", "rir", "side", "pain", "pain_at_deg")
        clear = [name for name in emptied if name in fields and not fields[name].strip()]
        hurt = {} if "pain" in clear else fields
        tags = fields.get("tags", " ".join(entry.tags)).split()
        labels = Labels(
            lifter=fields.get("lifter"),
            variant=fields.get("variant"),
            side=check_side(fields.get("side")),
            load_kg=_decimal(fields.get("load_kg"), find_measure("load_kg").title),
            rir=_decimal(fields.get("rir"), find_measure("rir").title),
            pain=_decimal(hurt.get("pain"), "Pain"),
            pain_place=hurt.get("pain_place"),
            pain_at_deg=_decimal(hurt.get("pain_at_deg"), "Angle of the pain"),
            note=fields.get("note"),
            tags=tuple(tags),
        )
        gone = [tag for tag in entry.tags if tag not in labels.checked().tags]
        edit_sets(self.store, [entry.id], labels, untag=gone, clear=clear)

    def _page(self, entries: list[LoggedSet], form: Mapping[str, object] | None = None) -> Response:
        title, below = title_for(entries)
        with self.drawing:
            sections = build_sections(self.store, entries, coaching=self.coaching, today=date.today())
            page = render_page(
                title,
                below,
                sections,
                exercises={entry.exercise for entry in entries},
                invented=invented_words(entries),
                nav=self._nav(entries),
                form=form,
            )
        return HTMLResponse(page)

    def _form(self, entry: LoggedSet) -> dict[str, object]:
        with self.store.reading() as connection:
            table = schema.training_set
            chosen = sa.select(table.c.removed_at).where(table.c.id == entry.id)
            removed = connection.execute(chosen).scalar_one() is not None
        return {
            "action": f"{self.base}set/{entry.id}",
            "lifter": entry.lifter,
            "variant": entry.variant,
            "side": entry.side or "",
            "load_kg": "" if entry.load_kg is None else f"{entry.load_kg:.6g}",
            "rir": "" if entry.rir is None else f"{entry.rir:g}",
            "pain": "" if entry.pain is None else f"{entry.pain:g}",
            "pain_place": entry.pain_place,
            "pain_at_deg": "" if entry.pain_at_deg is None else f"{entry.pain_at_deg:g}",
            "tags": " ".join(entry.tags),
            "note": entry.note,
            "removed": removed,
        }

    def _nav(self, entries: list[LoggedSet]) -> list[dict[str, str]]:
        links = [{"href": self.base, "words": "All sets"}]
        days = {entry.day for entry in entries}
        if len(days) == 1:
            day = days.pop().isoformat()
            links.append({"href": f"{self.base}report?since={day}&until={day}", "words": f"Session of {day}"})
        if len(entries) <= 4:
            links += [{"href": f"{self.base}set/{e.id}", "words": f"Set {e.id}"} for e in entries]
        return links

    def _list_link(self, chosen: Mapping[str, str], offset: int) -> str:
        words = {name: value for name, value in chosen.items() if value}
        return f"{self.base}?{urlencode({**words, 'from': max(offset, 0)})}"

    def _distinct(self, column: sa.Column[Any]) -> list[str]:
        with self.store.reading() as connection:
            return sorted(connection.execute(sa.select(column).distinct()).scalars())

    def _error_page(self, error: ArmarcError) -> str:
        nav = [{"href": self.base, "words": "All sets"}]
        return render_page("This did not work", str(error), [], nav=nav)


def _same_origin(request: Request) -> bool:
    """A form of our own pages names our own host as its origin, or (without referrer) ``null``."""
    origin = request.headers.get("origin")
    site = request.headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        return False
    return origin in (None, "null") or origin == f"{request.url.scheme}://{request.headers.get('host', '')}"


def _filter(chosen: Mapping[str, str]) -> Filter:
    where = Filter(
        lifter=chosen["lifter"] or None,
        exercise=chosen["exercise"] or None,
        side=check_side(chosen["side"] or None),
        tag=chosen["tag"] or None,
    )
    since, until = (parse_day(chosen[name]) if chosen[name] else None for name in ("since", "until"))
    return replace(where, since=since, until=until)


def _whole(text: str) -> int:
    if not text.isdecimal() or len(text) > 9:
        raise UsageError(f"{text[:20]!r} is no number", "go back and try again")
    return int(text)


def _decimal(text: str | None, what: str) -> float | None:
    if text is None or not text.strip():
        return None
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise UsageError(f"{what}: {text[:20]!r} is no number", "for example 7.5") from None


def _colours() -> dict[str, str]:
    from armarc.report.page import css_colours

    return {"light": css_colours(dark=False), "dark": css_colours(dark=True)}
