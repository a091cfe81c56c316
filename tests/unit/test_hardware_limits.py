"""What the rig must keep in every state, by computation; and that a wrong part is seen."""

from __future__ import annotations

import contextlib
import copy
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hardware import battery, clamps, supply
from hardware.figures import figures
from hardware.front_end import main, text

from sweeprig.errors import HookupError
from sweeprig.frontend import front_end, tables

Alter = Callable[..., None]
# The tap ground carries the sum of its leads; one lead's limit is passed with more than one of them at 5.5 V.
SUMS = {
    "tap ground, worst state, signal and supply sense at 5.5 V",
    "tap ground, worst state, A, B and supply sense at 5.5 V",
}


@pytest.fixture
def alter(monkeypatch: pytest.MonkeyPatch) -> Iterator[Alter]:
    """Change values of one part of one build."""
    changed = copy.deepcopy(dict(tables.table()))

    def change(build: str, key: str, **values: float) -> None:
        row = next(r for r in changed["part"] if r["key"] == key and build in r["builds"])
        row.update(values)
        front_end.cache_clear()

    monkeypatch.setattr(tables, "table", lambda: changed)
    yield change
    front_end.cache_clear()


def broken(build: str) -> set[str]:
    return {f.name for f in figures(build) if f.holds is False}


def test_every_limit_is_kept_but_the_sums_in_the_tap_ground() -> None:
    assert broken("plain") == set()
    assert broken("full") == SUMS
    assert broken("driven") == SUMS


def test_states_of_a_tapped_rig() -> None:
    """20 uA up to 5.5 V and 0.5 mA at 16 V, whatever the board does."""
    for build in ("full", "driven"):
        rows = clamps.tapped_currents(build)
        assert {r.state for r in rows} == set(clamps.STATES)
        assert max(abs(r.amps) for r in rows if r.lead_v <= 5.5) <= 20e-6
        assert max(abs(r.amps) for r in rows if r.lead_v <= 16.0) <= 0.5e-3


def test_tapped_current_by_hand() -> None:
    """Unpowered: the clamp takes node to rail at 0 V; 5.5 V less a diode of 0.45 to 0.6 V, through 308 kohm."""
    row = next(
        r
        for r in clamps.tapped_currents("full")
        if (r.lead, r.state, r.lead_v) == ("signal or supply sense", "unpowered", 5.5)
    )
    assert (5.5 - 0.6) / 308e3 < row.amps < (5.5 - 0.45) / 308e3
    running = next(
        r
        for r in clamps.tapped_currents("full")
        if (r.lead, r.state, r.lead_v) == ("signal or supply sense", "running", 5.5)
    )
    assert running.amps == pytest.approx(5.5 / 770e3 + 0.1e-6, rel=1e-3)


def test_the_plain_build_is_for_the_bench_only() -> None:
    with pytest.raises(HookupError):
        front_end("plain").check_hookup("tapped")
    with pytest.raises(HookupError):
        front_end("plain").corner_hz("tapped")
    assert clamps.clamped("plain", lead_v=5.5, rail_v=0.0).lead_a > 20e-6  # and this is why


def test_a_smaller_resistor_in_the_tapped_lead_is_seen(alter: Alter) -> None:
    alter("full", "r_top", each=100e3)
    found = broken("full")
    assert "series resistance of a tapped lead" in found
    assert "signal or supply sense, unpowered, 0 to 5.5 V" in found


def test_a_larger_capacitor_is_seen(alter: Alter) -> None:
    alter("plain", "c_node", value=10e-9)
    assert broken("plain") >= {
        "corner, sensor to pin",
        "share of a 12 us short to ground that reaches the pin",
    }


def test_a_smaller_clamp_resistor_is_seen(alter: Alter) -> None:
    alter("plain", "r_top", value=2e3)
    assert any("3.3 V rail, three leads" in name for name in broken("plain"))


def test_a_smaller_limit_resistor_is_seen(alter: Alter) -> None:
    alter("plain", "r_limit", value=6.8)
    assert broken("plain") >= {"limit, highest", "heat in Q1, lead on -14 V"}


