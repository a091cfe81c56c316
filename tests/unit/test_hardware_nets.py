"""The table of nets: electrical rules, and the same joints as in the netlists that ngspice and the twin use."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator

import pytest
from hardware import erc, erc_pins, netlist, netlist_supply
from hardware.board import copper, kept
from hardware.board.pieces import placed
from hardware.compare_battery import circuit
from hardware.compare_ramp import _filter
from hardware.tables_md import HERE

from sweeprig.frontend import nets as nets_table
from sweeprig.frontend import tables
from sweeprig.frontend.nets import UNUSED, nets, pieces
from sweeprig.frontend.tables import BUILDS, parts

# Element of the netlist -> (piece of the table, its pins in the order of the element's nodes).
SUPPLY = {
    "Rlimit": ("R30", "12"), "Q1": ("Q1", "CBE"), "Q2": ("Q2", "CBE"), "Q3": ("Q3", "CBE"), "Rflagbase": ("R31", "12"),
    "Rflagtop": ("R32", "12"), "Rflagbottom": ("R33", "12"), "Rhold": ("R35", "12"), "B4": ("Q4", "DS"),
    "Rgate": ("R36", "12"), "D5": ("D5", "AK"), "Cout": ("C3", "12"),
}  # fmt: skip
PLAIN_SUPPLY = SUPPLY | {"Rfuse": ("F1", "12"), "Rbase": ("R34", "12")}
FULL_SUPPLY = SUPPLY | {
    "Rbase": ("R34", "12"), "Q6": ("Q6", "CBE"), "Rref": ("R66", "12"), "Bref": ("U7", "KA"), "Cref": ("C65", "12"),
    "Rfbtop": ("R63", "12"), "Rfbbottom": ("R64", "12"), "Rfbhold": ("R67", "12"), "Dfeedback": ("D7", "AK"),
    "Rfbin": ("R65", "12"), "Rcomp": ("R68", "12"), "Ccomp": ("C64", "12"),
}  # fmt: skip
STEP_UP = {
    "Rfuse": ("F1", "12"), "Cin": ("C60", "12"), "Rpeak": ("R60", "12"), "Dboost": ("D6", "AK"), "Rtop": ("R61", "12"),
    "Rbottom": ("R62", "12"),
}  # fmt: skip
BATTERY = {"Rguard": ("R13", "12"), "Rbottom": ("R11", "12")}
RAMP = {
    "R1": ("R501", "12"),
    "C1": ("C501", "12"),
    "R2": ("R502", "12"),
    "C2": ("C502", "12"),
    "Rguard": ("R3A1", "12"),
}


def channel_plain(c: str) -> dict[str, tuple[str, str]]:
    return {
        "Rtop0": (f"R1{c}1", "12"), "Rbottom": (f"R2{c}1", "12"), "Cnode": (f"C1{c}1", "12"), "Rpin": (f"R3{c}1", "12"),
        "Dclhigh": (f"D1{c}1", "AK"), "Dcllow": (f"D1{c}2", "AK"),
    }  # fmt: skip


def channel_full(c: str) -> dict[str, tuple[str, str]]:
    found = {
        "Rtop0": (f"R1{c}1", "12"), "Rtop1": (f"R1{c}2", "12"), "Cnode": (f"C1{c}1", "12"),
        "Dclhigh": (f"D1{c}1", "32"), "Dcllow": (f"D1{c}1", "13"), "Rout": (f"R4{c}1", "12"),
        "Cpin": (f"C2{c}1", "12"), "Rguard": (f"R3{c}1", "12"),
    }  # fmt: skip
    if c in "AB":
        found |= {"Rburden": (f"R5{c}1", "12"), "Dup": (f"D3{c}1", "13"), "Ddown": (f"D3{c}2", "13")}
        found |= {"Rup": (f"R7{c}1", "12"), "Rdown": (f"R7{c}2", "12")}
    return found


def elements(text: str) -> dict[str, list[str]]:
    """Element name to its words; the last definition of a name counts."""
    return {line.split()[0]: line.split()[1:] for line in text.splitlines() if line and line[0] not in ".*"}


def pairs(text: str, build: str, mapping: dict[str, tuple[str, str]]) -> Iterator[tuple[str, str, str]]:
    """Yield (element, node of the netlist, net of the table) for every pin of every mapped element."""
    found, by_ref = elements(text), {p.ref: p.pins for p in pieces(build)}
    for name, (ref, pins) in mapping.items():
        for node, pin in zip(found[name], pins, strict=False):
            yield name, node, by_ref[ref][pin]


def disagreements(
    text: str, build: str, mapping: dict[str, tuple[str, str]], joined: dict[str, str]
) -> list[str]:
    """A node must always be the same net and a net the same node; `joined` gives nets that the netlist lumps."""
    as_net, as_node, out = {"0": "GND"}, {"GND": "0"}, []
    for name, node, raw in pairs(text, build, mapping):
        net = joined.get(raw, raw)
        if as_net.setdefault(node, net) != net or as_node.setdefault(net, node) != node:
            out.append(f"{name}: node {node} is {as_net[node]}, the table says {net}")
    return out


CASES = [
    ("plain", netlist_supply.supply("plain", lead=""), PLAIN_SUPPLY, {}),
    ("full", netlist_supply.supply("full", lead=""), FULL_SUPPLY, {"LINK": "GND", "SUPPLY_ON": "SUPPLY_ON"}),
    ("full", netlist_supply.step_up(usb_v=5.0, load=""), STEP_UP, {}),
    ("full", circuit("full", "", source_ohm=1.0), BATTERY, {}),
    ("full", _filter("full", ""), RAMP, {"JUMPED_A": "RAMP_OUT"}),
    *(("plain", netlist.channel("plain"), channel_plain(c), {}) for c in "ABS"),
    *(("full", netlist.channel("full"), channel_full(c), {"JUMPED_A": "NODE_A"}) for c in "ABS"),
]


@pytest.mark.parametrize(("build", "text", "mapping", "joined"), CASES, ids=range(len(CASES)))
def test_netlists_join_what_the_table_joins(
    build: str, text: str, mapping: dict[str, tuple[str, str]], joined: dict[str, str]
) -> None:
    if build == "full" and "Rfbtop" in mapping:
        text = text.replace("Voffset refin plus", "Voffset refin refin2")
    assert disagreements(text, build, mapping, joined) == []


def test_values_of_the_netlists_are_those_of_the_pieces() -> None:
    """Each mapped resistor and capacitor has its table's value behind its nodes."""
    n = 0
    for build, text, mapping, _ in CASES:
        by_key = {p.ref: p.key for p in pieces(build)}
        for name, (ref, _) in mapping.items():
            part, words = parts(build)[by_key[ref]], elements(text)[name]
            if name[0] in "RC" and part.unit in ("ohm", "F") and name not in ("Cnode", "Cpin"):
                assert float(words[2]) == pytest.approx(part.each, rel=1e-6), name
                n += 1
    assert n > 60


