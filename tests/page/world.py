"""A page without a rig: its app behind Starlette's client, or on a socket of this machine."""

from __future__ import annotations

import http.client
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from starlette.testclient import TestClient

from sweeprig.page.app import Live, make_app
from sweeprig.page.door import Door
from sweeprig.page.hub import Hub
from sweeprig.page.model import Action, Scene
from sweeprig.page.records.routes import Pages
from sweeprig.page.records.shelf import Shelf
from sweeprig.page.server import bound_socket, serving

KEY = "the-key-of-this-run"
HOST = "127.0.0.1:8000"
ORIGIN = {"origin": f"http://{HOST}"}
GIVE_UP_S = 300.0  # for a server that hangs; a good one never comes near it


class Clock:
    """Time that stands until it is moved."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


@dataclass
class World:
    """A hub, its door and a client that keeps cookies."""

    clock: Clock = field(default_factory=Clock)
    records: str = ""  # their place; "" none

    def __post_init__(self) -> None:
        self.hub = Hub(clock=self.clock)
        self.door = Door(key=KEY, clock=self.clock)
        self.live = Live(self.hub, self.door)

    def client(self, *, let_in: bool = True) -> TestClient:
        more = Pages(Shelf(self.records)).routes() if self.records else ()
        made = TestClient(make_app(self.live, more), base_url=f"http://{HOST}", follow_redirects=False)
        made._transport.app = _as_bound(made._transport.app)  # type: ignore[attr-defined]
        if let_in:
            assert made.get(f"/key/{KEY}").status_code == 200
        return made


def _as_bound(app: Any) -> Any:
    """Starlette's client names the Host as the server: a real server names the address that it is bound to."""

    async def bound(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            scope = {**scope, "server": ("127.0.0.1", 8000), "client": ("127.0.0.1", 50000)}
        await app(scope, receive, send)

    return bound


@dataclass
class Served:
    """A page on a socket."""

    hub: Hub
    port: int
    key: str = KEY

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.port}"

    def connect(self) -> http.client.HTTPConnection:
        return http.client.HTTPConnection("127.0.0.1", self.port, timeout=GIVE_UP_S)

    def get(self, path: str, cookie: str = "") -> tuple[int, dict[str, str], str]:
        """Return status, headers and text of a page."""
        connection = self.connect()
        connection.request("GET", path, headers={"cookie": cookie} if cookie else {})
        answer = connection.getresponse()
        text = answer.read().decode()
        head = {name.lower(): value for name, value in answer.getheaders()}
        connection.close()
        return answer.status, head, text

    def cookie(self) -> str:
        """Let a new phone in; return its cookie."""
        return self.get(f"/key/{self.key}")[1]["set-cookie"].split(";")[0]

    def follow(self, cookie: str) -> Follower:
        return Follower(self.connect(), cookie)

    def order(self, cookie: str, **order: str) -> str:
        """Send what a phone asks for; return why it is refused, or ""."""
        connection = self.connect()
        head = {"cookie": cookie, "origin": f"http://{self.host}", "content-type": "application/json"}
        connection.request("POST", "/do", json.dumps(order), head)
        told = json.loads(connection.getresponse().read())
        connection.close()
        return str(told["refused"])


class Follower:
    """A page that reads its stream."""

    def __init__(self, connection: http.client.HTTPConnection, cookie: str) -> None:
        self._connection = connection
        connection.request("GET", "/events", headers={"cookie": cookie})
        self.answer = connection.getresponse()
        assert self.answer.status == 200

    def next(self, *names: str) -> tuple[str, dict[str, Any]]:
        """Return the next event of these names, waiting for it."""
        name = ""
        while True:
            line = self.answer.readline().decode()
            assert line, "the stream has ended"
            if line.startswith("event: "):
                name = line[7:].strip()
            elif line.startswith("data: ") and name in names:
                return name, json.loads(line[6:])

    def until(self, fits: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """Return the next scene that fits, waiting for it."""
        while True:
            found = self.next("scene")[1]
            if fits(found):
                return found

    def scene(self, say: str) -> dict[str, Any]:
        """Return the scene that says this, waiting for it."""
        return self.until(lambda found: found["say"] == say)

    def verdict(self) -> dict[str, Any]:
        """Return the card, waiting for it."""
        return self.until(lambda found: found["kind"] == "verdict")

    def close(self) -> None:
        self.answer.close()
        self._connection.close()


@contextmanager
def served(
    hub: Hub | None = None, *, door: Door | None = None, port: int = 0, records: str = "", lan: bool = False
) -> Iterator[Served]:
    """Serve a page on this machine while the block runs."""
    hub = hub or Hub()
    sock = bound_socket(lan=lan, port=port)
    port = int(sock.getsockname()[1])
    with serving(hub, door or Door(key=KEY), sock, Shelf(records) if records else None):
        yield Served(hub, port)


def live_scene(say: str = "HOLD CLOSED", *keys: str, title: str = "shelf 3") -> Scene:
    return Scene(
        kind="live", title=title, say=say, actions=tuple(Action(k, f"do {k}") for k in keys), off=True
    )


def show(hub: Hub, scene: Scene) -> None:
    hub.show(lambda: scene)