def test_heat_of_the_pass_transistor_by_hand() -> None:
    """0.62 V +12 % over 12 ohm -1 % is 58.5 mA; 5.25 V and 14 V less 0.85 V and 0.3 V in series: 18.1 V."""
    heat = supply.heat("plain", name="-14 V", lead_v=-14.0)
    assert heat.amps == pytest.approx(0.0585, abs=1e-4)
    assert heat.watts == pytest.approx(0.0585 * 18.1, rel=2e-3)


def test_pass_transistor_has_what_is_left_of_its_rating_when_hot() -> None:
    """2 W at 25 C and 62.5 K/W to 150 C: 1.6 W at the table's own 50 C; the regulated stage is the hotter one."""
    for build in ("plain", "full"):
        left = supply.allowed_w(build)
        assert left == pytest.approx(100 / 62.5)
        assert supply.heat(build, name="-14 V", lead_v=-14.0).watts < 0.8 * left
    assert tables.table()["temperature"]["max_c"] == 50.0


def test_a_pass_transistor_that_is_too_small_when_hot_is_seen(alter: Alter) -> None:
    """1.25 W at 25 C is 100 K/W: 1.0 W at 50 C, less than -14 V on the lead asks for."""
    alter("plain", "q_pass", free_air_k_w=100.0)
    assert broken("plain") == {"heat in Q1, lead on -14 V"}


def test_an_unpowered_board_is_not_lifted_beyond_its_rail() -> None:
    for build in ("plain", "full"):
        for volts in (0.0, 5.5, 16.0, 35.0):
            assert 0 <= clamps.unpowered_rail_v(build, lead_v=volts) <= 3.63


def test_shunt_stays_between_the_rail_and_what_the_chip_bears() -> None:
    low, held, high = clamps.shunt_v()
    assert 3.3 * 1.02 < low < held < high < 3.63
    assert held == pytest.approx(2.495 * 1.39)


