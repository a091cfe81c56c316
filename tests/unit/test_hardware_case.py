"""The printed case: it fits the board, and its openings stand where socket and USB are."""

from __future__ import annotations

import re
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
from hardware.board import copper, kept
from hardware.board.pieces import placed
from hardware.case import dims as case
from hardware.case import heights
from hardware.case.drawing import drawing

WALL, FLOOR, GAP, STANDOFF = case.WALL, case.FLOOR, case.GAP, case.STANDOFF
Point = tuple[float, float, float]


def triangles(part: str) -> list[tuple[Point, Point, Point]]:
    """Return the triangles of a kept part."""
    text = (case.HERE / f"{part}.stl").read_text("utf-8")
    points = [tuple(map(float, m.split())) for m in re.findall(r"vertex (.*)", text)]
    return [tuple(points[i : i + 3]) for i in range(0, len(points), 3)]


@pytest.fixture(scope="module")
def base() -> list[tuple[Point, Point, Point]]:
    return triangles("base")


@pytest.fixture(scope="module")
def driven() -> list[tuple[Point, Point, Point]]:
    return triangles("base-driven")


@pytest.fixture(scope="module")
def lid() -> list[tuple[Point, Point, Point]]:
    return triangles("lid")


def crossings(part: list, axis: int, at: tuple[float, float]) -> list[float]:
    """Return where a line along an axis crosses the part; `at`: its two other coordinates."""
    u, v = [i for i in range(3) if i != axis]
    found = []
    for tri in part:
        (ax, ay), (bx, by), (cx, cy) = ((p[u], p[v]) for p in tri)
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if abs(area) < 1e-12:
            continue
        s = ((at[0] - ax) * (cy - ay) - (cx - ax) * (at[1] - ay)) / area
        t = ((bx - ax) * (at[1] - ay) - (at[0] - ax) * (by - ay)) / area
        if s >= 0 and t >= 0 and s + t <= 1:
            found.append(tri[0][axis] + s * (tri[1][axis] - tri[0][axis]) + t * (tri[2][axis] - tri[0][axis]))
    return sorted(found)


def solid(part: list, axis: int, at: tuple[float, float], where: float) -> bool:
    """Tell whether a place lies in the part's plastic: an odd number of walls before it."""
    return sum(x < where for x in crossings(part, axis, at)) % 2 == 1


def size(part: list) -> list[float]:
    points = [p for tri in part for p in tri]
    return [max(p[i] for p in points) - min(p[i] for p in points) for i in range(3)]


def y_in_case(y_on_board: float) -> float:
    return WALL + GAP + case.dims()["board_h"] - y_on_board


def board_top() -> float:
    return FLOOR + STANDOFF + case.BOARD_THICK


def test_kept_parts_are_made_from_what_stands_here() -> None:
    assert (case.HERE / "dims.scad").read_text("utf-8") == case.dims_scad(), "run python -m hardware.case"
    assert (case.HERE / "made-from.txt").read_text("utf-8").strip() == case.digest(), (
        "run python -m hardware.case"
    )


def test_the_board_fits_with_room_for_its_parts(base: list) -> None:
    d = case.dims()
    assert size(base) == pytest.approx(
        [d["board_w"] + 2 * (GAP + WALL), d["board_h"] + 2 * (GAP + WALL), 36.0], abs=0.01
    )
    inner = crossings(base, 0, (60.0, 30.0))  # clear of the openings: two walls
    assert inner[2] - inner[1] == pytest.approx(d["board_w"] + 2 * GAP, abs=0.01)
    inner = crossings(base, 1, (80.0, 30.0))
    assert inner[2] - inner[1] == pytest.approx(d["board_h"] + 2 * GAP, abs=0.01)
    assert size(base)[2] - board_top() >= 21.5  # Q1 stands 20 mm over the board


