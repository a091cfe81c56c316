"""One simulated rig's way into the vehicle and back, its board under MicroPython's unix port."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from support.pythons import micropython
from sweepboard import wire
from sweeprig import twin
from sweeprig.bench.field import collect as bringing
from sweeprig.bench.field.send import send
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.sweep.sweep import SweepOrder
from sweeprig.capture.model import Hookup, SweepSetup
from sweeprig.link.client import RigClient
from sweeprig.link.transport import open_port
from sweeprig.twin.sensors import load_sensor
from sweeprig.twin.sim_url import parse
from sweeprig.twin.simulated import identity
from sweeprig.twin.world import World

PARTS = Path(__file__).parents[1] / "firmware"
FIRMWARE = PARTS.parent.parent / "firmware"
PATH = f"{FIRMWARE}:{PARTS / 'keep_parts'}:{PARTS / 'service_parts'}"
CONFIRMED = ("cautions", "usb-first", "plug-off")
OUTPUTS = {"tapped": wire.OUT_TAPPED, "powered": wire.OUT_SUPPLY | wire.OUT_BURDEN}


@dataclass
class Trip:
    """One rig's way: its flash in a file, its sensor's conversions in another."""

    folder: Path
    hookup: str
    home: Path | None = None  # where captures and records go; None: the folder

    @property
    def url(self) -> str:
        return f"sim://good?board=full&pace=fast&vm=cpython&kept={self.folder / 'flash'}"

    @property
    def codes(self) -> Path:
        return self.folder / f"{self.hookup}.codes"

    def draw(self) -> None:
        """Draw what the converter gives while somebody moves the lever four times."""
        spec = load_sensor("good")
        hand = replace(spec.hand, first_rest_s=(1.0, 1.1), stroke_s=(1.0, 1.2), rest_s=(0.7, 0.8), strokes=4)
        world = World(replace(spec, hand=hand), seed=4, build="full", pooled_noise=True, chunk=500)
        raw = world.raw(9600, OUTPUTS[self.hookup])
        self.codes.write_bytes(np.ascontiguousarray(raw, "<u2").tobytes())

    def setup(self) -> SweepSetup:
        return SweepSetup(
            hookup=Hookup(self.hookup),
            setting="vehicle",
            job="0417",
            sensor_label="pedal",
            vehicle_drive="combustion",
        )

    def board(self, *words: str) -> list[str]:
        """Run the board with nobody there, or with a live host; return the lines it printed."""
        who = self.folder / "identity.json"
        who.write_text(json.dumps(identity(parse(self.url))))
        command = [micropython(), "-X", "heapsize=64m"]
        done = subprocess.run(
            [*command, str(PARTS / "keep_parts" / "vehicle.py"), words[0], str(self.folder / "flash"), str(who),
             str(self.codes), *words[1:]],
            env=os.environ | {"MICROPYPATH": PATH}, capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
        assert not done.stderr, done.stderr
        assert "Traceback" not in done.stdout, done.stdout
        return done.stdout.splitlines()

    @contextmanager
    def host(self) -> Iterator[RigClient]:
        twin.register()
        client = RigClient(open_port(self.url))
        try:
            client.hello()
            yield client
        finally:
            client.close()

    def send(self, **more: Any) -> Any:
        with self.host() as client:
            return send(
                client,
                self.setup(),
                Unattended(CONFIRMED),
                sweeps=3,
                seconds=9.0,
                sleep=lambda _: None,
                **more,
            )

    def base(self) -> SweepOrder:
        home = self.home or self.folder
        records = str(home / "records")
        return SweepOrder(SweepSetup(), home / "captures", home / "calibrations", records_url=records)

    def collect(self, *, remove: bool = False) -> list[bringing.Collected]:
        with self.host() as client:
            return list(bringing.collect(client, self.base(), remove=remove))


def sent_out(trip: Trip) -> Trip:
    """Return the rig after it was sent out, has kept two sweeps, and lost its power in the third."""
    trip.draw()
    trip.send()
    said = trip.board("keep", "3", "9")
    assert json.loads(said[-1]) == ["kept", "kept", "runs"]  # and then the power went
    return trip
