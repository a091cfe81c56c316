"""The routes of the page: entry with the code, the live page, its stream, and the actions that a phone may take."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import msgspec
from starlette.applications import Starlette
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from sweeprig.page.door import Door
from sweeprig.page.guard import Guard, address_of, cookie_name
from sweeprig.page.hub import Hub
from sweeprig.page.plain import Refusal, html, plain_page
from sweeprig.page.sheet import sheet_of, sheet_page
from sweeprig.page.stream import Bell, Stream

if TYPE_CHECKING:
    from collections.abc import Sequence

    from starlette.requests import Request
    from starlette.types import ASGIApp

MOST_BODY = 1024  # bytes of what a phone sends
MOST_STREAMS = 32  # live pages at a time
FILES = {"/page.css": "text/css", "/live.js": "text/javascript", "/two.js": "text/javascript"}


@dataclass(frozen=True)
class Order:
    """An action that a phone asks for."""

    do: str  # key | off | take | give
    key: str = ""


@dataclass
class Live:
    """Objects that the live routes share."""

    hub: Hub
    door: Door
    closing: asyncio.Event = field(default_factory=asyncio.Event)
    streams: int = 0
    bell: Bell | None = None

    async def way_in(self, request: Request) -> Response:
        """Take the key of the address; give a cookie for it, and leave the address behind."""
        fits = self.door.fits(request.path_params["key"], address_of(request.scope))
        if not fits:
            return plain_page(Refusal.WAIT if fits is None else Refusal.WRONG_KEY)
        answer = html("in.html")
        answer.set_cookie(
            cookie_name(int(request.scope["server"][1])),
            self.hub.phones.let_in(),
            path="/",
            httponly=True,
            samesite="strict",
        )
        return answer

    async def page(self, request: Request) -> Response:
        """Return the live page."""
        del request
        return html("live.html")

    async def events(self, request: Request) -> ASGIApp | Response:
        """Return the stream of a live page."""
        if self.streams >= MOST_STREAMS:
            return plain_page(Refusal.TOO_MANY)
        self.bell = self.bell or Bell(self.hub)
        return _Counted(self, Stream(self.hub, self.bell, request.state.cookie, self.closing))

    async def do(self, request: Request) -> Response:
        """Do what a phone asks for, where it may."""
        order = await _order(request)
        if order is None:
            return JSONResponse({"refused": "The request is not valid."}, 400)
        refused = self._done(request.state.cookie, order)
        return JSONResponse({"refused": refused}, 409 if refused else 200)

    async def sheet(self, request: Request) -> Response:
        """Return the sheet of the last sweep."""
        del request
        outcome = self.hub.last
        if outcome is None:
            return plain_page(Refusal.NOTHING)
        return sheet_page(await asyncio.to_thread(sheet_of, outcome))

    def _done(self, cookie: str, order: Order) -> str:
        if order.do == "off":
            return self.hub.press_off()
        if order.do == "key":
            return self.hub.press(cookie, order.key)
        phones = self.hub.phones
        refused = {"take": phones.take, "give": phones.give}[order.do](cookie)
        if self.bell:
            self.bell.ring()
        return refused


class _Counted:
    """A stream that is counted as open while it runs."""

    def __init__(self, live: Live, stream: Stream) -> None:
        self._live, self._stream = live, stream

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self._live.streams += 1
        try:
            await self._stream(scope, receive, send)
        finally:
            self._live.streams -= 1


async def _order(request: Request) -> Order | None:
    """Return what was sent; None where it is none of ours."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > MOST_BODY:
            return None
    if request.headers.get("content-type") != "application/json":
        return None
    try:
        order = msgspec.json.decode(body, type=Order)
    except (msgspec.DecodeError, ValueError):
        return None
    return order if order.do in ("key", "off", "take", "give") and len(order.key) <= 1 else None


@cache
def _file(name: str) -> bytes:
    return resources.files("sweeprig.page").joinpath("static", name).read_bytes()


async def _asset(request: Request) -> Response:
    path = request.url.path
    return Response(_file(path.removeprefix("/")), media_type=FILES[path])


async def _nothing(request: Request, _error: Exception) -> Response:
    del request
    return plain_page(Refusal.NOTHING)


def make_app(live: Live, more: Sequence[Route] = ()) -> ASGIApp:
    """Return the whole page behind its guard; `more` are the routes of the records."""
    routes = [
        Route("/key/{key}", live.way_in, methods=["GET"]),
        Route("/", live.page, methods=["GET"]),
        Route("/events", live.events, methods=["GET"]),
        Route("/sheet", live.sheet, methods=["GET"]),
        Route("/do", live.do, methods=["POST"]),
        *(Route(path, _asset, methods=["GET"]) for path in FILES),
        *more,
    ]
    app = Starlette(routes=routes, exception_handlers={404: _nothing, 405: _nothing})
    return Guard(app, door=live.door, phones=live.hub.phones)
