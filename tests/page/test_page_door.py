"""Who is let in: hosts, keys, rates. The clock is the test's."""

from __future__ import annotations

import pytest
from world import Clock

from sweeprig.page.door import ASKED_BURST, WRONG_MOST, WRONG_S, Door, origin_is_ours

HERE = ("127.0.0.1", 8000)
SHOP = ("192.168.7.20", 8000)


@pytest.mark.parametrize(
    ("host", "server", "ours"),
    [
        ("127.0.0.1:8000", HERE, True),
        ("localhost:8000", HERE, True),
        ("192.168.7.20:8000", SHOP, True),
        ("localhost:8000", SHOP, False),
        ("127.0.0.1:8000", SHOP, False),
        ("127.0.0.1", HERE, False),
        ("127.0.0.1:8001", HERE, False),
        ("rebound.example:8000", HERE, False),
        ("rebound.example:8000", SHOP, False),
        ("127.0.0.1.example:8000", HERE, False),
        ("", HERE, False),
        ("[::1]:8000", HERE, False),
    ],
)
def test_only_an_address_of_this_machine_is_a_host(host: str, server: tuple[str, int], ours: bool) -> None:
    assert Door().host_is_ours(host, server) is ours


def test_a_name_without_a_port_is_one_of_port_80() -> None:
    assert Door().host_is_ours("192.168.7.20", ("192.168.7.20", 80))


@pytest.mark.parametrize(
    "origin", [None, "null", "https://127.0.0.1:8000", "http://127.0.0.1:8001", "http://a.example"]
)
def test_another_origin_is_not_ours(origin: str | None) -> None:
    assert not origin_is_ours(origin, "127.0.0.1:8000")


def test_each_run_has_another_key() -> None:
    assert len({Door().key for _ in range(50)}) == 50
    assert len(Door().key) >= 22  # 128 bits and more, six a character


def test_wrong_keys_stop_the_right_one_until_time_passes() -> None:
    clock = Clock()
    door = Door(key="right", clock=clock)
    assert [door.fits("wrong", "a") for _ in range(WRONG_MOST)] == [False] * WRONG_MOST
    assert door.fits("wrong", "a") is None
    assert door.fits("right", "a") is None
    assert door.fits("right", "b") is True
    clock.now += WRONG_S / WRONG_MOST
    assert door.fits("right", "a") is True


def test_the_right_key_uses_up_nothing() -> None:
    door = Door(key="right", clock=Clock())
    assert all(door.fits("right", "a") for _ in range(5 * WRONG_MOST))


def test_a_key_of_any_characters_is_only_wrong() -> None:
    assert Door(key="right", clock=Clock()).fits("ключ\ud800\x00", "a") is False


def test_a_flood_is_refused_and_others_are_not() -> None:
    clock = Clock()
    door = Door(clock=clock)
    assert not any(door.too_many("a") for _ in range(round(ASKED_BURST)))
    assert door.too_many("a")
    assert not door.too_many("b")
    clock.now += 1.0
    assert not door.too_many("a")


def test_many_addresses_do_not_fill_the_memory() -> None:
    door = Door(clock=Clock())
    for k in range(5000):
        door.too_many(f"10.0.{k // 256}.{k % 256}")
    assert len(door._asked._left) <= 512
