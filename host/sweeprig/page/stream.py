"""The live stream of one page: server-sent events with the newest scene; a page that does not read is disconnected."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import suppress
from typing import TYPE_CHECKING

import msgspec

from sweeprig.page.hub import Hub

if TYPE_CHECKING:
    from starlette.types import Receive, Scope, Send

BEAT_S = 1.0  # [s] a page hears something at least so often
STALLED_S = 5.0  # [s] for which one message may wait to be sent
HEAD = [(b"content-type", b"text/event-stream; charset=utf-8"), (b"x-accel-buffering", b"no")]


class Bell:
    """Wakes every stream of one event loop; may be rung from any thread."""

    def __init__(self, hub: Hub) -> None:
        self._loop = asyncio.get_running_loop()
        self._waiting: set[asyncio.Event] = set()
        hub.changed = self.ring

    def ring(self) -> None:
        """Wake all streams."""
        with suppress(RuntimeError):  # the loop has closed: there is nobody left to wake
            self._loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        for event in self._waiting:
            event.set()

    def hang(self, event: asyncio.Event) -> None:
        """Add a stream to those that are woken."""
        self._waiting.add(event)

    def unhang(self, event: asyncio.Event) -> None:
        """Remove a stream."""
        self._waiting.discard(event)


class Stream:
    """The answer to one page that follows the run."""

    def __init__(self, hub: Hub, bell: Bell, cookie: str, closing: asyncio.Event) -> None:
        self._hub, self._bell, self._cookie, self._closing = hub, bell, cookie, closing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send until the page goes, does not read, or the program ends."""
        del scope
        self._hub.phones.opened(self._cookie)
        self._bell.ring()
        gone = asyncio.ensure_future(_until_gone(receive))
        try:
            await send({"type": "http.response.start", "status": 200, "headers": HEAD})
            async for body in self._messages(gone):
                part = {"type": "http.response.body", "body": body, "more_body": True}
                await asyncio.wait_for(send(part), STALLED_S)
            await send({"type": "http.response.body", "body": b"", "more_body": False})
        except (TimeoutError, OSError):
            pass  # it does not read: the server closes the connection when this returns
        finally:
            gone.cancel()
            self._hub.phones.closed(self._cookie)
            self._bell.ring()

    async def _messages(self, gone: asyncio.Future[None]) -> AsyncIterator[bytes]:
        wake = asyncio.Event()
        self._bell.hang(wake)
        seen, sent = -1, -1
        try:
            while not gone.done():
                wake.clear()
                parts = []
                number, scene = self._hub.newest
                version = self._hub.phones.version
                if version != sent:
                    parts.append(_event("lead", msgspec.json.encode(self._hub.phones.lead_of(self._cookie))))
                if number != seen:
                    parts.append(_event("scene", scene))
                seen, sent = number, version
                if self._closing.is_set():
                    yield b"".join([*parts, _event("bye", b"{}")])
                    return
                yield b"".join(parts) or _event("beat", f'{{"quiet_s":{self._hub.quiet_s:.1f}}}'.encode())
                await _first_of(wake, self._closing, timeout_s=BEAT_S)
        finally:
            self._bell.unhang(wake)


def _event(name: str, data: bytes) -> bytes:
    return b"event: " + name.encode() + b"\ndata: " + data + b"\n\n"


async def _first_of(wake: asyncio.Event, closing: asyncio.Event, *, timeout_s: float) -> None:
    if closing.is_set():
        return
    with suppress(TimeoutError):
        await asyncio.wait_for(wake.wait(), timeout_s)


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
