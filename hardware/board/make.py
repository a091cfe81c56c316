"""Makes the printed board with KiCad's Python: `make board` at the top of the tree runs it.

Steps: place (footprints, outline, nets), export for the router, import its tracks, zones, checks, files for the maker.
Runs under the Python that has the module `pcbnew` (Debian: /usr/bin/python3 with KiCad 6).
"""

from __future__ import annotations

import json
import sys
import tempfile
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import Any

import pcbnew

from hardware.board import copper, files, silk
from hardware.board.pieces import Placed, placed
from hardware.board.rules import (
    AWAY,
    DRILL,
    LEAST_CLEARANCE,
    LEAST_DRILL,
    LEAST_EDGE,
    LEAST_TRACK,
    LEAST_VIA,
    PLANE_CLEARANCE,
    PLANE_LEAST,
    SPOKE,
    SPOKE_GAP,
    TRACK,
    VIA,
)  # fmt: skip

HERE = Path(__file__).parent
FOOTPRINTS = Path("/usr/share/kicad/footprints")
TITLE = "sweeprig front end"
EDGE_WIDTH = 0.1
LETTER = 0.75  # mm of print


def mm(value: float) -> int:
    """Return millimetres in KiCad's unit."""
    return int(pcbnew.FromMM(value))


def _point(x: float, y: float) -> Any:
    return pcbnew.wxPoint(mm(x), mm(y))


def load(name: str) -> Any:
    """Return a footprint of KiCad's libraries by "library:name"."""
    library, footprint = name.split(":")
    found = pcbnew.FootprintLoad(str(FOOTPRINTS / f"{library}.pretty"), footprint)
    if found is None:
        raise SystemExit(f"no footprint {name} under {FOOTPRINTS}")
    return found


def layout() -> dict[str, Any]:
    """Return placement.toml."""
    return tomllib.loads((HERE / "placement.toml").read_text("utf-8"))


def build() -> Any:
    """Return the board with every footprint placed and joined to its nets, without tracks."""
    board, plan = pcbnew.BOARD(), layout()
    _rules(board)
    _outline(board, plan["board"])
    nets: dict[str, Any] = {}
    found: dict[str, Any] = {}
    for piece in placed():
        found[piece.ref] = _add(board, piece, nets)
    _place(found, plan)
    _holes(board, plan["board"])
    _print(board, found, plan)
    return board


def _print(board: Any, found: dict[str, Any], plan: dict[str, Any]) -> None:
    for piece in placed():
        silk.print_piece(board, found[piece.ref], piece, _box(found[piece.ref]))
    for row in plan["print"]:
        silk.text(board, row["text"], row["x"], row["y"], turn=row.get("turn", 0))


def _rules(board: Any) -> None:
    """What a common two-layer service makes: 0.2 mm, holes of 0.3 mm; ours are wider."""
    settings = board.GetDesignSettings()
    settings.m_MaxError = mm(0.02)
    settings.m_MinClearance = mm(LEAST_CLEARANCE)
    settings.m_TrackMinWidth = mm(LEAST_TRACK)
    settings.m_ViasMinSize = mm(LEAST_VIA)
    settings.m_MinThroughDrill = mm(LEAST_DRILL)
    settings.m_CopperEdgeClearance = mm(LEAST_EDGE)
    default = settings.GetNetClasses().GetDefault()
    default.SetClearance(mm(LEAST_CLEARANCE))
    default.SetTrackWidth(mm(TRACK))
    default.SetViaDiameter(mm(VIA))
    default.SetViaDrill(mm(DRILL))


def rules() -> str:
    """Return KiCad's rules file: nets of a high resistance and the battery lead keep farther away."""
    lines = ["(version 1)"]
    for wide in sorted(set(AWAY.values())):
        names = sorted(name for name, mm_ in AWAY.items() if mm_ == wide)
        nets = {net for piece in placed() for net in piece.pads.values() if net.partition("_")[0] in names}
        condition = " || ".join(f"A.NetName == '{net}'" for net in sorted(nets))
        lines.append(
            f'(rule "away {wide:g}" (condition "{condition}") (constraint clearance (min {wide:g}mm)))'
        )
    return "\n".join([*lines, ""])


