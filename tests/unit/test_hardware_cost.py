"""What to buy: a package and a price for every part, and sums that add up by hand."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from hardware import cost
from hardware.board.pieces import bought, buying
from hardware.tables_md import HERE

from sweeprig.frontend.tables import BUILDS, contacts, parts


@pytest.mark.parametrize("build", BUILDS)
def test_every_part_has_package_example_and_price(build: str) -> None:
    for part in parts(build).values():
        row = bought(build, part)
        assert row["package"], part.key
        assert row["example"], part.key
        assert row["price"] in buying()["price"], part.key


@pytest.mark.parametrize("build", BUILDS)
def test_the_page_adds_up_to_what_the_command_prints(build: str) -> None:
    """Every line of the table itself, read again from the TOML files and added in cents."""
    price = {
        k: round(100 * v)
        for k, v in tomllib.loads((HERE / "buying.toml").read_text("utf-8"))["price"].items()
    }
    cents = sum(p.count * price[bought(build, p)["price"]] for p in parts(build).values())
    cents += sum(r["count"] * price[r["price"]] for r in buying()["extra"] if build in r["builds"])
    assert round(100 * cost.total_eur(build)) == cents
    assert f"**{cents / 100:.2f}**" in (HERE / "parts.md").read_text("utf-8")


def test_dearer_builds_have_more() -> None:
    assert 20 < cost.total_eur("plain") < cost.total_eur("full") < cost.total_eur("driven") < 300


def test_nothing_that_a_build_needs_is_missing_from_the_list() -> None:
    """What the pages tell a builder to use: it must be bought somewhere."""
    listed = " ".join(line.what for line in cost.lines("driven")) + " ".join(
        line.what for line in cost.lines("plain")
    )
    for word in (
        "breadboard",
        "4 mm",
        "back-probing",
        "1 A fuse",
        "2 A fuse",
        "lead-test",
        "case",
        "IC socket",
        "screw terminal",
        "printed board",
        "battery clip",
        "motor supply",
        "heat-set",
        "pin header",
    ):
        assert word in listed, word


def test_sockets_fit_the_chips() -> None:
    full = [line.package for line in cost.lines("full")]
    for pins in ("DIP-8", "DIP-14"):
        chips = sum(p.startswith(f"{pins} in a socket") for p in full)
        sockets = sum(line.count for line in cost.lines("full") if line.what == f"IC socket, {pins}")
        assert chips == sockets > 0


def test_examples_are_generic_numbers() -> None:
    """No maker's name: a type is letters and digits of the trade."""
    for name in ("common", "plain", "full"):
        for row in buying()[name].values():
            assert not re.search(r"(Inc|GmbH|Ltd)", row["example"])
    assert Path(HERE / "buying.toml").exists()


def test_cables_have_a_wire_for_each_contact_of_their_lead() -> None:
    """Contacts that the wiring table gives a wire to at the sensor's end, and the cables that are bought."""
    powered = [c for c in contacts() if not c.powered.startswith(("not fitted", "joined"))]
    tapped = [c for c in contacts() if c.tapped != "not fitted" and c.name != "BATTERY SENSE"]
    listed = [line.what for line in cost.lines("full")]
    assert any(f"cable, {len(powered)} x" in what and "1 m" in what for what in listed)
    assert any(f"cable, {len(tapped)} x" in what and "2 m" in what for what in listed)
    plugs = next(line.count for line in cost.lines("full") if line.what == "4 mm plugs")
    assert plugs == (len(powered) - 2) + len(tapped)  # each sense wire of the powered lead shares a plug


def test_the_driven_list_names_only_what_it_adds() -> None:
    """Who buys by the page buys the full build's tables once and this one's beside them."""
    added = {line.what: line.count for line in cost.more("driven") if line.ref == "-"}
    full = {line.what: line.count for line in cost.lines("full")}
    assert added
    assert not set(added) & set(full)
    whole = cost.total_eur("full") + sum(line.total_eur for line in cost.more("driven"))
    assert whole == pytest.approx(cost.total_eur("driven"))
    page = (HERE / "parts.md").read_text("utf-8").split("## Driven build")[1]
    assert "Pico class board" not in page


def test_small_things_of_the_pages_have_a_price() -> None:
    """Screws, wire, standoffs, posts, solder: what build.md and the case ask for is on the list or wanted there."""
    for build, words in (
        (
            "plain",
            "solid wire,solder,cable ties,1.5 V cell,standoffs,perforated board,socket strip,tinned wire",
        ),
        (
            "full",
            "solid wire,solder,cable ties,1.5 V cell,9 V battery,screw posts,foam,tinned wire,M3 x 16,light-emitting",
        ),
    ):
        listed = " ".join(line.what for line in [*cost.lines(build), *cost.optional(build)])
        for word in words.split(","):
            assert word in listed, (build, word)
    assert all(line.count and line.total_eur for b in BUILDS for line in [*cost.lines(b), *cost.optional(b)])


@pytest.mark.parametrize("build", BUILDS)
def test_no_part_is_left_vague(build: str) -> None:
    """An example for everything, no pair that may be one or two, no package that is another than the board's."""
    for part in parts(build).values():
        row = bought(build, part)
        assert row["example"] != "-", part.key
        assert "0805" not in part.what, part.key
        assert not part.what.startswith("pair"), part.key
        assert not part.rating.startswith("as "), part.key


def test_a_lead_is_tied_to_something_that_is_bought() -> None:
    """The plain build's breadboard has no hole for a tie: a base has, and the perforated board gets its own."""
    plain = " ".join(line.what for line in cost.lines("plain"))
    assert "base: board of wood or plastic, 200 x 100 x 6 mm" in plain
    assert "holes of 4 mm" in " ".join((HERE / "build.md").read_text("utf-8").split())
    page = " ".join((HERE / "breadboard" / "README.md").read_text("utf-8").split())
    assert "two holes of 3.2 mm, 8 mm apart" in page


@pytest.mark.parametrize("build", BUILDS)
def test_the_lead_test_plug_has_sockets_for_the_lead_s_plugs(build: str) -> None:
    """A lead ends in 4 mm plugs: what they go into, and how two of them are joined."""
    found = {line.what: line.package for line in cost.lines(build)}
    assert "lead-test plug: three 4 mm sockets, two resistors of 2.2 kohm, 1 %" in found
    plugs = next(note for what, note in found.items() if what.startswith("4 mm plug"))
    assert "socket in its back" in plugs


def test_what_only_a_bought_case_needs_is_in_no_sum() -> None:
    """Foam, standoffs, drill and file: the printed case hangs the board in its four screws."""
    summed = " ".join(line.what for line in cost.lines("full"))
    wanted = " ".join(line.what for line in cost.optional("full"))
    assert "foam" not in summed
    assert "foam that carries no static" in wanted
    assert "standoffs M3 x 10 of plastic with screws, four, for a bought case" in wanted
