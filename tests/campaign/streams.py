"""What comes from a board: garbage, damaged and lost bytes, an index that wraps, hours of a stream."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
from tests.campaign import mutate
from tests.campaign.tally import Attack, Try

from support.board_port import BoardPort
from sweepboard import wire
from sweeprig.bench.review.review import review_capture
from sweeprig.capture.assemble import capture_of_bytes
from sweeprig.capture.journal import JournalHead
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import run_sweep
from sweeprig.judge.model import Verdict
from sweeprig.link.client import RigClient
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import RECORD, Records
from sweeprig.twin.capture import play
from sweeprig.twin.sim_url import SimOptions
from sweeprig.twin.simulated import switch_on

SECONDS = 6.5  # of a sweep: three strokes and their rests
LONG_S = 20.0  # of the simulated rig's stream in one try
DAY_S = 86400.0


def sweep_of(sensor: str, seed: int = 3) -> Capture:
    """One sweep of a simulated sensor."""
    return play(sensor, seed=seed, seconds=SECONDS).capture


def frames(records: Records, *, first: int = 0) -> list[bytes]:
    """Return the packets of records as a board sends them; `first` is the wire's index of the first."""
    rows = np.zeros(len(records), RECORD)
    for name, values in (("sum", records.sums), ("min", records.mins), ("max", records.maxs)):
        rows["channels"][name] = values
    rows["position"], rows["flags"] = records.position, records.flags
    n = wire.RECORDS_PER_PACKET
    return [
        wire.encode(
            wire.RECORDS, at // n, (first + int(records.index[at])) & 0xFFFFFFFF, rows[at : at + n].tobytes()
        )
        for at in range(0, len(records), n)
    ]


def started(capture: Capture) -> bytes:
    """Return the answer to `start`, from which the index counts."""
    answer = {"id": 1, "ok": True, "window": capture.window}
    return wire.encode(wire.REPLY, 0, 0, json.dumps(answer).encode())


def taken(capture: Capture, data: bytes) -> Capture:
    """Return what a host makes of the bytes of a stream."""
    head = JournalHead(
        created=capture.created, rig=capture.rig, setup=capture.setup, window=capture.window,
        conversion_hz=capture.conversion_hz, n_windows=len(capture.records),
    )  # fmt: skip
    return capture_of_bytes(head, data, ended="complete")


def differing(found: Records, sent: Records) -> int:
    """Return how many records are not as they were sent."""
    known = (found.index >= 0) & (found.index < len(sent))
    rows = found.index[known]
    same = (found.sums[known] == sent.sums[rows]).all(axis=1) & (found.maxs[known] == sent.maxs[rows]).all(
        axis=1
    )
    return int((~known).sum() + (~same).sum())


def garbage(folder: Path) -> Try:
    """Bytes of no board, packets among them: no record that was not sent."""
    del folder
    capture = sweep_of("good")
    packets = frames(capture.records)

    def attempt(random: Random, own: Path) -> str:
        del own
        data = bytearray()
        for _ in range(random.randrange(1, 40)):
            data += random.choice(
                (random.choice(packets), random.randbytes(random.randrange(2000)), bytes(9))
            )
        decoder = Decoder()
        pieces = [data[at : at + 777] for at in range(0, len(data), 777)]
        found = [e for piece in pieces for e in decoder.feed(bytes(piece))] + decoder.flush_text()
        sums = {tuple(row) for row in capture.records.sums.tolist()}
        wrong = [r for e in found if isinstance(e, Records) for r in e.sums.tolist() if tuple(r) not in sums]
        return f"{len(wrong)} records that nobody sent" if wrong else ""

    return attempt


def damaged(folder: Path) -> Try:
    """A good sensor's stream with bytes changed: records as sent or none, and never a FAIL."""
    del folder
    capture = sweep_of("good")
    whole = started(capture), b"".join(frames(capture.records))

    def attempt(random: Random, own: Path) -> str:
        del own
        data = whole[1]
        for _ in range(random.choice((1, 1, 10, 60))):
            data = mutate.of_bytes(data, random)
        found = taken(capture, whole[0] + data)
        if n := differing(found.records, capture.records):
            return f"{n} records other than sent"
        return _not(Verdict.FAIL, found) if found.ended == "complete" and len(found.records) > 500 else ""

    return attempt


def _not(verdict: Verdict, capture: Capture) -> str:
    judged = review_capture(capture).judgement
    return f"{verdict}: {judged.reason:.200}" if judged.verdict is verdict else ""


def losses(folder: Path) -> Try:
    """Stalls and lost packets of a good sensor's stream, the first among them: never a FAIL, ends never exchanged."""
    del folder
    made = [sweep_of("good", seed) for seed in range(3)]
    closed = [review_capture(c).judgement.quantities["closed_v"].value or 0.0 for c in made]

    def attempt(random: Random, own: Path) -> str:
        del own
        which = random.randrange(3)
        keep = np.ones(len(made[which].records), np.bool_)
        for _ in range(random.choice((1, 2, 5, 30))):
            at, n = random.choice((0, random.randrange(keep.size))), random.choice((16, 64, 300, 1500))
            keep[at : at + n] = False
        capture = replace(made[which], records=made[which].records[keep])
        judged = review_capture(capture).judgement
        found = judged.quantities["closed_v"].value if "closed_v" in judged.quantities else None
        if found is not None and abs(found - closed[which]) > 0.1:
            return f"closed throttle at {found:.2f} V instead of {closed[which]:.2f} V"
        return f"fail: {judged.reason:.200}" if judged.verdict is Verdict.FAIL else ""

    return attempt