def _outline(board: Any, size: dict[str, float]) -> None:
    w, h = size["width"], size["height"]
    corners = [(0, 0), (w, 0), (w, h), (0, h), (0, 0)]
    for (x0, y0), (x1, y1) in pairwise(corners):
        line = pcbnew.PCB_SHAPE(board)
        line.SetShape(pcbnew.SHAPE_T_SEGMENT)
        line.SetStart(_point(x0, y0))
        line.SetEnd(_point(x1, y1))
        line.SetLayer(pcbnew.Edge_Cuts)
        line.SetWidth(mm(EDGE_WIDTH))
        board.Add(line)


def _add(board: Any, piece: Placed, nets: dict[str, Any]) -> Any:
    footprint = load(piece.footprint)
    footprint.SetReference(piece.ref)
    footprint.SetValue(piece.value)
    board.Add(footprint)
    for pad in footprint.Pads():
        net = piece.pads.get(pad.GetNumber())
        if net is None:
            continue
        if net not in nets:
            nets[net] = pcbnew.NETINFO_ITEM(board, net)
            board.Add(nets[net])
        pad.SetNet(nets[net])
    return footprint


def _box(footprint: Any) -> tuple[float, float, float, float]:
    """Return the courtyard's (left, top, right, bottom) in mm about the footprint's position."""
    box = None
    for item in footprint.GraphicalItems():
        if item.GetLayer() in (pcbnew.F_CrtYd, pcbnew.B_CrtYd):
            part = item.GetBoundingBox()
            box = part if box is None else box
            box.Merge(part)
    box = box or footprint.GetBoundingBox(False, False)
    at = footprint.GetPosition()
    edges = (box.GetLeft() - at.x, box.GetTop() - at.y, box.GetRight() - at.x, box.GetBottom() - at.y)
    left, top, right, bottom = (float(pcbnew.ToMM(e)) for e in edges)
    if footprint.GetReference().startswith("TP"):  # its net's name stands to its right
        right += LETTER * len(footprint.GetValue())
    return left, top, right, bottom


def _place(found: dict[str, Any], plan: dict[str, Any]) -> None:
    left_over = set(found)
    for row in plan["fixed"]:
        footprint = found[row["ref"]]
        footprint.SetOrientationDegrees(row.get("turn", 0))
        footprint.SetPosition(_point(row["x"], row["y"]))
        left_over.discard(row["ref"])
    for region in plan["region"]:
        _fill([found[r] for r in region["refs"]], region, plan["board"])
        left_over -= set(region["refs"])
    if left_over:
        raise SystemExit(f"placement.toml places {', '.join(sorted(left_over))} nowhere")


def _fill(row: list[Any], region: dict[str, Any], gaps: dict[str, Any]) -> None:
    """Put footprints into a region in rows, left to right."""
    x, y, tallest = region["x"], region["y"], 0.0
    for footprint in row:
        footprint.SetOrientationDegrees(region.get("turn", 0))
        left, top, right, bottom = _box(footprint)
        if x + right - left > region["x"] + region["w"] and x > region["x"]:
            x, y, tallest = region["x"], y + tallest + gaps["gap_y"], 0.0
        footprint.SetPosition(_point(x - left, y - top))
        x += right - left + gaps["gap_x"]
        tallest = max(tallest, bottom - top)


def _holes(board: Any, size: dict[str, float]) -> None:
    inset = size["hole_inset"]
    for i, (x, y) in enumerate(
        [(inset, inset), (size["width"] - inset, inset), (inset, size["height"] - inset),
         (size["width"] - inset, size["height"] - inset)], 1,
    ):  # fmt: skip
        hole = load("MountingHole:MountingHole_3.2mm_M3")
        hole.SetReference(f"H{i}")
        hole.SetPosition(_point(x, y))
        board.Add(hole)


def plan_of(board: Any) -> dict[str, Any]:
    """Return what the router must know of a placed board."""
    size = layout()["board"]
    pads = []
    for footprint in board.GetFootprints():
        for pad in footprint.Pads():
            pads.append(_pad(pad))
    return {"width": size["width"], "height": size["height"], "pads": pads}


def _pad(pad: Any) -> dict[str, Any]:
    at, box = pad.GetPosition(), pad.GetBoundingBox()
    layers = [n for n, layer in enumerate((pcbnew.F_Cu, pcbnew.B_Cu)) if pad.IsOnLayer(layer)]
    through = pad.GetAttribute() == pcbnew.PAD_ATTRIB_NPTH
    hole = 0.3 if through else 0.0  # copper keeps away from a hole without copper
    return {
        "net": pad.GetNetname(), "x": pcbnew.ToMM(at.x), "y": pcbnew.ToMM(at.y),
        "w": pcbnew.ToMM(box.GetWidth()) + hole, "h": pcbnew.ToMM(box.GetHeight()) + hole,
        "layers": layers or [0, 1],
    }  # fmt: skip