def test_a_swapped_joint_is_seen() -> None:
    build, text, mapping, joined = CASES[0]
    wrong = text.replace("Rhold base emitter", "Rhold base top")
    assert disagreements(wrong, build, mapping, joined)


@pytest.mark.parametrize("build", BUILDS)
def test_electrical_rules_find_nothing(build: str) -> None:
    assert erc.faults(build) == []


@pytest.mark.parametrize("build", BUILDS)
def test_every_pin_is_used_or_marked_unused(build: str) -> None:
    for piece in erc.whole(build):
        assert all(piece.pins.values()), piece.ref
        assert set(erc_pins.kinds(piece, build) or {}) == set(piece.pins), piece.ref
    joined = sum(len(ends) for ends in nets_table.joined(erc.whole(build)).values())
    assert joined + len(erc.unused(build)) == sum(len(p.pins) for p in erc.whole(build))


@pytest.mark.parametrize("build", BUILDS)
def test_the_kind_of_every_pin_of_every_part_is_known(build: str) -> None:
    for piece in erc.whole(build):
        assert set((erc_pins.kinds(piece, build) or {"": "?"}).values()) <= set(erc_pins.KINDS), piece.ref


def test_the_motor_s_joints_are_in_the_table() -> None:
    """Supply, fuse, stop, capacitor, both coils: every joint of build.md's table of the drive, and on its page."""
    found = {net: set(ends) for net, ends in nets_table.joined(erc.whole("driven")).items()}
    assert found["MOTOR_PLUS"] == {("PS1", "+"), ("F3", "1")}
    assert found["MOTOR_FUSED"] == {("F3", "2"), ("S3", "1")}
    assert found["VMOT"] == {("S3", "2"), ("C70", "+"), ("A1", "VMOT")}
    assert found["MOTOR_MINUS"] == {("PS1", "-"), ("C70", "-"), ("A1", "MGND")}
    for end in ("1A", "1B", "2A", "2B"):
        assert found[f"COIL_{end}"] == {("M1", end), ("A1", f"OUT{end}")}
    page = (HERE / "nets.md").read_text("utf-8").split("## Driven build")[1]
    for net in ("MOTOR_PLUS", "MOTOR_FUSED", "VMOT", "MOTOR_MINUS", "COIL_1A"):
        assert f"| {net} |" in page


def test_the_motor_s_ground_is_not_the_rig_s() -> None:
    assert not {ref for ref, _ in nets("driven")["GND"]} & {"PS1", "M1", "C70"}
    assert "MOTOR_MINUS" not in nets("driven")


