"""The sensor's supply of the full and driven builds: 5.00 V within 1 %, simulated part by part."""

from __future__ import annotations

import random
from functools import lru_cache

import pytest
from hardware import netlist_supply, ngspice
from hardware.compare_regulated import regulated_rows
from hardware.compare_rows import Compared
from hardware.compare_supply import fed

from sweeprig.frontend import front_end
from sweeprig.frontend.supply import regulated
from sweeprig.frontend.tables import parts

pytestmark = pytest.mark.ngspice
SET = ("reference", "r_feedback_top", "r_feedback_bottom", "r_feedback_hold", "r_reference")


@lru_cache(maxsize=1)
def rows() -> dict[str, Compared]:
    return {r.name: r for r in regulated_rows("full")}


def drawn(seed: int, *, amps: float, stage_v: float) -> float:
    """Return the simulated supply of one rig whose parts are drawn within their tolerances."""
    rng, p = random.Random(seed), parts("full")
    changed = {k: p[k].value * (1 + rng.choice((-1, 1)) * p[k].tol) for k in SET}
    drift = p["reference"].more["drift_per_k"] * 25.0
    changed["reference"] *= 1 + rng.choice((-1, 1)) * drift
    changed["offset_v"] = rng.choice((-1, 1)) * p["error_amp"].more["offset_v"]
    lead = f"Ilead out 0 {amps:g}\nVboost boost 0 {stage_v:g}\nVon on 0 3.3"
    text = netlist_supply.supply("full", lead=lead, changed=changed)
    return ngspice.run(text, "op", "let volts=v(out)", "print volts")["volts"]


def test_five_volts_within_one_percent_at_every_corner() -> None:
    held = regulated(parts("full"))
    assert held is not None
    got = [
        drawn(seed, amps=amps, stage_v=stage)
        for seed in range(12)
        for amps, stage in ((0.0, held.boost_high_v), (0.020, held.boost_low_v), (0.040, held.boost_low_v))
    ]
    assert max(got) < 5.05
    assert min(got) > 4.95
    low, high = front_end("full").supply_range_v(current_a=0.02)
    assert low - 2e-3 < min(got)
    assert max(got) < high + 2e-3
    assert max(got) - min(got) > 0.02  # the draw does move it


def test_figures_of_the_regulated_supply_agree_and_fit() -> None:
    failed = [" | ".join(r.cells()) for r in rows().values() if not r.agrees or r.kept is False]
    assert not failed, "\n".join(failed)
    assert regulated_rows("plain") == []


def test_ripple_of_the_step_up_stays_below_half_a_code() -> None:
    row = rows()["ripple of the supply at the lead, in codes"]
    assert 0 < row.simulated < 0.5


def test_without_the_filter_the_step_up_s_ripple_would_show() -> None:
    """What L2 is for: without it more than the 20 mV that the loop is reckoned with come to the limiter."""
    load = f"Rshort boost top 0.01\nIload top 0 0.04\nCtop top 0 {parts('full')['c_supply'].value:g}"
    got = ngspice.run(
        netlist_supply.step_up(usb_v=4.4, load=load),
        "tran 0.5u 4m 2m 0.5u uic", "let ripple=vecmax(v(top))-vecmin(v(top))", "print ripple",
        options=ngspice.QUICK,
    )  # fmt: skip
    assert got["ripple"] > 0.06


@pytest.mark.parametrize("wrong", ["no LINK", "pin low"])
def test_the_regulated_supply_is_off_without_its_lead_or_its_pin(wrong: str) -> None:
    """Q6's foot goes through Q4 to LINK; the reference hangs on the pin. Either alone keeps the lead dead."""
    text = fed("full", lead="Rlead out 0 10k", on=wrong != "pin low")
    if wrong == "no LINK":
        text = text.replace("B4 drain 0", "Bopen drain nowhere").replace("V(drain)*", "V(drain,nowhere)*")
        text += "\nRnowhere nowhere 0 1e9"
    got = ngspice.run(text, "op", "let volts=v(out)", "print volts")
    assert abs(got["volts"]) < 0.02


def test_the_end_of_a_short_does_not_hurt_a_sensor() -> None:
    """The amplifier comes back from its stop: the lead may pass 5 V, never the step-up's voltage, and not for long."""
    text = fed("full", lead="Bshort out 0 I=V(out)*(time>40m && time<45m ? 1 : 5e-4)")
    got = ngspice.run(
        text, "tran 2u 52m 39m 2u", "let most=vecmax(v(out))", "let last=v(out)[length(v(out))-1]",
        "let above=v(out)-5.2", "meas tran long trig above val=0 rise=1 targ above val=0 fall=1",
        "let took=long", "print most", "print last", "print took",
        options=ngspice.QUICK,
    )  # fmt: skip
    assert got["most"] < 6.6
    assert got["last"] == pytest.approx(front_end("full").supply_set_v, abs=0.01)
    assert got["took"] < 2e-3
