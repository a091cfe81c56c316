"""Rigs as they should not be: of another version, on a hub that resets, on leads with voltage, asked in any order."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any

from tests.campaign import mutate
from tests.campaign.tally import Attack, Try

from support.diary import moved
from support.faces import UNWATCHED
from support.fake_rig import HELLO
from support.scripted_rig import FULL, Outputs, Reading, ScriptedRig
from sweepboard import wire
from sweeprig.bench.sweep.sweep import SweepOrder, take
from sweeprig.capture.file import read_capture
from sweeprig.capture.model import SweepSetup
from sweeprig.capture.sweep import recover
from sweeprig.errors import SweeprigError
from sweeprig.link.client import RigClient
from sweeprig.words import Hookup

PARTS = Path(__file__).parents[1] / "firmware" / "service_parts"
POWERED = SweepSetup(seconds=1.5, confirmed=("plug-off: said",))
TAPPED = SweepSetup(
    seconds=1.5, hookup=Hookup.TAPPED, track_ohm=5000.0, confirmed=("laptop-battery: said", "usb-first: said")
)


def swept(rig: ScriptedRig, folder: Path, setup: SweepSetup = POWERED) -> Path | None:
    """Sweep; None where it was refused. An error of ours is an answer, any other goes on to the caller."""
    order = SweepOrder(setup, folder, folder / "calibrations", timed=True)
    try:
        return take(RigClient(rig, clock=rig.clock), order, watch=UNWATCHED)[1]
    except SweeprigError:
        return None


def still_on(rig: ScriptedRig) -> str:
    """Return what the rig feeds; "" where it lets go."""
    out = rig.out
    return "fed after the end" if out.supply or out.burden or out.bias != "off" else ""


def hub(folder: Path) -> Try:
    """A hub that resets: the port goes at any packet. What came is kept, and the next sweep goes well."""
    del folder

    def attempt(random: Random, own: Path) -> str:
        rig = ScriptedRig(moved)
        rig.lost_after = random.randrange(1, 130)
        path = swept(rig, own)
        whole = ScriptedRig(moved)
        again = swept(whole, own)
        if again is None or len(read_capture(again).records) < 1400:
            return "the sweep after it did not go well"
        if list(own.glob("*.journal")) or recover(own):
            return "a journal was left behind"
        n = 0 if path is None else len(read_capture(path).records)
        captured = (
            len(rig.did("start")) > 1 and rig._index > 300
        )  # the first look at the sensor keeps nothing
        return f"{n} records kept of {rig._index}" if captured and n < rig._index - 200 else still_on(whole)

    return attempt


def versions(folder: Path) -> Try:
    """Boards of other versions: a hello that lacks, changes or adds what it says; frames of another protocol."""
    del folder

    def attempt(random: Random, own: Path) -> str:
        hello = mutate.of_plain({**HELLO, "capabilities": FULL, "chip": "rp2040"}, random)
        if not isinstance(hello, dict):
            hello = {}
        rig = ScriptedRig(moved)
        rig.hello = hello
        if random.random() < 0.2:
            rig.hello["protocol"] = random.choice((0, wire.PROTOCOL - 1, wire.PROTOCOL + 1, 255))
        for name in random.sample(
            ("slow", "burden", "snapshots", "supply", "start", "stop"), random.randrange(3)
        ):
            rig.refuse[name] = random.choice(
                (("unknown-command", "what is that?"), ("not-fitted", ""), ("busy", ""))
            )
        setup = random.choice((POWERED, TAPPED))
        path = swept(rig, own, setup)
        if path is not None:
            read_capture(path)
        refuses = {"supply", "burden"} & set(rig.refuse) or "supply-switch" not in str(hello)
        return "" if refuses else still_on(rig)

    return attempt


def leads(folder: Path) -> Try:
    """Leads with any voltage on them: nothing is fed into a sensor that is fed, or tapped."""
    del folder

    def attempt(random: Random, own: Path) -> str:
        there = [random.choice((0.0, 0.1, random.uniform(0.4, 5.2))) for _ in range(3)]
        fed: list[bool] = []

        def volts(o: Outputs) -> Reading:
            fed.append(o.supply or o.burden)
            return (there[0], there[1], there[2])

        rig = ScriptedRig(volts)
        setup = random.choice((POWERED, TAPPED))
        swept(rig, own, setup)
        live = max(there) > 0.35 or setup is TAPPED
        return f"fed with {there} V there" if live and any(fed) else still_on(rig)

    return attempt


@contextmanager
def _parts() -> Iterator[ModuleType]:
    import sys

    sys.path.insert(0, str(PARTS))
    try:
        spec = importlib.util.spec_from_file_location("campaign_supply_program", PARTS / "supply_program.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        yield module
    finally:
        sys.path.remove(str(PARTS))


def orders(folder: Path) -> Try:
    """The firmware's service, asked in any order while leads are swapped: no fed or tapped sensor is fed."""
    del folder
    with _parts() as module:
        play: Any = module.run

    def say(cmd: str, **args: Any) -> tuple[str, Any]:
        return "say", (cmd, args)

    def step(random: Random) -> tuple[str, Any]:
        return random.choice(
            (
                say("supply", on=random.random() < 0.8),
                say("supply", on=True),
                say("start", hookup=random.choice(("powered", "powered", "tapped", "x", None))),
                say("burden", on=random.random() < 0.6),
                say("bias", mode=random.choice(("up", "down", "off", 3))),
                say("ramp", leg_ms=random.choice((0, 1000, -1))),
                say(random.choice(("stop", "hello", "selfcheck", "status", "prompt", "nonsense"))),
                say("histogram", channel=random.choice((0, 9)), windows=3),
                say("drive", action="goto", position=5),
                ("go", random.choice((1, 2, 5, 30))),
                ("silent", random.choice((1, 30, 700))),
                ("lead", random.choice(("powered", "tap", "none"))),
                ("harness", random.random() < 0.5),
                ("converts", random.random() < 0.7),
            )
        )

    def attempt(random: Random, own: Path) -> str:
        del own
        program = json.loads(json.dumps([step(random) for _ in range(random.randrange(2, 16))]))
        return "; ".join(play(program))[:200]

    return attempt


ATTACKS: dict[str, Attack] = {
    "rig, hub resets": hub,
    "rig, other versions": versions,
    "rig, voltage on leads": leads,
    "rig, any order": orders,
}
