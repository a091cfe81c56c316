"""What the rig's thread leaves and fetches, and who leads."""

from __future__ import annotations

import json

from world import Clock, live_scene, show

from sweeprig.page.hub import FRAME_S, MOST_KEYS, Hub
from sweeprig.page.phones import MOST, Phones


def _said(hub: Hub) -> str:
    return str(json.loads(hub.newest[1])["say"])


def test_only_the_newest_scene_is_kept() -> None:
    hub = Hub(clock=Clock())
    for k in range(100):
        show(hub, live_scene(f"STEP {k}"))
    assert hub.newest[0] == 100
    assert _said(hub) == "STEP 99"


def test_frames_that_come_too_fast_are_not_even_made() -> None:
    clock = Clock()
    hub = Hub(clock=clock)
    made: list[int] = []
    for k in range(10):
        hub.show(lambda k=k: made.append(k) or live_scene(str(k)), now=False)  # type: ignore[misc]
        clock.now += 0.3 * FRAME_S
    assert made == [0, 4, 8]


def test_each_new_scene_rings() -> None:
    hub = Hub(clock=Clock())
    rung: list[int] = []
    hub.changed = lambda: rung.append(1)
    show(hub, live_scene())
    assert rung == [1]


def test_a_live_scene_grows_old_and_a_pause_does_not() -> None:
    clock = Clock()
    hub = Hub(clock=clock)
    clock.now += 60
    assert hub.quiet_s == 0
    show(hub, live_scene())
    clock.now += 2.5
    assert hub.quiet_s == 2.5


def test_keys_are_fetched_once() -> None:
    hub, cookie = _led()
    show(hub, live_scene("", "1", "2"))
    assert hub.press(cookie, "1") == ""
    assert hub.press(cookie, "2") == ""
    assert (hub.keys(), hub.keys()) == ("12", "")


def test_a_stuck_phone_does_not_fill_the_memory() -> None:
    hub, cookie = _led()
    show(hub, live_scene("", "1"))
    for _ in range(1000):
        hub.press(cookie, "1")
    assert len(hub.keys()) == MOST_KEYS


def test_what_was_pressed_before_a_run_is_forgotten() -> None:
    hub, cookie = _led()
    show(hub, live_scene("", "1"))
    hub.press(cookie, "1")
    hub.press_off()
    hub.begin()
    assert (hub.keys(), hub.off()) == ("", False)


def _led() -> tuple[Hub, str]:
    hub = Hub(clock=Clock())
    cookie = hub.phones.let_in()
    hub.phones.opened(cookie)
    return hub, cookie


def test_the_first_page_leads_and_the_others_see_who() -> None:
    phones = Phones()
    a, b = phones.let_in(), phones.let_in()
    phones.opened(a)
    phones.opened(b)
    assert phones.lead_of(a).leads
    lead = phones.lead_of(b)
    assert (lead.leads, lead.leader, lead.you, lead.free) == (False, "phone 1", "phone 2", False)


def test_the_lead_is_not_taken_from_a_phone_that_is_there() -> None:
    phones = Phones()
    a, b = phones.let_in(), phones.let_in()
    phones.opened(a)
    assert "phone 1 leads" in phones.take(b)
    assert phones.give(a) == ""
    assert phones.take(b) == ""
    assert phones.leads(b)


def test_the_lead_of_a_phone_that_is_gone_can_be_taken() -> None:
    phones = Phones()
    a, b = phones.let_in(), phones.let_in()
    phones.opened(a)
    phones.closed(a)
    assert phones.lead_of(b).free
    assert phones.take(b) == ""


def test_a_leader_whose_link_broke_leads_on_when_it_is_back() -> None:
    phones = Phones()
    a = phones.let_in()
    phones.opened(a)
    phones.closed(a)
    phones.opened(a)
    assert phones.leads(a)


def test_a_crowd_pushes_out_those_that_are_not_there() -> None:
    phones = Phones()
    here = phones.let_in()
    phones.opened(here)
    for _ in range(3 * MOST):
        phones.let_in()
    assert phones.knows(here)
    assert len(phones._known) <= MOST


def test_a_stranger_neither_leads_nor_takes_nor_gives() -> None:
    phones = Phones()
    assert not phones.leads("")
    assert phones.take("unknown")
    assert phones.give("unknown")
