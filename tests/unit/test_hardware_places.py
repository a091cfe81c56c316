"""Where the meter's tips go: every place that first power names can be found on breadboard and board."""

from __future__ import annotations

import pytest
from hardware import first_power, places
from hardware.breadboard.plan import hole, net_by_hole, strip, used


@pytest.mark.parametrize("build", ["plain", "full"])
def test_every_place_of_first_power_is_found(build: str) -> None:
    shown = {name for name, _ in places.rows(build)}
    for check in first_power.checks(build):
        assert set(places.named(check.where)) & shown, check.where
        assert set(places.named(check.where)) <= shown, check.where


def test_holes_are_free_and_on_their_net() -> None:
    strips = {strip(at): net for at, net in net_by_hole().items()}
    for name, nets in places.PLACES:
        for net in nets:
            found = places.free_hole(net)
            if not found:
                continue
            at = hole(found.removeprefix("leg at "))
            assert strips[strip(at)] == net, (name, net, found)
            assert found.startswith("leg at ") or at not in set(used())


def test_points_are_printed_on_the_board() -> None:
    assert dict(places.rows("full"))["cathode of U7"] == "test point REFERENCE"
    assert dict(places.rows("full"))["signal lead"] == "contact 3, contact 4"
    assert dict(places.rows("full"))["contact 6"] == "contact 6"
