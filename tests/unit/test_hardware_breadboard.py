"""The plain build hole by hole: its breadboard and its perforated board join what the table of nets joins."""

from __future__ import annotations

import copy
import math
import re
from collections import Counter

import pytest
from hardware import first_power
from hardware.breadboard import plan
from hardware.breadboard.pages import FILES, HERE
from hardware.breadboard.plan import hole, on_breadboard, on_perfboard, places, used, wires, wrong
from hardware.places import measured

from sweeprig.frontend.nets import pieces
from sweeprig.frontend.tables import parts


@pytest.fixture
def changed(monkeypatch: pytest.MonkeyPatch):
    """Return a plan that may be changed; what was read before is forgotten, before and after."""
    table = copy.deepcopy(dict(plan.table()))
    monkeypatch.setattr(plan, "table", lambda: table)
    plan.forget()
    yield table
    monkeypatch.undo()
    plan.forget()


def test_the_breadboard_joins_what_the_table_joins() -> None:
    assert wrong(on_breadboard()) == []


def test_the_perforated_board_joins_what_the_table_joins() -> None:
    assert wrong(on_perfboard()) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("R2A1 b27 U-27", "R2A1 b27 U+27", "+3V3 and GND are joined"),
        ("R1A1 c32 c28", "R1A1 c32 c29", "NODE_A is in 2 parts"),
        ("Q4 g24 g25 g26", "Q4 g26 g25 g24", "DRAIN and GND are joined"),
        ("D5 f49 f45", "D5 f45 f49", "COLLECTOR and SUPPLY_OUT are joined"),
        ("C3 i49 i51", "", "C3 pin 1 has no hole"),
    ],
)
def test_a_pin_in_a_wrong_hole_is_seen(old: str, new: str, said: str, changed: dict) -> None:
    for step in changed["step"]:
        step["pieces"] = [line for p in step["pieces"] if (line := p.replace(old, new))]
    assert any(line.startswith(said) for line in wrong(on_breadboard()))
    assert any(line.startswith(said) for line in wrong(on_perfboard()))


@pytest.mark.parametrize(
    ("bridge", "net"), [("d27 d28", "NODE_A"), ("L+30 L+34", "+5V"), ("g30 g36", "BASE")]
)
def test_a_bridge_left_out_is_seen(bridge: str, net: str, changed: dict) -> None:
    for step in changed["step"]:
        step["wires"] = [w for w in step["wires"] if w != bridge]
    assert any(line.startswith(f"{net} is in 2 parts") for line in wrong(on_breadboard()))


def test_each_hole_holds_one_leg() -> None:
    assert [str(h) for h, n in Counter(used()).items() if n > 1] == []


def test_every_piece_of_the_table_has_its_holes() -> None:
    assert set(places()) == {p.ref for p in pieces("plain")}


def test_legs_reach_their_holes() -> None:
    """In steps of 2.54 mm: bodies of 6.3 mm (0.25 W), 5.2 mm (DO-41), 4 mm (DO-35), discs of 5 mm, three in a row."""
    spans = {"ohm": (3, 8), "F": (2, 3), "A": (2, 3), "V": (3, 5)}
    listed = parts("plain")
    for p in pieces("plain"):
        at = [h.xy for h in places()[p.ref].values()]
        if p.key in listed and len(at) == 2:
            low, high = spans[listed[p.key].unit.split()[0]]
            assert low <= math.dist(*at) <= high, p.ref
        elif len(at) == 3:
            columns = [x for x, _ in at]
            assert abs(columns[2] - columns[0]) == 2, p.ref
            assert columns[1] == (columns[0] + columns[2]) / 2, p.ref
            assert len({y for _, y in at}) == 1, p.ref


def test_parts_with_two_legs_do_not_lie_on_one_another() -> None:
    """Bodies in one row or column share no step; neighbours one step aside touch at most (2.5 mm thick)."""
    lines = [
        tuple(h.xy for h in places()[p.ref].values()) for p in pieces("plain") if len(places()[p.ref]) == 2
    ]
    for i, (a, b) in enumerate(lines):
        for c, d in lines[i + 1 :]:
            same_row = a[1] == b[1] == c[1] == d[1]
            same_column = a[0] == b[0] == c[0] == d[0]
            axis = 0 if same_row else 1
            if same_row or same_column:
                first, second = sorted((a[axis], b[axis])), sorted((c[axis], d[axis]))
                assert first[1] < second[0] or second[1] < first[0], (a, b, c, d)


@pytest.mark.parametrize("name", ["k3", "a0", "a64", "U+2", "U-8", "L+62", "3a"])
def test_a_hole_that_no_breadboard_has_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="is no hole"):
        hole(name)


def test_wires_on_the_perforated_board_are_straight_and_apart() -> None:
    """No two bare wires share a hole, and none passes a pin of another net."""
    links = plan.links(measured())
    assert all(w.a.row == w.b.row or w.a.column == w.b.column for w in links)
    for at in set(used()):
        assert sum(plan.on_link(link, at) for link in links) <= 1, at


def test_the_node_of_each_channel_is_short() -> None:
    """Under 2 cm in all, as build.md asks: bridges and strips that carry it."""
    for c in "ABS":
        ends = [
            at.xy
            for ref, pins in places().items()
            for pin, at in pins.items()
            if _net(ref, pin) == f"NODE_{c}"
        ]
        x, y = zip(*ends, strict=True)
        assert 2.54 * (max(x) - min(x) + max(y) - min(y)) < 20


def _net(ref: str, pin: str) -> str:
    return plan.piece(ref).pins[pin]


@pytest.mark.parametrize("name", FILES)
def test_kept_drawings_and_page_are_today_s(name: str) -> None:
    assert (HERE / name).read_text("utf-8") == FILES[name](), "run python -m hardware.breadboard"


def test_the_steps_name_every_line_of_first_power_but_usb() -> None:
    """Line 8 is the port's own voltage; every other one stands behind the step that it looks at."""
    named: set[int] = set()
    for step in plan.steps():
        for a, b in re.findall(r"(\d+)(?: to (\d+))?", step.check):
            named |= set(range(int(a), int(b or a) + 1))
    assert named | {8} == set(range(1, len(first_power.checks("plain")) + 1))


def test_drawings_show_every_piece_and_bridge() -> None:
    svg = (HERE / "breadboard.svg").read_text("utf-8")
    for p in pieces("plain"):
        if p.key in parts("plain"):
            assert f">{p.ref}" in svg, p.ref
    assert svg.count("<path d=") == len(wires()) + 4  # and four bodies of TO-92


def test_the_page_says_which_holes_a_rail_strip_has() -> None:
    """Fifty in ten groups of five, and every rail hole that the plan uses is one of them."""
    page = (HERE / "README.md").read_text("utf-8")
    assert "50 holes in 10 groups of five: columns 3 to 7, 9 to 13 and so on, up to 57 to 61" in page.replace(
        "\n", " "
    )
    have = {c for first in range(3, 62, 6) for c in range(first, first + 5)}
    assert {h.column for h in used() if len(h.row) == 2} <= have
    assert all(plan.is_hole(plan.Hole("L-", c)) == (c in have) for c in range(1, 64))
