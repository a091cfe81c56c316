"""Schematics, tables and pages: what is kept is what the parts table gives today."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hardware import clamps, first_power, wiring_md
from hardware.schematic import file_of, schematic
from hardware.tables_md import FILES, HERE
from hardware.values import part_value, value_str

from sweepboard import pins as board
from sweeprig.bench.board.rig import opened_rig
from sweeprig.bench.connection.self_test import SelfTest, Step
from sweeprig.frontend import front_end, tables
from sweeprig.frontend.nets import EDGE
from sweeprig.frontend.tables import BUILDS, contacts, parts, pins

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", FILES)
def test_kept_tables_are_today_s(name: str) -> None:
    assert (HERE / name).read_text("utf-8") == FILES[name](), "run python -m hardware.tables_md"


@pytest.mark.parametrize("build", BUILDS)
def test_kept_schematics_are_today_s(build: str) -> None:
    pages = schematic(build)
    assert [file_of(build, i).read_text("utf-8") for i in range(1, len(pages) + 1)] == pages, (
        "run python -m hardware.schematic"
    )
    assert len(list(HERE.glob(f"schematic-{build}-*.svg"))) == len(pages)


@pytest.mark.parametrize("build", BUILDS)
def test_each_page_of_a_schematic_is_a4_and_holds_its_drawings(build: str) -> None:
    for page in schematic(build):
        wide, high = map(float, re.search(r"viewBox='0 0 (\d+) (\d+)'", page).groups())
        assert high / wide == pytest.approx(297 / 210, rel=0.002)
        drawn = [tuple(map(float, m)) for m in re.findall(r'<svg x="([\d.]+)" y="([\d.]+)"', page)]
        found = re.findall(r'<svg x=[^>]*?height="([\d.]+)"[^>]*?width="([\d.]+)"', page)
        sizes = [(float(w), float(h)) for h, w in found]
        assert drawn
        assert len(drawn) == len(sizes)
        for (x, y), (w, h) in zip(drawn, sizes, strict=True):
            assert x + w <= wide
            assert y + h <= high


@pytest.mark.parametrize("build", BUILDS)
def test_a_schematic_shows_every_part_and_pin(build: str) -> None:
    words = set(re.findall(r"[A-Z]+\d+", re.sub(r"<path[^>]*>", "", "".join(schematic(build)))))
    missing = {p.ref for p in parts(build).values()} - words
    assert not missing
    assert {f"GP{p.gpio}" for p in pins(build)} <= words


def test_a_changed_value_changes_the_schematic(monkeypatch: pytest.MonkeyPatch) -> None:
    import copy

    changed = copy.deepcopy(dict(tables.table()))
    next(r for r in changed["part"] if r["key"] == "c_node")["value"] = 2.2e-9
    monkeypatch.setattr(tables, "table", lambda: changed)
    assert "2.2 nF" in "".join(schematic("plain"))


def test_firmware_has_the_same_pins() -> None:
    for build in BUILDS:
        assert {p.name: p.gpio for p in pins(build)} == {n: getattr(board, n) for n in board.PINS[build]}
        end = front_end(build)
        assert board.HOOKUPS[build] == end.hookups
        assert set(board.CAPABILITIES[build]) == set(end.capabilities)


def test_each_pin_is_used_once_and_has_an_edge_contact() -> None:
    numbers = [p.gpio for p in pins("driven")]
    assert len(set(numbers)) == len(numbers)
    assert set(numbers) <= set(EDGE)
    assert len(set(EDGE.values())) == len(EDGE)
    assert not {23, 24, 25, 29} & set(numbers)  # taken on a Pico board: data sheet, 24 from memory


def test_the_tap_lead_can_feed_nothing_in() -> None:
    """Supply out, rig ground, link and the burdens' returns have no wire in it."""
    fitted = {c.name for c in contacts() if c.tapped != "not fitted"}
    assert not fitted & {"SUPPLY OUT", "GROUND", "LINK", "BURDEN RETURN A", "BURDEN RETURN B"}
    assert "TAP GROUND" in fitted
    assert [c.number for c in contacts()] == list(range(1, 12))


def test_every_part_says_why() -> None:
    for build in BUILDS:
        for part in parts(build).values():
            assert len(part.reason) >= 6, part.key
            assert part.rating, part.key
            assert part.count >= 1


def test_pages_quote_what_is_computed() -> None:
    page = (ROOT / "docs" / "safety.md").read_text("utf-8")
    lead = {r.state: 1e6 * r.amps for r in _signal_rows(5.5)}
    assert f"takes up to {lead['unpowered']:.0f} µA from each lead" in page
    assert f"a powered one {lead['running']:.0f} µA" in page
    sums = {s: 1e6 * clamps.tap_ground_a("full", state=s, n_leads=3, lead_v=5.5) for s in clamps.STATES}
    powered = max(v for s, v in sums.items() if s != "unpowered")
    assert f"up to {sums['unpowered']:.0f} µA with three leads" in page
    assert f"{powered:.0f} µA with\nit powered" in page
    assert f"({powered / 3:.1f} µA a lead, with the bias down; {sums['running']:.0f} µA when running)" in page
    build = (HERE / "build.md").read_text("utf-8")
    assert f"sensor with {front_end('plain').input_ohm / 1e3:.0f} kΩ" in build
    assert f"the full one with {front_end('full').burden_at_sensor_ohm / 1e3:.0f} kΩ" in build