def draw_tracks(board: Any, found: dict[str, Any]) -> None:
    """Add the router's tracks and vias."""
    nets = board.GetNetsByName()
    for net, layer, x0, y0, x1, y1, width in found["tracks"]:
        track = pcbnew.PCB_TRACK(board)
        track.SetStart(_point(x0, y0))
        track.SetEnd(_point(x1, y1))
        track.SetWidth(mm(width))
        track.SetLayer(pcbnew.B_Cu if layer else pcbnew.F_Cu)
        track.SetNet(nets[net])
        board.Add(track)
    for net, x, y in found["vias"]:
        via = pcbnew.PCB_VIA(board)
        via.SetPosition(_point(x, y))
        via.SetDrill(mm(DRILL))
        via.SetWidth(mm(VIA))
        via.SetNet(nets[net])
        board.Add(via)


def planes(board: Any) -> None:
    """Fill ground on both layers."""
    size = layout()["board"]
    for layer in (pcbnew.F_Cu, pcbnew.B_Cu):
        zone = pcbnew.ZONE(board)
        zone.SetLayer(layer)
        zone.SetNet(board.GetNetsByName()["GND"])
        zone.SetLocalClearance(mm(PLANE_CLEARANCE))
        zone.SetMinThickness(mm(PLANE_LEAST))
        zone.SetThermalReliefGap(mm(SPOKE_GAP))
        zone.SetThermalReliefSpokeWidth(mm(SPOKE))
        zone.SetPadConnection(pcbnew.ZONE_CONNECTION_THERMAL)
        outline = zone.Outline()
        outline.NewOutline()
        w, h, inset = size["width"], size["height"], 0.6
        for x, y in ((inset, inset), (w - inset, inset), (w - inset, h - inset), (inset, h - inset)):
            outline.Append(mm(x), mm(y))
        board.Add(zone)
    pcbnew.ZONE_FILLER(board).Fill(board.Zones())


def finish(tracks: Path, path: Path) -> Any:
    """Write the board with tracks and planes; ground pads that no spoke reaches get full contact."""
    board = build()
    draw_tracks(board, json.loads(tracks.read_text("utf-8")))
    pcbnew.SaveBoard(str(path), board)
    path.with_suffix(".kicad_dru").write_text(rules(), encoding="utf-8")
    board = pcbnew.LoadBoard(str(path))  # with its project: planes and checks need one
    planes(board)
    pcbnew.SaveBoard(str(path), board)
    lonely = _lonely(path)
    if lonely:
        for footprint in board.GetFootprints():
            for pad in footprint.Pads():
                if (footprint.GetReference(), pad.GetNumber()) in lonely:
                    pad.SetZoneConnection(pcbnew.ZONE_CONNECTION_FULL)
        pcbnew.ZONE_FILLER(board).Fill(board.Zones())
        pcbnew.SaveBoard(str(path), board)
    print(f"{len(lonely)} ground pads with full contact")
    return board


def _lonely(path: Path) -> set[tuple[str, str]]:
    """Return the ground pads that hang on no plane: all but the largest group of them."""
    ground = {(p.ref, pad) for p in placed() for pad, net in p.pads.items() if net == "GND"}
    groups = sorted((g & ground for g in copper.nets(path)), key=len)
    return set().union(*groups[:-1])


def main(arguments: list[str]) -> int:
    """`place PLAN` writes what the router must know; `finish TRACKS BOARD` writes the board and the maker's files."""
    if arguments[0] == "place":
        board = build()
        Path(arguments[1]).write_text(json.dumps(plan_of(board)), encoding="utf-8")
        print(f"{len(board.GetFootprints())} footprints, {board.GetNetCount() - 1} nets")
        return 0
    path = Path(arguments[2])
    board = finish(Path(arguments[1]), path)
    pcbnew.WriteDRCReport(board, str(path.with_suffix(".drc.txt")), pcbnew.EDA_UNITS_MILLIMETRES, True)
    with tempfile.TemporaryDirectory() as folder:
        files.gerber(board, Path(folder))
        files.packed(Path(folder), path.parent / "rig-gerber.zip")
    path.with_suffix(".kicad_prl").unlink(missing_ok=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
