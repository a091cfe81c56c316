"""The printed board: its copper joins what the table of nets joins, KiCad found no error, and it is today's."""

from __future__ import annotations

import csv
import math
import re
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hardware.board import copper, kept, picture, rules, strays
from hardware.board.pieces import pad_nets, placed
from hardware.values import value_str

from sweeprig.frontend import nets as nets_table
from sweeprig.frontend.tables import parts, table


@pytest.fixture(scope="module")
def found() -> list[copper.Copper]:
    return copper.copper(kept.BOARD)


def _groups(found: list[copper.Copper]) -> list[set[tuple[str, str]]]:
    return [{p for i in group if (p := found[i].pin)} for group in copper.joined(found)]


def test_the_board_is_made_from_what_stands_here() -> None:
    assert kept.stale() == [], "run make board"


def test_a_changed_net_asks_for_a_new_board(monkeypatch: pytest.MonkeyPatch) -> None:
    changed = [p for p in placed() if p.ref != "R40"]
    monkeypatch.setattr(kept, "placed", lambda: changed)
    assert kept.stale() == ["the board's sources have changed since it was made"]


def test_kicad_s_check_found_no_error() -> None:
    report = kept.REPORT.read_text("utf-8")
    assert kept.checked(report) == []
    assert "** Found 0 unconnected pads **" in report


def test_kicad_s_check_found_no_warning_either() -> None:
    """The page says no violation: print over print is one too."""
    report = kept.REPORT.read_text("utf-8")
    assert "** Found 0 DRC violations **" in report
    assert kept.warnings(report) == {}
    over = "[silk_overlap]: Silkscreen overlap\n    Rule: board setup constraints silk; Severity: warning\n"
    assert kept.warnings(report.replace("** Found 0 unconnected", over + "** Found 0 unconnected", 1)) == {
        "silk_overlap": 1
    }


def test_an_error_in_the_report_is_seen() -> None:
    report = kept.REPORT.read_text("utf-8")
    error = "[clearance]: too near\n    rule; Severity: error\n** Found 0 unconnected"
    bad = report.replace("** Found 0 unconnected", error, 1)
    assert len(kept.checked(bad)) == 1
    assert kept.checked(report.replace("** End of Report **", "")) == ["the report does not come to its end"]


def test_copper_joins_what_the_table_joins(found: list[copper.Copper]) -> None:
    """Read from pads, tracks, vias and planes themselves, without the nets that the file names."""
    assert kept.differences(_groups(found)) == []


def test_a_missing_track_a_short_and_a_cut_plane_are_seen(found: list[copper.Copper]) -> None:
    comp = [c for c in found if c.net == "COMP"]
    assert not any(line.startswith("COMP ") for line in kept.differences(_groups(comp)))
    without = [c for c in comp if c.pin]
    assert any(line.startswith("COMP is not one piece") for line in kept.differences(_groups(without)))
    a, b = (next(c for c in found if c.pin == pin) for pin in (("Q1", "1"), ("Q1", "2")))
    between = [(a.points[0][0] + 0.1 * k, a.points[0][1]) for k in range(26)]
    bridge = copper.Copper(("F.Cu",), between, (0.15, 0.15), "")
    assert any("is joined to" in line for line in kept.differences(_groups([a, b, bridge])))
    bare = [c for c in found if c.net == "GND" and not c.area]
    assert any(line.startswith("GND is not one piece") for line in kept.differences(_groups(bare)))


def test_the_pads_of_the_board_are_those_of_the_table(found: list[copper.Copper]) -> None:
    """Every pad by piece and number has the table's net; the table's own nets are compared with ngspice's elsewhere."""
    on_board: dict[str, set[tuple[str, str]]] = {}
    for c in found:
        if c.pin and c.net:
            on_board.setdefault(c.net, set()).add(c.pin)
    assert on_board == pad_nets()