@pytest.mark.parametrize(
    ("key", "old", "new", "said"),
    [
        ("buffer", "14:TIED_U2", "14:AMP_A", "AMP_A is driven by"),
        ("buffer", "4:+3V3", "4:+6V5", "U2 pin 4 is on +6V5"),
        ("buffer", " 14:TIED_U2", "", "U2 has 14 pins, 13 are named"),
        ("r_link", "R37 LINK LINK_PIN", "R37 LINK NOWHERE", "NOWHERE is only at R37"),
        ("c_bypass", "C103 +6V5 GND", "C103 +3V3 GND", "1 ICs on +6V5, 0 capacitors"),
        ("r_ground_lift", "R9 ", "R8 ", "R8 stands 2 times"),
        ("q_burden", "G:BURDEN_ON", "G:-", "Q5A1 pin G (in) is marked unused"),
        ("q_burden", " S:BURDEN_RETURN_B", "", "Q5B1 has 3 pins, 2 are named"),
        ("monitor", "ADDR:GND", "ADDR:-", "U3 pin ADDR (in) is marked unused"),
        ("reference", "NC:-", "NC:GND", "U7 pin NC is joined to nothing inside"),
        ("r_guard", "R3B1 NODE_B IN_B", "R3B1 NODE_B NODE_B", "IN_B is only at U2"),
        ("r_guard", "R3S1 NODE_S IN_S", "R3S1 NODE_S IN_S MORE", "R3S1 has no pin 3"),
        ("l_filter", "L2 BOOST +6V5", "L2 BOOST BOOST", "+6V5 feeds U6, and no source reaches it"),
        ("fuse_usb", "F1 VBUS +5V", "F1 RUN +5V", "+5V feeds U5, and no source reaches it"),
        ("boost", "2:GND", "2:TIMING", "TIMING feeds U5, and no source reaches it"),
        ("monitor", "ADDR:GND", "ADDR:ALONE", "ALONE is only at U3 pin ADDR"),
    ],
)
def test_a_wrong_table_is_seen(
    key: str, old: str, new: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    changed = copy.deepcopy(dict(tables.table()))
    row = next(r for r in changed["part"] if r["key"] == key and "full" in r["builds"])
    row["nets"] = [line.replace(old, new) for line in row["nets"]]
    if said == "AMP_A is driven by":  # U6 too, so that two parts fight
        amp = next(r for r in changed["part"] if r["key"] == "error_amp")
        amp["nets"] = [line.replace("1:DRIVE", "1:AMP_A") for line in amp["nets"]]
    monkeypatch.setattr(tables, "table", lambda: changed)
    assert any(said in line for line in erc.faults("full")), erc.faults("full")


def test_decoupling_stands_at_every_supply_pin() -> None:
    for build, n in (("plain", 2), ("full", 3), ("driven", 4)):
        caps = [p for p in pieces(build) if p.key == "c_bypass"]
        assert len(caps) == n
        assert all(p.pins["2"] == "GND" and re.match(r"\+3V3|\+6V5", p.pins["1"]) for p in caps)


def test_unused_pins_are_few_and_known() -> None:
    assert {u for u in erc.unused("full") if not u.startswith(("BOARD", "X1"))} == {
        "D3A1.2", "D3A2.2", "D3B1.2", "D3B2.2", "U3.ALRT", "U7.NC",
    }  # fmt: skip
    assert UNUSED == "-"


def test_a_rail_that_a_pin_drives_and_an_input_alone_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    changed = copy.deepcopy(dict(tables.table()))
    buffer = next(r for r in changed["part"] if r["key"] == "buffer")
    buffer["nets"] = [
        buffer["nets"][0].replace("1:AMP_A", "1:+3V3").replace("13:TIED_U2 14:TIED_U2", "13:ALONE 14:+5V")
    ]
    driver = next(r for r in changed["part"] if r["key"] == "driver")
    driver["off_board"] = [driver["off_board"][0].replace("MS1:+3V3 MS2:+3V3", "MS1:ALONE MS2:ALONE")]
    monkeypatch.setattr(tables, "table", lambda: changed)
    found = erc.faults("driven")
    assert "+3V3 is driven by BOARD and U2" in found
    assert "ALONE is driven by nobody: A1 and U2 only listen" in found


def test_open_pads_of_the_board_are_the_pins_marked_unused() -> None:
    """Pads without copper to go to, read from the kept board; the socket's shell is one more."""
    named = {(p.ref, pad): pin for p in placed() for pad, pin in p.names.items()}
    strips = {"BOARDL": lambda pad: f"BOARD.{pad}", "BOARDR": lambda pad: f"BOARD.{41 - int(pad)}"}
    found = set()
    for ref, pad in (c.pin for c in copper.copper(kept.BOARD) if c.pin and not c.net):
        found.add(strips[ref](pad) if ref in strips else f"{ref}.{named.get((ref, pad), pad)}")
    assert found - {"X1.0"} == set(erc.unused("driven"))
