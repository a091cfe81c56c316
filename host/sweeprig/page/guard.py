"""Middleware before every route: checks address, origin and cookie of a request, and adds headers to each answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser

from sweeprig.page.door import Door, origin_is_ours
from sweeprig.page.phones import Phones
from sweeprig.page.plain import Refusal, plain_page

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self';"
    " manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
ALWAYS = {
    "content-security-policy": POLICY,
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
OPEN = ("/page.css", "/favicon.ico")  # hold nothing that is anybody's
ORDER = "/do"
KEY = "/key/"  # the address that lets a phone in


class Guard:
    """Refuses foreign requests; adds the headers that every answer has."""

    def __init__(self, app: ASGIApp, *, door: Door, phones: Phones) -> None:
        self._app = app
        self._door, self._phones = door, phones

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        refusal = self._refusal(scope)
        app = self._app if refusal is None else plain_page(refusal)
        await app(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> Refusal | None:
        headers = Headers(scope=scope)
        host, origin, path = headers.get("host", ""), headers.get("origin"), scope["path"]
        cookie = cookie_of(scope)
        known = self._phones.knows(cookie)
        if self._door.too_many(address_of(scope)) and not (known and path == ORDER):
            return Refusal.TOO_MANY  # OFF is heard whatever else comes from that address
        if not self._door.host_is_ours(host, tuple(scope["server"])):
            return Refusal.HOST
        foreign = origin is not None and not origin_is_ours(origin, host)
        if foreign or (scope["method"] == "POST" and origin is None) or _embedded(headers):
            return Refusal.ORIGIN
        scope["state"] = {"cookie": cookie}
        if path in OPEN or path.startswith(KEY) or known:
            return None
        return Refusal.NO_KEY


def _embedded(headers: Headers) -> bool:
    """Return whether the page of another site requests a part of ours."""
    return headers.get("sec-fetch-site") == "cross-site" and headers.get("sec-fetch-mode") != "navigate"


def address_of(scope: Scope) -> str:
    """Return the address of the client."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def cookie_name(port: int) -> str:
    """Return the cookie's name; cookies know no ports, so that two rigs on one machine need two names."""
    return f"sweeprig-{port}"


def cookie_of(scope: Scope) -> str:
    """Return the cookie of ours in a request; "" where there is none."""
    sent = Headers(scope=scope).get("cookie", "")
    return cookie_parser(sent).get(cookie_name(int(scope["server"][1])), "")


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=message.setdefault("headers", []))
            for name, value in ALWAYS.items():
                if name not in headers:
                    headers[name] = value
        await send(message)

    return sending