def test_screws_go_through_base_board_and_lid(base: list, lid: list) -> None:
    for x, y in case.dims()["holes"]:
        at = (WALL + GAP + x, y_in_case(y))
        assert crossings(base, 2, at) == [], "the hole is open"
        beside = (at[0] + 2.6, at[1] + 0.3)
        assert solid(base, 2, beside, FLOOR + STANDOFF - 0.1), "the board stands on plastic"
        assert not solid(base, 2, beside, FLOOR + STANDOFF + 0.1)
        mirrored = (size(base)[0] - at[0], at[1])
        assert not solid(lid, 2, mirrored, size(lid)[2] - 4), "room for the nut"
        assert solid(lid, 2, (mirrored[0] + 2.6, mirrored[1] + 0.3), size(lid)[2] - 4)


def test_the_lid_reaches_down_to_the_board(base: list, lid: list) -> None:
    assert size(base)[2] + FLOOR - size(lid)[2] == pytest.approx(board_top(), abs=0.01)
    assert size(lid)[:2] == pytest.approx(size(base)[:2], abs=0.01)


def test_usb_and_socket_stand_in_their_openings(base: list) -> None:
    d = case.dims()
    usb, socket = y_in_case(d["usb_y"]), y_in_case(d["socket_y"])
    right, left = size(base)[0] - WALL / 2, WALL / 2
    mid = board_top() + d["usb_mid"]
    assert not solid(base, 0, (usb, mid), right)
    assert not solid(base, 0, (socket, board_top() + 6.3), left)  # middle of a D-sub over the board
    for dy in (-(d["usb_wide"] / 2 + 1), d["usb_wide"] / 2 + 1):
        assert solid(base, 0, (usb + dy, mid), right)
    for dy in (-(d["socket_wide"] / 2 + 1), d["socket_wide"] / 2 + 1):
        assert solid(base, 0, (socket + dy, board_top() + 6.3), left)
    assert d["socket_wide"] >= 53.0  # hoods of a plug of 15 contacts


def test_holes_of_the_lid_come_to_stand_over_their_parts(lid: list) -> None:
    d = case.dims()
    for name in ("buzzer", "button", "light"):
        x, y = size(lid)[0] - (WALL + GAP + d[name][0]), y_in_case(d[name][1])
        assert not solid(lid, 2, (x, y), FLOOR / 2), name
        assert solid(lid, 2, (x + 8, y + 3), FLOOR / 2), name


def test_holes_keep_apart_from_the_posts_and_one_another() -> None:
    d = case.dims()
    spots = [(*d["buzzer"], 2.5), (*d["button"], d["button_d"] / 2), (*d["light"], d["light_d"] / 2)]
    spots += [(x, y, 3.4) for x, y in d["holes"]]
    for i, (x, y, r) in enumerate(spots):
        for x1, y1, r1 in spots[i + 1 :]:
            assert ((x - x1) ** 2 + (y - y1) ** 2) ** 0.5 > r + r1 + 1.2


def test_cables_of_the_drive_leave_through_their_own_opening(base: list, driven: list) -> None:
    """Open in the driven build's base, closed in the full build's; beside the headers, over L1, under the lid's lip."""
    d = case.dims()
    y, wall = y_in_case(d["cable_y"]), size(driven)[0] - WALL / 2
    low = board_top() + d["cable_low"]
    for dy in (-d["cable_wide"] / 2 + 0.5, 0.0, d["cable_wide"] / 2 - 0.5):
        for z in (low + 0.5, low + d["cable_high"] - 0.5):
            assert not solid(driven, 0, (y + dy, z), wall)
            assert solid(base, 0, (y + dy, z), wall)
    for dy in (-(d["cable_wide"] / 2 + 1), d["cable_wide"] / 2 + 1):
        assert solid(driven, 0, (y + dy, low + 3), wall)
    for dy in (-(d["cable_wide"] / 2 + 4), d["cable_wide"] / 2 + 4):
        assert not solid(driven, 0, (y + dy, low + 3), wall), "slot of the cable tie"
    assert d["cable_wide"] >= 12.7 + 2
    assert d["cable_high"] >= 2.6 + 2
    assert low + d["cable_high"] <= size(driven)[2] - case.LIP
    assert d["cable_low"] >= next(s.high for s in heights.stands() if s.ref == "L1")
    plan = tomllib.loads(case.PLACEMENT.read_text("utf-8"))
    headers = next(row for row in plan["region"] if set(case.CABLES) <= set(row["refs"]))
    assert abs(headers["y"] - d["cable_y"]) < 5


