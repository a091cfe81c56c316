"""The server in a thread of its own, on a socket that is bound before anything is printed."""

from __future__ import annotations

import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sweeprig.errors import InputError, PageError
from sweeprig.page.door import Door
from sweeprig.page.hub import Hub

if TYPE_CHECKING:
    import asyncio

    import uvicorn

    from sweeprig.page.app import Live
    from sweeprig.page.records.shelf import Shelf

CONNECTIONS = 96  # at a time; more are told to come again
UNREAD_BYTES = 32768  # that the system keeps for a page that is slow: the less, the newer is what it sees
UNREAD_MS = 20_000  # [ms] after which the system gives up a connection that takes nothing


def need_library() -> None:
    """Raise PageError with the command that installs the missing library."""
    from importlib.util import find_spec

    missing = [name for name in ("starlette", "uvicorn", "segno") if find_spec(name) is None]
    if missing:
        raise PageError(
            "The page libraries are not installed.",
            seen=f"no {', '.join(missing)}",
            next_step="pip install 'sweeprig[page]'",
        )


def bound_socket(*, lan: bool, port: int) -> socket.socket:
    """Return a socket that listens: on this machine only, or with `lan` on all its networks. Raises InputError."""
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform != "win32":  # there it would let two programs have one port
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        made.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, UNREAD_MS)
    made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, UNREAD_BYTES)
    try:
        made.bind(("0.0.0.0" if lan else "127.0.0.1", port))
        made.listen(64)
    except OSError as exc:
        made.close()
        raise InputError(
            f"The page cannot be served on port {port}.",
            seen=str(exc),
            limit="a free port",
            next_step="name another one with --page-port, or leave it out",
        ) from exc
    return made


def address_for(*, lan: bool, port: int, key: str) -> str:
    """Return the page's address, with the key that lets a browser in."""
    host = lan_address() if lan else "127.0.0.1"
    return f"http://{host}:{port}/key/{key}"


def lan_address() -> str:
    """Return this machine's address in its network; nothing is sent. Raises PageError where there is no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        try:
            s.connect(
                ("192.0.2.1", 9)
            )  # an address for documents (RFC 5737): it only asks which way out there is
            return str(s.getsockname()[0])
        except OSError:
            pass
    try:
        found = socket.gethostbyname(socket.gethostname())
    except OSError:
        found = "127.0.0.1"
    if found.startswith("127."):
        raise PageError(
            "This computer has no network that a phone can reach.",
            seen="no address but its own",
            next_step="join the shop's network first, or leave out --lan",
        )
    return found


@contextmanager
def serving(hub: Hub, door: Door, sock: socket.socket, shelf: Shelf | None = None) -> Iterator[None]:
    """Serve while the block runs, with the records of a shelf; the last scene reaches every page that reads."""
    import asyncio
    import logging

    import uvicorn

    from sweeprig.page.app import Live, make_app
    from sweeprig.page.records.routes import Pages

    logging.getLogger("uvicorn").addHandler(logging.NullHandler())  # nothing of a request goes anywhere
    loop = asyncio.new_event_loop()
    live = Live(hub, door)
    config = uvicorn.Config(
        make_app(live, Pages(shelf).routes() if shelf else ()),
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        limit_concurrency=CONNECTIONS,
        timeout_keep_alive=10,
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=_serve, args=(loop, server, sock), name="page", daemon=True)
    thread.start()
    try:
        yield
    finally:
        loop.call_soon_threadsafe(_close, live, hub, server)
        thread.join(5.0)
        if shelf:
            shelf.close()


def _serve(loop: asyncio.AbstractEventLoop, server: uvicorn.Server, sock: socket.socket) -> None:
    import asyncio

    asyncio.set_event_loop(loop)
    try:
        loop.run_until_complete(server.serve(sockets=[sock]))
    finally:
        loop.close()
        sock.close()


def _close(live: Live, hub: Hub, server: uvicorn.Server) -> None:
    live.closing.set()
    if live.bell:
        live.bell.ring()
    server.should_exit = True
    hub.changed = lambda: None
