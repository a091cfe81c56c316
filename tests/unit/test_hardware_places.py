"""Where the meter's tips go: every place that first power names can be found on breadboard and board."""

from __future__ import annotations

import re

import pytest
from hardware import first_power, places
from hardware.breadboard.plan import (
    Hole,
    hole,
    links,
    net_at,
    net_by_hole,
    on_link,
    on_perfboard,
    strip,
    used,
    wrong,
)
from hardware.breadboard.plan import places as holes_of


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
    assert dict(places.rows("full"))["signal lead"] == "contact 3, contact 4, contact 2"
    assert dict(places.rows("full"))["contact 6"] == "contact 6"


def test_bare_wires_of_the_perforated_board_reach_the_meter() -> None:
    """Each hole that first power names lies on a bare wire, and only on one of its own net."""
    for name, where in places.rows("plain"):
        for at in map(hole, where.split(", ")):
            nets = {
                net_by_hole()[link.a]
                for link in links(places.measured())
                if on_link(link, at) and link.a in used()
            }
            nets |= {net_at(link.b) for link in links(places.measured()) if on_link(link, at)}
            assert nets == {net_at(at)}, (name, str(at), nets)
    assert wrong(on_perfboard(places.measured())) == []


def test_the_meter_s_holes_are_under_no_part() -> None:
    """A resistor or capacitor that lies over a hole keeps the wire out of it."""
    for at in places.measured():
        for ref, pins in holes_of().items():
            ends = sorted(pins.values(), key=lambda h: h.xy)
            assert len(ends) != 2 or not _between(ends[0], ends[1], at), (str(at), ref)


def _between(a: Hole, b: Hole, at: Hole) -> bool:
    (x0, y0), (x1, y1), (x, y) = a.xy, b.xy, at.xy
    one_line = (x0 == x1 == x) or (y0 == y1 == y)
    return one_line and x0 <= x <= x1 and min(y0, y1) <= y <= max(y0, y1)


def test_contacts_that_lines_name_have_a_place() -> None:
    shown = dict(places.rows("full"))
    assert shown["ground sense"] == "contact 8"
    assert shown["battery sense"] == "contact 9"
    assert "ground sense" not in dict(places.rows("plain"))


def test_each_state_leaves_nothing_of_the_state_before() -> None:
    """Played in order, as the page has them: burden and supply are off while the bias is read."""
    level, seen = {}, {}
    released = first_power.release_command("full")
    for state, command in [
        ("", released),
        ("", first_power.switch_command(on=True)),
        *first_power.state_commands(),
    ]:
        for gpio, rest in re.findall(r"Pin\((\d+), Pin\.(IN|OUT, value=\d)", command):
            level[int(gpio)] = None if rest == "IN" else int(rest[-1])
        seen[state] = tuple(level.get(g) for g in (2, 6, 8, 9))
    assert seen[first_power.BURDEN] == (0, 1, 0, 1)
    assert seen[first_power.BIAS_UP] == (0, 0, 1, 1)
    assert seen[first_power.BIAS_DOWN] == (0, 0, 0, 0)
    assert seen[first_power.AGAIN] == (None, 0, 0, 1)
