"""What the page answers, by Starlette's client: who gets in, what is refused, what every answer carries."""

from __future__ import annotations

import json
from typing import Any

import pytest
from world import HOST, KEY, ORIGIN, World, live_scene, show

from sweeprig.page.door import ASKED_BURST, WRONG_MOST

JSON = {**ORIGIN, "content-type": "application/json"}


def test_the_key_becomes_a_cookie_that_scripts_cannot_read() -> None:
    answer = World().client(let_in=False).get(f"/key/{KEY}")
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert KEY not in cookie
    assert KEY not in answer.text


def test_the_live_page_needs_the_cookie() -> None:
    world = World()
    refused = world.client(let_in=False).get("/")
    assert refused.status_code == 403
    assert "Scan the code at the terminal" in refused.text
    assert world.client().get("/").status_code == 200


@pytest.mark.parametrize("path", ["/", "/events", "/sheet", "/live.js", "/records", "/nothing"])
def test_nothing_is_given_without_the_cookie(path: str) -> None:
    assert World().client(let_in=False).get(path).status_code == 403


def test_a_wrong_key_says_what_to_do() -> None:
    answer = World().client(let_in=False).get("/key/guessed")
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers
    assert "made anew at every start" in answer.text
    assert "guessed" not in answer.text


def test_too_many_wrong_keys_wait_a_minute() -> None:
    client = World().client(let_in=False)
    for _ in range(WRONG_MOST):
        client.get("/key/guessed")
    answer = client.get(f"/key/{KEY}")
    assert answer.status_code == 429
    assert "Wait a minute" in answer.text


def test_a_made_up_cookie_opens_nothing() -> None:
    client = World().client(let_in=False)
    assert client.get("/", headers={"cookie": "sweeprig-8000=made-up"}).status_code == 403


@pytest.mark.parametrize("host", ["rebound.example:8000", "127.0.0.1:9", "localhost.example:8000"])
def test_a_forged_host_is_refused_with_the_cookie_too(host: str) -> None:
    answer = World().client().get("/", headers={"host": host})
    assert answer.status_code == 421
    assert host not in answer.text


@pytest.mark.parametrize("origin", ["http://other.example", "null", "https://127.0.0.1:8000"])
def test_a_foreign_origin_does_nothing(origin: str) -> None:
    world = World()
    client = world.client()
    answer = client.post("/do", content=b'{"do":"off"}', headers={**JSON, "origin": origin})
    assert answer.status_code == 403
    assert not world.hub.off()
    assert client.get("/events", headers={"origin": origin}).status_code == 403


def test_an_order_without_an_origin_does_nothing() -> None:
    world = World()
    answer = world.client().post("/do", content=b'{"do":"off"}', headers={"content-type": "application/json"})
    assert answer.status_code == 403
    assert not world.hub.off()


def test_another_sites_page_cannot_embed_a_part_of_ours() -> None:
    head = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}
    assert World().client().get("/live.js", headers=head).status_code == 403


def test_every_answer_carries_the_strict_policy() -> None:
    client = World().client()
    for path in ("/", "/page.css", "/live.js", "/nothing", "/key/wrong"):
        head = client.get(path).headers
        policy = head["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert head["referrer-policy"] == "no-referrer"
        assert head["x-content-type-options"] == "nosniff"
        assert head["cache-control"] == "no-store"


def test_no_page_holds_a_script_or_a_style_of_its_own() -> None:
    client = World().client()
    for path in ("/", "/nothing", "/key/wrong"):
        text = client.get(path).text.lower()
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick=" not in text
        assert "<script>" not in text
        assert "http://" not in text.replace("http://www.w3.org", "")
        assert "https://" not in text


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b'{"do":"on"}', b'{"do":"key","key":"qq"}', b'{"do":7}', b"\xff", b'{"do":"confirm"}',
     b'{"do":"off","more":' + b"1" * 3000 + b"}"],
)  # fmt: skip
def test_an_order_that_is_none_of_ours_is_refused(body: bytes) -> None:
    world = World()
    answer = world.client().post("/do", content=body, headers=JSON)
    assert answer.status_code == 400
    assert not world.hub.off()


def test_a_form_of_another_kind_is_refused() -> None:
    world = World()
    head = {**ORIGIN, "content-type": "text/plain"}
    assert world.client().post("/do", content=b'{"do":"off"}', headers=head).status_code == 400


def _do(client: Any, **order: str) -> Any:
    return client.post("/do", content=json.dumps(order).encode(), headers=JSON)


def test_any_phone_may_switch_the_supply_off() -> None:
    world = World()
    assert _do(world.client(), do="off").status_code == 200
    assert world.hub.off()


def test_a_phone_that_does_not_lead_presses_nothing() -> None:
    world = World()
    show(world.hub, live_scene("OPEN SLOWLY", "\r"))
    answer = _do(world.client(), do="key", key="\r")
    assert answer.status_code == 409
    assert "leads" in answer.json()["refused"]
    assert world.hub.keys() == ""


def test_a_leader_presses_what_is_offered_and_nothing_else() -> None:
    world = World()
    client = world.client()
    assert _do(client, do="take").status_code == 200
    show(world.hub, live_scene("OPEN SLOWLY", "\r"))
    assert _do(client, do="key", key="q").status_code == 409
    assert _do(client, do="key", key="\r").status_code == 200
    assert world.hub.keys() == "\r"


def test_a_flood_of_requests_is_told_to_wait() -> None:
    client = World().client()
    statuses = [client.get("/page.css").status_code for _ in range(round(ASKED_BURST) + 5)]
    assert statuses[0] == 200
    assert statuses[-1] == 429


def test_a_flood_from_the_same_address_does_not_keep_the_supply_on() -> None:
    world = World()
    client = world.client()
    for _ in range(round(ASKED_BURST) + 5):
        client.get("/page.css")
    assert client.get("/").status_code == 429
    assert _do(client, do="off").status_code == 200
    assert world.hub.off()


def test_no_page_is_served_for_another_method() -> None:
    answer = World().client().request("DELETE", "/", headers=ORIGIN)
    assert answer.status_code == 404


def test_the_host_of_the_tests_is_the_one_that_is_bound() -> None:
    assert HOST.endswith(":8000")
