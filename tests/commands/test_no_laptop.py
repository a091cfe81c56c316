"""From the order to the sheets with nobody at the board in between, under MicroPython's unix port.

Sent by a host, kept by three presses of which the power cuts the last, brought home by a host: what comes home is what
a host would have received live, and is judged the same.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sweepboard import flash_page, pack, wire
from sweeprig import twin
from sweeprig.bench.field import collect as bringing
from sweeprig.bench.field.kept import KEPT, Kept, frames
from sweeprig.bench.field.order import read_order
from sweeprig.bench.field.send import send
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.review.result import to_result
from sweeprig.bench.review.review import review_capture
from sweeprig.bench.sweep.run import cut_to
from sweeprig.bench.sweep.sweep import SweepOrder
from sweeprig.bench.sweep.trigger import LEAD_S
from sweeprig.capture.assemble import capture_of_bytes
from sweeprig.capture.file import read_capture
from sweeprig.capture.journal import JournalHead
from sweeprig.capture.model import Hookup, SweepSetup
from sweeprig.errors import BoardRefusedError, InputError, SafetyError
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
pytestmark = pytest.mark.micropython


@dataclass
class Trip:
    """One rig's way: its flash in a file, its sensor's conversions in another."""

    folder: Path
    hookup: str

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
        beside = Path(sys.executable).with_name("micropython")
        who = self.folder / "identity.json"
        who.write_text(json.dumps(identity(parse(self.url))))
        command = [str(beside) if beside.exists() else "micropython", "-X", "heapsize=64m"]
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
        records = str(self.folder / "records")
        return SweepOrder(
            SweepSetup(), self.folder / "captures", self.folder / "calibrations", records_url=records
        )

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


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory) -> Trip:
    """A rig that is back, tapped."""
    return sent_out(Trip(tmp_path_factory.mktemp("trip"), "tapped"))


@pytest.fixture(scope="module")
def home(trip: Trip) -> list[bringing.Collected]:
    """What came home."""
    return trip.collect()


def live_messages(trip: Trip) -> list[tuple[int, int, bytes]]:
    """Return what a host gets live of the same hand, answers left out."""
    out = trip.folder / "live"
    trip.board("live", str(out), trip.hookup)
    runs = [wire.open_message(run) for run in out.read_bytes().split(b"\0") if run]
    answers = (wire.REPLY, wire.HELLO, wire.STATUS)
    return [(m[0], m[3], bytes(m[4])) for m in runs if m is not None and m[0] not in answers]


def test_two_come_home_whole_and_the_third_is_named_as_cut(home: list[bringing.Collected]) -> None:
    assert [one.kept.word for one in home] == ["kept", "kept", "cut"]
    assert [one.problem for one in home] == ["", "", ""]
    assert len(home[2].kept.data) > 1000


def content(messages: list[tuple[int, int, bytes]], first: int, last: int) -> bytes:
    """Return what a stream says from one window to another as one row of frames, a record in each.

    How many records share a packet depends on when a host or a memory takes them; every other byte is compared.
    """
    found = []
    for kind, index, data in messages:
        size = wire.RECORD_SIZE if kind == wire.RECORDS else max(1, len(data))
        found += [
            (index + at // size, kind, data[at : at + size]) for at in range(0, max(1, len(data)), size)
        ]
    there = sorted(f for f in found if first <= f[0] <= last and f[2])
    return b"".join(wire.encode(kind, i, index, data) for i, (index, kind, data) in enumerate(there))


def check_like_live(trip: Trip, sweeps: list[Kept]) -> None:
    live = live_messages(trip)
    for one in sweeps:
        kept = list(pack.entries(one.data, wire.WINDOW))
        assert frames(one, wire.WINDOW)
        first = min(index for kind, index, _ in kept if kind == wire.RECORDS)
        last = max(
            index + len(data) // wire.RECORD_SIZE - 1 for kind, index, data in kept if kind == wire.RECORDS
        )
        ours = content(kept, first, last)
        assert len(ours) > 100_000
        assert ours == content(live, first, last)


def test_kept_sweeps_are_byte_for_byte_what_a_live_host_gets(
    trip: Trip, home: list[bringing.Collected]
) -> None:
    check_like_live(trip, [one.kept for one in home[:2]])


def test_powered_sweeps_are_byte_for_byte_those_of_a_live_host(tmp_path: Path) -> None:
    trip = sent_out(Trip(tmp_path, "powered"))
    with trip.host() as client:
        listed = bringing.look(client).sweeps
        sweeps = [bringing.fetch(client, one, lambda n, of: None) for one in listed]
    assert [one.word for one in sweeps] == ["kept", "kept", "cut"]
    check_like_live(trip, sweeps[:2])


def test_verdict_and_findings_are_those_of_the_live_sweep(trip: Trip, home: list[bringing.Collected]) -> None:
    for one in home[:2]:
        assert one.done is not None
        ours = one.done.outcome.capture
        assert ours is not None
        head = JournalHead(
            "2000-01-01T00:00:00+00:00",
            ours.rig,
            ours.setup,
            ours.window,
            ours.conversion_hz,
            calibration=ours.calibration,
        )
        live = capture_of_bytes(head, (trip.folder / "live").read_bytes(), ended="complete")
        live = replace(live, records=live.records[live.records.index <= ours.records.index[-1]])
        start_s = one.kept.head["start"] * live.window_s
        theirs = review_capture(cut_to(live, start_s - LEAD_S))
        assert judged(one.done.outcome) == judged(theirs)
        assert str(one.done.outcome.judgement.verdict) in {"pass", "fail", "undecided"}


def judged(outcome: Any) -> dict[str, Any]:
    """Return the result without what tells one file from another."""
    result = to_result(outcome)
    return {
        k: v
        for k, v in result.items()
        if k not in {"created", "capture", "source", "made_at", "capture_sha256"}
    }


def test_captures_say_where_they_were_kept_and_how_timed(home: list[bringing.Collected]) -> None:
    for number, one in enumerate(home, 1):
        assert one.path is not None
        capture = read_capture(one.path)
        line = next(text for text in capture.setup.prepared if text.startswith(KEPT))
        assert f"sweep {number} of order" in line
        assert "the time of the sweep is not known" in line  # the board was off in between
        assert "at sending" in capture.setup.confirmed[0]
        assert capture.setup.job == "0417"
        assert one.done is not None
        assert all(path.is_file() for path in one.done.sheets)
    assert home[2].path is not None
    assert read_capture(home[2].path).ended == "recovered"


def test_a_second_collecting_writes_and_judges_nothing_twice(
    trip: Trip, home: list[bringing.Collected]
) -> None:
    from sweeprig.records.store import open_store

    before = sorted((trip.folder / "captures").iterdir())
    again = trip.collect()
    assert [one.done for one in again] == [None, None, None]
    assert [one.path for one in again] == [one.path for one in home]
    assert sorted((trip.folder / "captures").iterdir()) == before
    with open_store(trip.folder / "records") as store:
        assert store.count() == 3


def test_a_new_order_waits_until_the_old_sweeps_are_home(trip: Trip, home: list[bringing.Collected]) -> None:
    with pytest.raises(InputError, match="sweeps on the board"):
        trip.send()


def test_the_last_word_removes_only_what_is_on_disk(trip: Trip, home: list[bringing.Collected]) -> None:
    assert home[0].path is not None
    assert home[1].path is not None
    home[0].path.unlink()  # lost here: it is written again before it may go
    home[1].path.write_bytes(home[1].path.read_bytes()[:-100])  # damaged here
    removed = trip.collect(remove=True)
    with trip.host() as client:
        left = bringing.look(client)
    assert [one.removed for one in removed] == [True, True, True]
    assert left.sweeps == ()
    assert left.order is not None
    for one in removed:
        assert one.path is not None
        assert len(read_capture(one.path).records) > 100
    assert trip.send().order.sweeps == 3


def test_nothing_is_sent_that_nobody_confirmed(tmp_path: Path) -> None:
    trip = Trip(tmp_path, "powered")
    with trip.host() as client, pytest.raises(SafetyError, match="plug"):
        send(client, trip.setup(), Unattended(("cautions", "usb-first")), sweeps=3, sleep=lambda _: None)
    assert not (tmp_path / "flash").exists()


def test_the_board_refuses_a_powered_order_with_the_plug_on(tmp_path: Path) -> None:
    trip = Trip(tmp_path, "powered")
    sent = trip.send()
    rules = json.loads(sent.order.text) | {"plug_off": False}
    with trip.host() as client, pytest.raises(BoardRefusedError, match="plug is off"):
        client.command("keep_order", text=json.dumps(rules))


def test_an_order_comes_back_as_it_was_sent(tmp_path: Path) -> None:
    trip = Trip(tmp_path, "tapped")
    sent = trip.send(now=lambda: datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)).order
    back = read_order(sent.text)
    assert back.setup == replace(sent.setup, prepared=(), profile_text="")
    assert (back.id, back.sent, back.rules) == (sent.id, sent.sent, sent.rules)
    assert len(json.dumps({"order": sent.text})) < 12 * flash_page.ROOM
