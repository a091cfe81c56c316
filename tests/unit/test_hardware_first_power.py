"""First power: right rigs pass every check, each wrong one is stopped at a check that names what is wrong."""

from __future__ import annotations

import numpy as np
import pytest
from hardware import first_power, netlist, ngspice
from hardware import first_power_read as read
from hardware.first_power_rig import METER_A, Wrong, right, wrong, wrongs
from hardware.tables_md import HERE

from sweeprig.frontend.tables import parts

N_RIGHT, N_WRONG, SEED = 1000, 20, 99  # the limits are taken from others: first_power.SEED


@pytest.mark.parametrize("build", ["plain", "full", "driven"])
def test_a_thousand_right_rigs_pass_every_check(build: str) -> None:
    rigs = right(build, n=N_RIGHT, seed=SEED)
    stopped = [c.where for c in first_power.checks(build) if not c.passes(rigs).all()]
    assert stopped == []
    assert first_power.SEED != SEED


@pytest.mark.parametrize(
    ("build", "what", "ref", "change"),
    [(b, *w) for b in ("plain", "full") for w in wrongs(b)],
    ids=lambda x: x if isinstance(x, str) else "",
)
def test_twenty_wrong_rigs_each_way_are_named(build: str, what: str, ref: str, change: Wrong) -> None:
    named = first_power.failed(build, wrong(build, change, n=N_WRONG, seed=SEED))
    assert len(named) == N_WRONG
    assert all(n is not None and ref in n for n in named), (what, set(named))


@pytest.mark.parametrize(("amps", "low", "high"), [(10e-6, 21.3e3, 22.8e3), (50e-6, 14.4e3, 19.2e3)])
def test_dead_lead_reads_as_an_independent_simulation_says(amps: float, low: float, high: float) -> None:
    """21.6 to 22.6 kohm at 10 uA and 14.6 to 19 kohm at 50 uA, nominal parts: another simulation of this circuit."""
    rigs = _nominal(amps)
    assert low < read.dead_signal_ohm(rigs)[0] < high
    check = next(c for c in first_power.checks("plain") if c.reading is read.dead_signal_ohm)
    assert check.low < 14.6e3
    assert check.high is None


def _nominal(amps: float):
    """One plain rig of nominal parts at 25 C, the meter at a test current, the dead board a light load."""
    rigs = right("plain", n=1, seed=1)
    for key, p in parts("plain").items():
        rigs.v[key] = np.array([p.value])
    low, high = METER_A["kilohm"]
    rigs.v |= {
        "celsius": np.array([25.0]), "meter_gain": np.ones(1), "lot clamp": np.ones(1), "board_ohm": np.array([20e3]),
        "meter_share": np.array([np.log(amps / low) / np.log(high / low)]), "rail": np.array([3.3]),
    }  # fmt: skip
    return rigs


@pytest.mark.ngspice
@pytest.mark.parametrize(("state", "amps"), [("unpowered", 10e-6), ("unpowered", 50e-6), ("running", 10e-6)])
def test_readings_agree_with_the_netlist(state: str, amps: float) -> None:
    """The same reading by ngspice, on the netlist of the whole front end."""
    text = netlist.board("plain", hookup="powered", state=state)
    text += f"\nI1 0 leada {amps:g}\nRb leadb 0 1k\nRs leads 0 1k"
    if state == "unpowered":
        text += "\nRboard rail 0 20k"
    got = ngspice.run(text, "op", "let volts=v(leada)", "print volts")["volts"] / amps
    rigs = _nominal(amps)
    ours = (read.dead_signal_ohm if state == "unpowered" else read.signal_ohm)(rigs)[0]
    assert ours == pytest.approx(got, rel=0.02)


def test_a_limit_that_is_too_narrow_stops_right_rigs(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the old limits did: 22.5 kohm and more on a dead lead, whatever the meter's current."""
    rigs = right("plain", n=N_RIGHT, seed=SEED)
    stopped = read.dead_signal_ohm(rigs) < 22.5e3
    assert stopped.mean() > 0.5


def test_the_page_says_how_one_meter_does_the_short_and_gp3() -> None:
    """Two readings of one moment, one meter in the list: a wire makes the short for the second."""
    page = (HERE / "first-power.md").read_text("utf-8")
    assert "a wire makes the short for the second" in " ".join(page.split())
    assert "keeps what a command set" in " ".join(page.split())