def _signal_rows(volts: float) -> list[clamps.TapCurrent]:
    rows = clamps.tapped_currents("full")
    return [r for r in rows if r.lead.startswith("signal") and r.lead_v == volts]


def test_links_of_the_pages_lead_somewhere() -> None:
    for page in (HERE / "build.md", ROOT / "docs" / "safety.md"):
        for link in re.findall(r"\]\(([^)#]+)\)", page.read_text("utf-8")):
            assert (page.parent / link).exists(), f"{page.name}: {link}"


def test_first_power_ranges_hold_what_is_nominal() -> None:
    for build in ("plain", "full"):
        found = {c.where: c for c in first_power.checks(build)}
        limit = next(c for w, c in found.items() if w.startswith("current through"))
        assert limit.high is not None
        assert limit.low < front_end(build).supply_limit_a < limit.high
        ratio = next(c for c in found.values() if not c.unit)
        assert ratio.high is not None
        assert ratio.low < front_end(build).divider_ratio < ratio.high
        for check in found.values():
            assert check.high is None or check.low < check.high, check.where
    assert "Pin(2, Pin.OUT, value=1)" in first_power.switch_command(on=True)
    assert "Pin(9, Pin.OUT, value=1)" in first_power.release_command("full")
    assert "Pin(6" not in first_power.release_command("plain")


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (154e3, "ohm", "154 kΩ"),
        (1e6, "ohm", "1 MΩ"),
        (22e-12, "F", "22 pF"),
        (100e-6, "H", "100 µH"),
        (0.05, "A", "50 mA"),
        (12.0, "bit", ""),
    ],
)
def test_values_as_written(value: float, unit: str, text: str) -> None:
    assert value_str(value, unit) == text


def test_part_value_of_a_series() -> None:
    assert part_value(parts("full")["r_top"]) == "154 kΩ ±0.1 %"


def test_a_schematic_is_the_same_whoever_named_its_namespace() -> None:
    from xml.etree.ElementTree import register_namespace

    register_namespace("other", "http://www.w3.org/2000/svg")
    assert [file_of("plain", 1).read_text("utf-8")] == schematic("plain")


def test_wiring_says_what_is_on_every_pin_of_what_one_plugs() -> None:
    """Button, buzzer, ramp jumper, modules and motor: each pin with what the table of nets joins it to."""
    rows = {(r[0], r[1].split(" ")[0]): r for r in wiring_md.hands()}
    for ref, pins_of in (
        ("S1", "1 2"), ("LS1", "1 2"), ("J1", "LEAD MIDDLE RAMP"), ("M1", "1A 1B 2A 2B"), ("S3", "1 2"),
        ("A1", "GND STEP DIR ENABLE VIO VMOT MGND OUT1A MS1"), ("U4", "VDD GND SDA SCL"),
    ):  # fmt: skip
        for name in pins_of.split():
            assert (ref, name) in rows
    assert "GP11 (edge 15)" in rows["S1", "1"][3]
    assert rows["LS1", "1"][3] == "R40 2"
    assert rows["J1", "MIDDLE"][3] == "R3A1 1"
    assert "R502 2" in rows["J1", "RAMP"][3]
    assert rows["U3", "ALRT"][3] == "nothing"
    page = (HERE / "wiring.md").read_text("utf-8")
    assert "joins contact 7 to 5" in page
    assert "edge 15 (GP11)" in page


def test_the_commands_of_build_md_name_the_board_s_pins() -> None:
    """Button, LINK, buzzer and ramp are tried by hand with the GPIO that the table gives them."""
    page = (
        (HERE / "build.md")
        .read_text("utf-8")
        .split("Buzzer, button, LINK and ramp, after")[1]
        .split("## Driven")[0]
    )
    tried = {int(n) for n in re.findall(r"Pin\((\d+)", page)}
    assert tried == {p.gpio for p in pins("full") if p.name in ("BUTTON", "LINK", "BUZZER", "RAMP")}


@pytest.mark.parametrize(("build", "polar"), [("plain", 0), ("full", 2), ("driven", 3)])
def test_a_schematic_shows_the_plus_of_every_electrolytic(build: str, polar: int) -> None:
    """C62, C63 and C70; nothing else is drawn with this sign as a text."""
    assert sum(p.what.startswith("electrolytic") for p in parts(build).values()) == polar
    assert "".join(schematic(build)).count(">+</tspan>") == polar


@pytest.mark.parametrize("build", BUILDS)
def test_build_md_says_what_a_rig_answers_about_itself(build: str) -> None:
    """`rigs` lists ports; what a rig is the self-test says in its first two lines."""
    wrong = Step("rate", "none", "some", good=False)
    with opened_rig(f"sim://good?board={build}&pace=fast") as client:
        first, second, third, *_ = SelfTest(client.hello(), (wrong,)).lines()
    page = (HERE / "build.md").read_text("utf-8")
    assert (
        f'the first line must say "{build} build"' in page or f'the first line says "{build} build"' in page
    )
    assert f"{build} build" in first
    assert 'the second has "motor that turns the sensor"' in page
    assert ("motor that turns the sensor" in second) == (build == "driven")
    assert "WRONG" in third
    assert 'no step may\n   say "WRONG"' in page
    assert not re.search(r"`sweeprig rigs` must|then `sweeprig rigs`,", page)