def hidden(folder: Path) -> Try:
    """A loss, or conversions called bad, right on the one dropout: never a PASS."""
    del folder
    spikes = [sweep_of("one-spike", seed) for seed in range(3)]
    events = [review_capture(c).analysis.events for c in spikes]
    pairs = [(c, e[0]) for c, e in zip(spikes, events, strict=True) if e]

    def attempt(random: Random, own: Path) -> str:
        del own
        capture, event = random.choice(pairs)
        t = capture.records.index * capture.window_s
        before, after = random.choice((0.004, 0.02, 0.3)), random.choice((0.004, 0.02, 0.3))
        hole = (t > event.start_s - before) & (t < event.start_s + event.duration_s + after)
        if random.random() < 0.5:
            return _not(Verdict.PASS, replace(capture, records=capture.records[~hole]))
        flags = capture.records.flags.copy()
        flags[hole] |= wire.FLAG_CONVERSION_ERROR
        return _not(Verdict.PASS, replace(capture, records=replace(capture.records, flags=flags)))

    return attempt


def wraps(folder: Path) -> Try:
    """The wire's 32 bits run over in the stream (by seam: after 49 days): the index goes on, holes included."""
    del folder
    capture = sweep_of("good")
    n = wire.RECORDS_PER_PACKET

    def attempt(random: Random, own: Path) -> str:
        del own
        first = (1 << 32) - random.randrange(n, len(capture.records) - n)
        packets = frames(capture.records, first=first)
        kept = [k for k in range(len(packets)) if k == 0 or random.random() > random.choice((0.0, 0.3))]
        decoder = Decoder()
        found = [e for e in decoder.feed(b"".join(packets[k] for k in kept)) if isinstance(e, Records)]
        records = Records.concatenate(found)
        wanted = np.concatenate([capture.records.index[k * n : (k + 1) * n] for k in kept])
        if not np.array_equal(records.index - records.index[0], wanted):
            return f"index off by {int(np.abs(records.index - records.index[0] - wanted).max())}"
        return ""

    return attempt


def long_stream(folder: Path) -> Try:
    """A stretch of a day's stream of the simulated rig at full pace, journal and all: nothing is lost."""

    def attempt(random: Random, own: Path) -> str:
        options = SimOptions("good", seed=random.randrange(1000), pace="fast", vm="cpython")
        client = RigClient(BoardPort(switch_on(options)[0]))
        began = time.monotonic()
        try:
            capture = run_sweep(client, SweepSetup(seconds=LONG_S), folder=own)
        finally:
            client.close()
        _note_pace(folder, time.monotonic() - began)
        whole = (capture.n_lost, capture.bad_frames, capture.ended) == (0, 0, "complete")
        return "" if whole else f"{capture.n_lost} lost, {capture.bad_frames} bad frames, {capture.ended}"

    return attempt


def _note_pace(folder: Path, took_s: float) -> None:
    """Print how much of a day has run so far, and at what pace."""
    done = folder / "done"
    total = (float(done.read_text()) if done.exists() else 0.0) + LONG_S
    done.write_text(str(total))
    print(
        f"\r  stream: {total:.0f} s, a day / {DAY_S / total:.0f}, at {LONG_S / took_s:.1f} times its pace",
        end="",
    )


def _bad_conversions(folder: Path) -> Try:
    """Conversions called bad, which read as anything: a good sensor never fails, a bad one never passes by them."""
    del folder
    good, worn = sweep_of("good"), sweep_of("worn")

    def marked(capture: Capture, random: Random) -> Any:
        records = capture.records
        bad = np.random.default_rng(random.randrange(1 << 30)).random(len(records)) < random.choice(
            (2e-4, 0.01, 0.9)
        )
        sums, flags = records.sums.copy(), records.flags.copy()
        sums[bad] = random.choice((0, 4095)) * wire.WINDOW
        flags[bad] |= wire.FLAG_CONVERSION_ERROR
        return replace(capture, records=replace(records, sums=sums, flags=flags))

    def attempt(random: Random, own: Path) -> str:
        del own
        if random.random() < 0.5:
            return _not(Verdict.FAIL, marked(good, random))
        return _not(Verdict.PASS, marked(worn, random))

    return attempt


ATTACKS: dict[str, Attack] = {
    "stream, garbage": garbage,
    "stream, damaged bytes": damaged,
    "stream, losses": losses,
    "stream, hidden dropout": hidden,
    "stream, bad conversions": _bad_conversions,
    "stream, index wraps": wraps,
    "stream, part of 24 h": long_stream,
}
