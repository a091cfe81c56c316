"""The drawn schematics join what the table joins; a line, a dot, a name or a part too few is seen."""

from __future__ import annotations

import copy
import dataclasses
from functools import cache

import pytest
from hardware import schematic_nets
from hardware.schematic_sheet import Block, Drawn

from sweeprig.frontend import tables
from sweeprig.frontend.tables import BUILDS


@pytest.mark.parametrize("build", BUILDS)
def test_the_drawing_joins_what_the_table_joins(build: str) -> None:
    assert schematic_nets.faults(build) == []


def _swap(row: dict[str, list[str]], old: str, new: str) -> None:
    row["nets"] = [line.replace(old, new) for line in row["nets"]]


@pytest.mark.parametrize(
    ("build", "key", "change", "said"),
    [
        ("plain", "q_on", ("D:DRAIN", "D:BASE"), "drawn as one"),
        ("plain", "d_block", ("K:SUPPLY_OUT A:COLLECTOR", "A:SUPPLY_OUT K:COLLECTOR"), "drawn as one"),
        ("plain", "clamp", ("D1S1 K:+3V3 A:NODE_S", "D1S1 K:NODE_S A:+3V3"), "D1S1.K on NODE_S is not drawn"),
        ("full", "buffer", ("5:IN_B 6:AMP_B", "5:AMP_B 6:IN_B"), "drawn as one"),
        (
            "full",
            "d_bias",
            ("D3B2 1:DOWN_B 2:- 3:BIAS_DOWN", "D3B2 3:DOWN_B 2:- 1:BIAS_DOWN"),
            "drawn as one",
        ),
        ("full", "r_link", ("R37 LINK LINK_PIN", "R37 LINK RUN"), "RUN"),
        ("driven", "c_bypass", ("C104 +3V3 GND", "C104 +3V3 GND\nC105 +3V3 GND"), "C105"),
    ],
)
def test_a_table_that_is_not_the_drawing_s_is_seen(
    build: str, key: str, change: tuple[str, str], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    changed = copy.deepcopy(dict(tables.table()))
    for row in changed["part"]:
        if row["key"] == key and build in row["builds"]:
            _swap(row, *change)
            row["nets"] = [line for each in row["nets"] for line in each.split("\n")]
    monkeypatch.setattr(tables, "table", lambda: changed)
    found = schematic_nets.faults(build)
    assert any(said in line for line in found), found


FREE = (
    "U4 VDD",
    "3.3 V",
    "U4 GND",
    "ground",
    "U3.ALRT",
)  # two names of one net at U4's capacitor; a pin marked unused


@cache
def _blocks(build: str) -> tuple[Block, ...]:
    return tuple(schematic_nets.blocks(build))


def _unseen(build: str, at: int, kind: str, rest: list[schematic_nets.Group]) -> list[tuple[object, object]]:
    """Return what of one kind could be left out of a block without a fault; the middle of D1 stands at both diodes."""
    block, table = _blocks(build)[at], schematic_nets.table_of(build)
    things, out = getattr(block.drawn, kind), []
    for i, thing in enumerate(things):
        if things.count(thing) > 1:
            continue
        less = dataclasses.replace(block.drawn, **{kind: things[:i] + things[i + 1 :]})
        changed = dataclasses.replace(block, drawn=less)
        dots = list(schematic_nets.without_dot(changed))
        if not dots and not schematic_nets.differences(
            [*rest, *schematic_nets.groups(changed, table)], table
        ):
            out.append(thing)
    return out


@pytest.mark.parametrize("kind", [f.name for f in dataclasses.fields(Drawn)])
@pytest.mark.parametrize("build", ["plain", "driven"])
def test_nothing_can_be_left_out_of_a_drawing_unseen(build: str, kind: str) -> None:
    table = schematic_nets.table_of(build)
    every = [schematic_nets.groups(block, table) for block in _blocks(build)]
    for i, block in enumerate(_blocks(build)):
        rest = [group for k, groups in enumerate(every) if k != i for group in groups]
        unseen = [thing for thing in _unseen(build, i, kind, rest) if thing[0] not in FREE]
        assert unseen == [], block.heading