def test_every_net_of_the_table_is_on_the_board() -> None:
    """By the table's own references: strips of the Pico class board by contact, named pins by pad."""
    assert set(pad_nets()) == set(nets_table.nets("driven"))
    for net, ends in nets_table.nets("driven").items():
        refs = {ref for ref, _ in ends if ref != "BOARD"}
        pads = {ref for ref, _ in pad_nets()[net] if not ref.startswith(("TP", "BOARD"))}
        assert refs == pads, net


def test_first_power_has_a_test_point_for_every_place() -> None:
    """Nets that first-power.md looks at on the full build; sockets and legs serve for the rest."""
    have = {p.value for p in placed() if p.ref.startswith("TP")}
    assert have == set(nets_table.test_points())
    looked_at = "VBUS +3V3 +6V5 RUN U1_REF REFERENCE SUPPLY_OUT SUPPLY_ON SUPPLY_FAULT DRAIN COLLECTOR"
    looked_at += " NODE_A NODE_B NODE_S AMP_A AMP_B AMP_S AIN2 AIN3 GND"
    assert set(looked_at.split()) <= have


def test_drills_and_vias_are_what_a_common_service_makes() -> None:
    drill = _gerber("rig.drl")
    sizes = [float(m) for m in re.findall(r"^T\d+C([\d.]+)", drill, re.M)]
    assert len(sizes) > 5
    assert min(sizes) >= rules.LEAST_DRILL
    assert max(sizes) <= 3.3
    holes = len(re.findall(r"^X[-\d.]+Y[-\d.]+", drill, re.M))
    assert holes > 400


def test_gerber_has_every_layer() -> None:
    for layer in ("F_Cu", "B_Cu", "F_Silk", "F_Mask", "B_Mask", "Edge_Cuts"):
        text = _gerber(f"rig-{layer}.gbr")
        assert text.rstrip().endswith("M02*"), layer
        assert "%MOMM*%" in text


def _gerber(name: str) -> str:
    with zipfile.ZipFile(kept.MADE / "rig-gerber.zip") as packed:
        return packed.read(name).decode("utf-8")


def test_tracks_keep_the_outline_and_the_mounting_holes_free(found: list[copper.Copper]) -> None:
    for c in found:
        for x, y in c.points:
            if c.pin is None or not c.pin[0].startswith("X1"):
                assert x - c.half[0] + 0.01 >= rules.LEAST_EDGE, (c.net, x, y)
                assert x + c.half[0] <= 160.0 - rules.LEAST_EDGE + 0.01, (c.net, x, y)
                assert y - c.half[1] + 0.01 >= rules.LEAST_EDGE, (c.net, x, y)
                assert y + c.half[1] <= 100.0 - rules.LEAST_EDGE + 0.01, (c.net, x, y)


def test_nets_of_high_resistance_keep_their_distance(found: list[copper.Copper]) -> None:
    """Own measure, beside KiCad's: from every point of such a track to every point of others on its layer."""
    tracks = [c for c in found if not c.pin and not c.area]
    for layer in copper.COPPER:
        spots = [(c.net, c.half[0], p) for c in tracks if layer in c.layers for p in c.points]
        net, half = np.array([s[0] for s in spots]), np.array([s[1] for s in spots])
        at = np.array([s[2] for s in spots])
        for name in sorted(set(net)):
            away = rules.clearance_mm(name)
            if away > rules.CLEARANCE:
                own, other = net == name, net != name
                gap = np.linalg.norm(at[own][:, None] - at[other][None], axis=2)
                gap -= half[own][:, None] + half[other][None]
                assert gap.min() >= away - 0.02, (layer, name, net[other][gap.min(axis=0).argmin()])


def test_the_kept_list_of_pieces_is_today_s() -> None:
    assert (kept.MADE / "bom.csv").read_text("utf-8") == kept.bom(), "run python -m hardware.board.kept"