def test_everything_has_room_under_lid_and_pico() -> None:
    found = {s.ref: s for s in heights.stands()}
    assert min(s.free for s in found.values()) >= heights.LEAST
    assert found["U1"].over == "Pico class board"
    assert found["BOARDL"].free == pytest.approx(26 - 14.9)
    assert {r.ref for r in found.values()} == {p.ref for p in placed() if not p.ref.startswith("TP")}


def test_a_panel_button_has_room_only_where_s1_stays_out() -> None:
    """The buzzer reaches under it and leaves room; S1 does not, and each page that offers it says so."""
    found = {s.ref: s for s in heights.stands()}
    assert found["LS1"].free - heights.BUTTON_DEEP >= heights.LEAST
    assert found["S1"].free - heights.BUTTON_DEEP < heights.LEAST
    hardware = case.HERE.parent
    for page in (case.HERE / "README.md", hardware / "portable.md", hardware / "parts.md"):
        text = " ".join(page.read_text("utf-8").split())
        assert "S1 then stays out" in text, page
        assert f"{heights.BUTTON_DEEP:g} mm deep" in text, page


def test_pages_lead_the_usb_cable_out_in_one_way() -> None:
    """Through its opening, tied at the two slots: no captive cable and no panel socket that no list has."""
    text = (case.HERE.parent / "build.md").read_text("utf-8")
    assert "captive" not in text
    assert "panel socket" not in text
    assert "through its opening" in " ".join(text.split())


def test_what_stands_under_the_pico_lies_between_its_strips() -> None:
    """By the kept board's copper: the pieces whose pads lie there are those that are held against its underside."""
    at: dict[str, list[Point]] = {}
    for c in copper.copper(kept.BOARD):
        if c.pin:
            at.setdefault(c.pin[0], []).append(c.points[0])
    xs, ys = zip(*(p[:2] for r in ("BOARDL", "BOARDR") for p in at[r]), strict=True)
    inside = {
        r for r, ps in at.items() if all(min(xs) < x < max(xs) and min(ys) < y < max(ys) for x, y, *_ in ps)
    }
    assert {r for r in inside if not r.startswith("TP")} == set(heights.under_pico())


def test_a_piece_that_is_too_high_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(heights.HEIGHTS, "TO-92_Inline_Wide", 10.5)
    assert heights.stands()[0].ref == "U1"
    assert heights.stands()[0].free < heights.LEAST


def test_the_kept_drawing_and_the_page_s_heights_are_today_s() -> None:
    assert (case.HERE / "case.svg").read_text("utf-8") == drawing(), "run python -m hardware.case"
    assert heights.table() in (case.HERE / "README.md").read_text("utf-8"), (
        "run python -m hardware.case.heights"
    )


def test_the_drawing_names_every_opening() -> None:
    svg = (case.HERE / "case.svg").read_text("utf-8")
    for word in (
        "socket X1: 56 x 19",
        "USB: 14 x 9",
        "cables of A1, U4, S2: 24 x 6",
        "buzzer 5",
        "panel button 12.2",
        "light 5.2",
    ):
        assert word in svg, word


def test_the_part_is_closed(base: list, driven: list, lid: list) -> None:
    """Each edge belongs to two triangles: else no slicer knows inside from outside."""
    for part in (base, driven, lid):
        edges: dict[tuple[Point, Point], int] = {}
        for tri in part:
            for a, b in pairwise([*tri, tri[0]]):
                edges[min(a, b), max(a, b)] = edges.get((min(a, b), max(a, b)), 0) + 1
        assert all(n % 2 == 0 for n in edges.values())


def test_a_moved_socket_asks_for_a_new_case(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    text = case.PLACEMENT.read_text("utf-8")
    moved = tmp_path / "placement.toml"
    moved.write_text(text.replace("y = 54.7", "y = 64.7"), encoding="utf-8")
    assert tomllib.loads(moved.read_text("utf-8"))["fixed"][0]["y"] == 64.7
    kept = case.digest()
    monkeypatch.setattr(case, "PLACEMENT", moved)
    assert case.digest() != kept
