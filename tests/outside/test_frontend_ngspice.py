"""Every figure of the front end, computed and simulated with ngspice on a netlist from the same table."""

from __future__ import annotations

import pytest
from hardware import clamps, netlist, netlist_supply, ngspice
from hardware.compare import Comparison, compare
from hardware.compare_rows import Compared
from hardware.compare_signal import depth, signal_rows
from hardware.compare_supply import supply_rows

from sweeprig.errors import InputError
from sweeprig.frontend import front_end, response

pytestmark = pytest.mark.ngspice


@pytest.fixture(scope="module")
def result() -> Comparison:
    return compare()


def test_computed_and_simulated_agree(result: Comparison, capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        print("\n" + result.text())
    assert not result.failed, "\n".join(" | ".join(r.cells()) for r in result.failed)


def test_every_limit_is_kept_computed_and_simulated(result: Comparison) -> None:
    limited = [r for r in result.rows if r.limit is not None]
    broken = [" | ".join(r.cells()) for r in limited if not r.kept]
    assert not broken, "\n".join(broken)
    names = " ".join(r.name for r in limited)
    for what in ("pad beyond", "3.3 V rail", "loading", "tapped at", "corner", "pulse 3a", "pulse 3b"):
        assert what in names


def test_the_ramp_s_filter_leaves_a_small_part_of_a_code(result: Comparison) -> None:
    rows = {r.name: r for r in result.rows if r.build == "full" and "the ramp" in r.name}
    assert set(rows) == {"ripple of the ramp, peak to peak", "lag of the ramp"}
    assert rows["ripple of the ramp, peak to peak"].simulated < 0.1 * 3.3 / 4096


def test_every_fault_of_the_table_is_there(result: Comparison) -> None:
    names = {(r.build, r.name) for r in result.rows}
    for build in ("plain", "full"):
        for volts in (16, 24, -14, 35):
            assert (build, f"lead on {volts} V: 3.3 V rail") in names
    states = {r.name.partition(", ")[2] for r in result.rows if r.name.startswith("tapped at")}
    assert states == set(clamps.STATES)


def test_a_wrong_capacitor_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    right = netlist.channel
    monkeypatch.setattr(
        netlist, "channel", lambda build: right(build).replace("Cnode node 0 1", "Cnode node 0 2")
    )
    failed = [r.name for r in signal_rows("plain") if not r.agrees]
    assert "corner, powered" in failed
    assert "share of a 12 us short that reaches the pin, powered" in failed


def test_joined_burden_returns_would_couple_the_channels(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Why each burden's return has a contact of its own."""
    right, end = netlist.board, front_end("full")

    def joined(build: str, *, hookup: str, state: str = "running") -> str:
        return right(build, hookup=hookup, state=state) + "\nRjoin returna returnb 1m"

    monkeypatch.setattr(netlist, "board", joined)
    assert depth(end, "tapped", "open") > 3 * end.open_depth(12e-6, "tapped")


def test_without_reverse_blocking_the_supply_lead_feeds_the_port(monkeypatch: pytest.MonkeyPatch) -> None:
    right = netlist_supply.supply
    monkeypatch.setattr(
        netlist_supply,
        "supply",
        lambda build, *, lead: right(build, lead=lead).replace(
            "D5 collector out dblock", "Rd5 collector out 0.2"
        ),
    )
    back = next(r for r in supply_rows("plain") if r.name == "back into the rig from a supply lead at 16 V")
    assert not back.agrees
    assert back.kept is False


def test_words_of_ngspice_come_with_the_error() -> None:
    with pytest.raises(InputError, match="gave no value for nothing"):
        ngspice.run("* empty\nV1 a 0 1\nR1 a 0 1k", "op", "print nothing")


def test_a_missing_program_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ngspice, "PROGRAM", "no-such-program")
    with pytest.raises(InputError, match="apt-get install ngspice"):
        ngspice.run("* x", "op", "print a")


def test_ngspice_solves_a_divider() -> None:
    """Ohm's law: the tool itself, before it judges us."""
    got = ngspice.run("* divider\nV1 a 0 5\nR1 a b 10k\nR2 b 0 15k", "op", "let x=v(b)", "print x")
    assert got["x"] == pytest.approx(3.0, rel=1e-6)


def test_row_rules() -> None:
    row = Compared("plain", "x", 2.0, 2.2, "V", "within", 0.05, limit=2.1)
    assert not row.agrees
    assert row.kept is False
    assert Compared("plain", "x", -2.0, -1.0, "V", "bound", 0.0).agrees
    assert not Compared("plain", "x", 1.0, -1.1, "V", "bound", 0.02).agrees
    assert Compared("plain", "x", 13e3, 12.5e3, "Hz", "within", 0.1, 12e3, "least").kept
    assert response.conversion_s() > 0