def test_a_stale_board_is_not_signed_anew(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = kept.LIST.read_text("utf-8")
    changed = [p for p in placed() if p.ref != "R40"]
    monkeypatch.setattr(kept, "placed", lambda: changed)
    assert kept.main() == 1
    assert "Run make board" in capsys.readouterr().out
    assert kept.LIST.read_text("utf-8") == before


def test_what_to_order_is_what_is_placed() -> None:
    rows = list(csv.DictReader((kept.MADE / "bom.csv").read_text("utf-8").splitlines()))
    refs = [ref for row in rows for ref in row["references"].split()]
    assert sorted(refs) == sorted(p.ref for p in placed() if not p.ref.startswith("TP"))
    assert sum(int(row["quantity"]) for row in rows) == len(refs)
    beside = {p.key for p in nets_table.off_board("driven")} - {"driver"}  # its header is on the board
    assert beside == {"motor", "stop_switch", "motor_supply", "fuse_motor", "c_motor"}
    bought = sum(p.count for k, p in parts("driven").items() if k not in beside)
    assert len(refs) == bought + 3  # and the socket, and two strips for the Pico class board


def test_the_list_of_pieces_says_what_each_must_bear() -> None:
    """Value with tolerance, rating, package and price of every piece, as in the one table."""
    rows = list(csv.DictReader((kept.MADE / "bom.csv").read_text("utf-8").splitlines()))
    listed = {p.ref: parts("driven").get(p.key) for p in nets_table.pieces("driven")}
    for row in rows:
        for ref in row["references"].split():
            part = listed.get(ref)
            if part is None:
                assert ref in kept.CONNECTORS
                assert row["part"] == kept.CONNECTORS[ref][0]
                continue
            assert (row["rating"], row["part"]) == (part.rating, part.what), ref
            assert row["price"], ref
            assert row["package"], ref
            assert row["value"] or row["example"] not in ("", "-"), ref
            if part.unit in ("ohm", "F", "H"):
                assert row["value"] == value_str(part.each, part.unit), ref
                assert row["tolerance"] == f"{100 * part.tol:g} %", ref


def test_each_chip_has_its_capacitor_beside_it(found: list[copper.Copper]) -> None:
    """C10 is asked to be 5 mm at most from the supply pin that it serves."""
    at = {c.pin: c.points[0] for c in found if c.pin}
    for cap, chip in (
        ("C101", ("U2", "4")),
        ("C102", ("U3", "1")),
        ("C103", ("U6", "8")),
        ("C104", ("U4", "1")),
    ):
        assert math.dist(at[cap, "1"], at[chip]) <= 5.0, cap
    assert math.dist(at["C12", "1"], at["BOARDR", "6"]) <= 10.0  # contact 35


@pytest.mark.parametrize("side", picture.SIDES)
def test_kept_pictures_show_the_kept_board(side: str) -> None:
    kept_svg = (kept.MADE / f"{side}.svg").read_text("utf-8")
    assert kept_svg == picture.picture(kept.BOARD, side)


def test_the_print_names_every_piece() -> None:
    words = (kept.MADE / "top.svg").read_text("utf-8")
    for p in placed():
        shown = p.value if p.ref.startswith("TP") else p.ref
        assert re.search(rf">{re.escape(shown)}( |<)", words), p.ref


def test_an_s_expression_is_read() -> None:
    assert copper.parse('(a (b "c d" 1.5) e)') == ["a", ["b", "c d", "1.5"], "e"]
    assert Path(kept.BOARD).suffix == ".kicad_pcb"


def test_strays_of_the_nodes_are_those_of_the_table() -> None:
    """The table has 20 pF: 6 of the op-amp's input, 6 of diodes, and what the board's copper adds."""
    stray = strays.strays_f()
    assert all(4e-12 < f < 9e-12 for f in stray.values()), stray
    assert max(stray.values()) + 12e-12 == pytest.approx(table()["stray"]["node_f"], rel=0.1)
