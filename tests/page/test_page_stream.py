"""The stream on real sockets: newest only, clients that come, go and stall, and the end."""

from __future__ import annotations

import asyncio
import http.client
import socket
import threading

import pytest
from world import KEY, Clock, Served, live_scene, served, show

from sweeprig.errors import InputError
from sweeprig.page.door import ASKED_BURST, Door
from sweeprig.page.hub import Hub
from sweeprig.page.server import bound_socket
from sweeprig.page.stream import Bell


def test_a_page_gets_the_newest_scene_at_once_and_then_each_new_one() -> None:
    with served() as page:
        show(page.hub, live_scene("HOLD CLOSED"))
        phone = page.follow(page.cookie())
        assert phone.scene("HOLD CLOSED")["title"] == "shelf 3"
        show(page.hub, live_scene("OPEN SLOWLY"))
        assert phone.scene("OPEN SLOWLY")["off"] is True
        phone.close()


def test_a_hostile_title_comes_as_data() -> None:
    title = '</script><img src=x onerror=alert(1)>\n\ndata: {"say":"PASS"}\n\n'
    with served() as page:
        show(page.hub, live_scene("HOLD CLOSED", title=title))
        phone = page.follow(page.cookie())
        assert phone.scene("HOLD CLOSED")["title"] == title
        phone.close()


def test_two_phones_are_told_who_leads() -> None:
    with served() as page:
        first, second = page.cookie(), page.cookie()
        a = page.follow(first)
        assert a.next("lead")[1]["leads"] is True
        b = page.follow(second)
        assert b.next("lead")[1] == {"you": "phone 2", "leader": "phone 1", "leads": False, "free": False}
        assert page.order(second, do="take").startswith("phone 1 leads")
        assert page.order(first, do="give") == ""
        assert page.order(second, do="take") == ""
        while not b.next("lead")[1]["leads"]:
            pass
        a.close()
        b.close()


def test_a_phone_that_went_away_frees_the_lead() -> None:
    with served() as page:
        first, second = page.cookie(), page.cookie()
        a = page.follow(first)
        a.next("lead")
        b = page.follow(second)
        assert b.next("lead")[1]["free"] is False
        a.close()
        while not b.next("lead")[1]["free"]:
            pass
        assert page.order(second, do="take") == ""
        b.close()


def test_the_end_is_told_with_the_last_scene() -> None:
    with served() as page:
        phone = page.follow(page.cookie())
        phone.next("scene")
        show(page.hub, live_scene("PASS"))
    assert phone.next("scene")[1]["say"] == "PASS"
    assert phone.next("bye")[1] == {}
    assert phone.answer.readline() in (b"\n", b"")
    phone.close()


def test_clients_that_never_read_hold_nobody_up() -> None:
    """Each show returns at once, and a page that reads gets the last scene, whatever 20 others leave unread."""
    with served() as page:
        cookie = page.cookie()
        stalled = [socket.create_connection(("127.0.0.1", page.port)) for _ in range(20)]
        for s in stalled:
            s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            s.sendall(f"GET /events HTTP/1.1\r\nhost: {page.host}\r\ncookie: {cookie}\r\n\r\n".encode())
        phone = page.follow(page.cookie())
        phone.next("scene")
        long = "x" * 4000
        for k in range(300):
            show(page.hub, live_scene(f"STEP {k}", title=long))
        assert phone.scene("STEP 299")["title"] == long
        for s in stalled:
            s.close()
        phone.close()


def test_requests_that_are_no_http_change_nothing() -> None:
    with served() as page:
        for data in (
            b"\x00\xff" * 100,
            b"GET / HTTP/9.9\r\n\r\n",
            b"GET /" + b"a" * 70000 + b"\r\n\r\n",
            b"\r\n\r\n\r\n",
        ):
            with socket.create_connection(("127.0.0.1", page.port)) as s:
                s.sendall(data)
                s.shutdown(socket.SHUT_WR)
                s.settimeout(20)
                try:
                    while s.recv(4096):
                        pass
                except ConnectionResetError:
                    pass
        phone = page.follow(page.cookie())
        phone.next("scene")
        phone.close()


def test_a_server_leaves_no_thread_and_no_word(capfd: object) -> None:
    with served(Hub()) as page:
        page.cookie()
        page.get(f"/key/{KEY}x")
    assert not [t for t in threading.enumerate() if t.name == "page"]
    out, err = capfd.readouterr()  # type: ignore[attr-defined]
    assert (out, err) == ("", "")


def _status(page: Served, address: str, host: str) -> int:
    connection = http.client.HTTPConnection(address, page.port, timeout=300)
    connection.request("GET", "/page.css", headers={"host": f"{host}:{page.port}"})
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.status


def test_on_a_network_each_address_of_the_machine_is_a_host_of_its_own() -> None:
    with served(lan=True) as page:
        assert _status(page, "127.0.0.2", "127.0.0.2") == 200
        assert _status(page, "127.0.0.2", "127.0.0.1") == 421
        assert _status(page, "127.0.0.2", "rebound.example") == 421


def test_without_a_network_only_this_machine_is_listened_to() -> None:
    with served() as page, pytest.raises(ConnectionRefusedError):
        _status(page, "127.0.0.2", "127.0.0.2")


def test_a_flood_is_told_to_wait_and_a_page_that_follows_goes_on() -> None:
    with served(door=Door(key=KEY, clock=Clock())) as page:
        cookie = page.cookie()
        phone = page.follow(cookie)
        phone.next("scene")
        statuses = [page.get("/", cookie)[0] for _ in range(round(ASKED_BURST) + 50)]
        assert statuses[0] == 200
        assert statuses[-50:] == [429] * 50
        show(page.hub, live_scene("HOLD OPEN"))
        phone.scene("HOLD OPEN")
        assert page.order(cookie, do="off") == ""
        assert page.hub.off()
        phone.close()


def test_a_port_that_is_taken_is_told_with_the_next_step() -> None:
    with served() as page, pytest.raises(InputError) as caught:
        bound_socket(lan=False, port=page.port)
    assert "--page-port" in caught.value.next_step


def test_a_server_that_has_just_gone_ends_no_capture() -> None:
    """The rig's thread may ring in the very moment in which the loop closes."""

    class Closing:
        """A loop that is open when it is asked, and closed when it is used."""

        def is_closed(self) -> bool:
            return False

        def call_soon_threadsafe(self, _wake: object) -> None:
            raise RuntimeError("Event loop is closed")

    async def made() -> Bell:
        return Bell(hub)

    hub = Hub()
    bell = asyncio.run(made())
    bell._loop = Closing()  # type: ignore[assignment]
    show(hub, live_scene("HOLD OPEN"))
    assert hub.newest[0] == 1