def test_command_prints_every_build(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    out = capsys.readouterr().out
    assert "Plain build" in out
    assert "NOT kept" in out
    assert main(["neither"]) == 2
    assert "plain, full, driven" in capsys.readouterr().err
    assert "corner, sensor to pin" in text("full")


@pytest.mark.parametrize(
    ("build", "key", "change", "figure"),
    [
        (
            "full",
            "c_bypass",
            {"value": 1e-9},
            "dip of an op-amp's supply, 10 mA in 20 ns behind 20 cm of wire",
        ),
        (
            "plain",
            "c_reference_adc",
            {"value": 1e-12},
            "the regulator's ripple in a reading at full scale, codes",
        ),
        ("plain", "r_run_bottom", {"value": 100e3}, "RUN, three leads at 12 V: in reset"),
        ("plain", "r_run_bottom", {"value": 3.3e3}, "RUN with USB on, lowest"),
        ("full", "q_on", {"gate_v": 4.5}, "Q4: gate voltage at which its resistance is promised"),
        ("full", "r_battery_guard", {"value": 1.0}, "24 V load dump, suppressed, 58 V: D8"),
        ("full", "r_battery_guard", {"value": 1.0}, "24 V load dump, suppressed, 58 V: R13"),
        ("full", "r_battery_bottom", {"value": 154e3}, "full scale"),
    ],
)
def test_a_missing_or_wrong_part_breaks_its_limit(
    alter: Alter, build: str, key: str, change: dict[str, float], figure: str
) -> None:
    """Capacitors left out, a gate that 3 V does not open, a suppressor without a resistor before it."""
    assert figure not in broken(build)
    for name in ("plain", build):  # the rail's parts are read from the plain build's list
        with contextlib.suppress(StopIteration):
            alter(name, key, **change)
    assert figure in broken(build)


def test_battery_lead_by_hand() -> None:
    """58 V less 42 V through 10.001 kohm; straight into a suppressor of 1 ohm the same would be 16 A."""
    dump = next(s for s in battery.stresses() if s.name == "24 V load dump, suppressed")
    assert dump.lead_a == pytest.approx(16 / 10001)
    assert all(s.kept for s in battery.stresses())
    assert battery.full_scale_v() == pytest.approx(3.3 * 1041 / 91)


def test_as_sold_leakage_is_what_is_reckoned_with() -> None:
    """The plain build's clamp: the promise of the data sheet, in the rating and in the model."""
    part = tables.parts("plain")["clamp"]
    assert "at most 0.5 uA" in part.rating
    assert part.more["leakage_a"] == 0.5e-6


def _said_v() -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the ranges of build.md's check before a harness, USB off and on."""
    page = (Path(clamps.__file__).parent / "build.md").read_text("utf-8")
    off = re.search(r"read ([\d.]+) to ([\d.]+) V: the lead then takes 20 µA", page)
    on = re.search(r"Again with USB on: ([\d.]+) to ([\d.]+) V", page)
    assert off
    assert on
    return (float(off[1]), float(off[2])), (float(on[1]), float(on[2]))


@pytest.mark.parametrize("supply_v", [4.95, 5.05])
@pytest.mark.parametrize("series_ohm", [95e3, 105e3])
def test_a_right_rig_passes_the_check_before_a_harness(supply_v: float, series_ohm: float) -> None:
    """Unpowered the rail is taken at 0 V, where the lead takes most; lifted, with a diode, to 1.2 V it takes least."""
    off, on = _said_v()
    for state in clamps.STATES:
        low, high = off if state == "unpowered" else on
        read = clamps.harness_check_v("full", state=state, supply_v=supply_v, series_ohm=series_ohm)
        assert low <= read <= high, (state, read)
    assert off[0] <= (supply_v - 1.2) * series_ohm / (series_ohm + 308e3)


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_a_rig_that_takes_too_much_fails_the_check(share: float, alter: Alter) -> None:
    """One of the two R1 shorted; both so small that the lead takes 20 uA at 5.5 V."""
    alter("full", "r_top", each=154e3 * share)
    row = max(
        r.amps for r in clamps.tapped_currents("full") if r.lead_v == 5.5 and r.lead.startswith("signal")
    )
    assert row > 20e-6
    read = clamps.harness_check_v("full", state="unpowered", supply_v=4.95, series_ohm=100e3)
    assert read > _said_v()[0][1]


def test_the_motor_stays_off_while_the_chip_pulls_enable_down() -> None:
    """R41 against the chip's pull of 50 to 80 kohm and a module's of 100 kohm, rail 3.16 to 3.44 V as in first power.

    High for a driver is 0.7 of its supply (from memory).
    """
    page = (Path(clamps.__file__).parent / "build.md").read_text("utf-8")
    enable = tables.parts("driven")["r_enable"]
    weak, strong = enable.value * (1 + enable.tol), enable.value * (1 - enable.tol)
    low, high = 3.16 * 50e3 / (50e3 + weak), 3.44 * 80e3 / (80e3 + strong)
    assert f"without that command {low:.1f} to {high:.1f} V" in page
    both = 50e3 * 100e3 / 150e3
    least = 3.16 * both / (both + weak)
    assert f"{least:.1f} V or more" in page
    assert least > 0.7 * 3.16


def test_build_md_says_what_the_tap_ground_s_sum_means() -> None:
    """The one limit that is not kept: how much with USB out and in, and what to leave out where it counts."""
    sums = {
        n: {s: 1e6 * clamps.tap_ground_a("full", state=s, n_leads=n, lead_v=5.5) for s in clamps.STATES}
        for n in (1, 2, 3)
    }
    powered = {n: max(v for s, v in row.items() if s != "unpowered") for n, row in sums.items()}
    page = " ".join((Path(clamps.__file__).parent / "build.md").read_text("utf-8").split())
    off = [f"{row['unpowered']:.0f}" for row in sums.values()]
    assert f"{off[0]} µA with one of them at 5.5 V, {off[1]} with two, {off[2]} with three" in page
    assert f"with USB in {powered[2]:.0f} with two and {powered[3]:.0f} with three" in page
    assert sums[1]["unpowered"] < 20
    assert powered[2] < 20 < powered[3]
    assert "NOT kept" in page
