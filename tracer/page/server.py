"""The small server of the desk: one page, what it shows, and readings taken into the current case. It serves no file and knows no path but those that it was begun with.

Over a network every request needs the key: it comes once in the address and is kept by the browser as a cookie that no script reads. What hands readings over must come from the page itself
(a header and an origin of its own), so that no other page that the browser shows can; and a request for any other host than those that the desk is reached by is refused.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import asdict, dataclass
from secrets import compare_digest
from typing import TYPE_CHECKING, Any

from tracer.case.calls import read_handed
from tracer.case.handed import MOST_CHARACTERS
from tracer.entry.files import NotWritten
from tracer.entry.problems import CannotAnswer, CannotCompute
from tracer.page.case_view import case_id
from tracer.page.desk import Desk, Versions
from tracer.page.file import page_html, policy
from tracer.report.handed import as_data

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response

    Serve = Callable[[Request], Awaitable[Response]]

COOKIE, OWN_HEADER = "tracer-key", "x-tracer"
WAIT_S, ASK_EVERY_S = 20.0, 0.05
KEPT_FOR_S = 14 * 3600  # a long day


@dataclass(frozen=True, slots=True)
class Doors:
    """The hosts (with port) that the desk is reached by, and the key that it wants; empty where it is on this machine only."""

    hosts: frozenset[str]
    key: str = ""


def application(desk: Desk, doors: Doors, ending: Callable[[], bool] = lambda: False) -> Starlette:
    """The desk as an ASGI application; what waits for a change is answered at once when it is `ending`."""
    from starlette.applications import Starlette
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse
    from starlette.routing import Route

    def behind_the_door(serve: Serve, *, with_key: bool = True) -> Serve:
        async def served(request: Request) -> Response:
            why_not = _refused(request, doors, with_key=with_key)
            answer = PlainTextResponse(why_not, status_code=403) if why_not else await serve(request)
            answer.headers.update(_HEADERS)
            return answer

        return served

    async def enter(request: Request) -> Response:
        if not doors.key or not _same(request.path_params["key"], doors.key):
            return PlainTextResponse("another key is wanted: the desk shows it in its terminal", status_code=403)
        found = RedirectResponse("/", status_code=303)
        found.set_cookie(COOKIE, doors.key, max_age=KEPT_FOR_S, httponly=True, samesite="lax")
        return found

    async def page(_: Request) -> Response:
        return HTMLResponse(page_html(None, live=True))

    async def changes(request: Request) -> Response:
        known, now = _versions(request), asyncio.get_running_loop().time
        end = now() + WAIT_S
        while desk.versions == known and now() < end and not ending() and not await request.is_disconnected():
            await asyncio.sleep(ASK_EVERY_S)
        return _told(asdict(desk.versions))

    async def readings(request: Request) -> Response:
        text = await _body(request)
        if text is None:
            return PlainTextResponse("longer than a text of readings can be", status_code=413)
        try:
            taken = await run_in_threadpool(read_handed, text)
        except (CannotAnswer, CannotCompute, NotWritten) as error:
            return _told({"taken": False, "why": str(error)})
        return _told({"taken": True, "case": case_id(taken.case), **as_data(taken)})

    async def nothing(_: Request) -> Response:
        return PlainTextResponse("there is nothing here", status_code=404)

    async def no_such_method(request: Request, _: Exception) -> Response:
        return await behind_the_door(nothing)(request)

    def content(of: Callable[[], dict[str, Any]]) -> Serve:
        async def served(_: Request) -> Response:
            return _told(of())

        return served

    served: dict[str, Serve] = {
        "/": page, "/changes": changes, "/list": content(lambda: desk.listed), "/page": content(lambda: desk.page), "/case": content(lambda: desk.case),
    }  # fmt: skip
    return Starlette(
        routes=[
            Route("/key/{key:str}", behind_the_door(enter, with_key=False)),
            *(Route(path, behind_the_door(serve)) for path, serve in served.items()),
            Route("/readings", behind_the_door(readings), methods=["POST"]),
            Route("/{rest:path}", behind_the_door(nothing), methods=["GET", "POST", "PUT", "DELETE", "PATCH"]),
        ],
        exception_handlers={405: no_such_method},
    )


_HEADERS = {
    "Content-Security-Policy": policy(live=True) + "; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def _same(sent: str, kept: str) -> bool:
    """Whether a key is the one that is kept, in a time that tells nothing of it."""
    return compare_digest(sent.encode("utf-8", errors="replace"), kept.encode("ascii"))


def _refused(request: Request, doors: Doors, *, with_key: bool) -> str:
    """Why a request is not served; empty where it is."""
    host = request.headers.get("host", "")
    if host not in doors.hosts:
        return "this desk is not reached by that name"
    if doors.key and with_key and not _same(request.cookies.get(COOKIE, ""), doors.key):
        return "the key is missing: open the address that the desk shows in its terminal"
    own = request.headers.get("origin", "") in ("", f"http://{host}") and request.headers.get(OWN_HEADER) == "page"
    return "" if own or request.method == "GET" else "readings are taken from the page of this desk only"


def _told(content: dict[str, Any]) -> Response:
    from starlette.responses import Response as Answer

    return Answer(json.dumps(content, ensure_ascii=False, separators=(",", ":")), media_type="application/json")


def _versions(request: Request) -> Versions:
    """What a page knows already; what is no number is nothing."""
    asked = request.query_params
    known = {name: asked.get(name, "")[:12] for name in ("list", "page", "case")}
    return Versions(**{name: int(text) if text.isascii() and text.isdigit() else -1 for name, text in known.items()})


async def _body(request: Request) -> str | None:
    """What was sent, as text; None where it is too long, without reading it to its end."""
    pieces, size = [], 0
    async for piece in request.stream():
        size += len(piece)
        if size > MOST_CHARACTERS:
            return None
        pieces.append(piece)
    return b"".join(pieces).decode("utf-8", errors="replace")


__all__ = ["Doors", "application"]
