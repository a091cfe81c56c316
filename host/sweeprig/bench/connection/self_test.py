"""The self-test of a board with nothing on its leads, as a report that the user can send in.

docs/reference/firmware.md lists what only silicon can show; the numbers there are those of the steps here.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sweepboard import wire
from sweepboard.drive import COUNTS
from sweeprig.bench.board.words import board_words
from sweeprig.bench.readings import live
from sweeprig.errors import LinkError
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Gap, Histogram, Message, Records, SlowReading

STREAM_S = 10.0
RATE_PERCENT = (
    0.5  # by the host's clock over STREAM_S; a crystal is good to 0.01 %, the host's polls to some ms
)
COUNTED = 200  # windows of the histogram
SILENCE_S = wire.KEEP_ALIVE_MS / 1000 + 1.0
MOST_SILENT = 100  # polls without a word
FUNCTIONS = {  # of a board, where its own name says too little
    "guaranteed-tap": "tapped hookup",
    "monitor": "second converter (slow, precise)",
    "ramp": "ramp for calibrate ramp",
    "snapshots": "close-ups of single dropouts",
    "keep": "sweeps without a laptop",
    "histogram": "counting of converter readings (ADC codes)",
    "bias": "pull on open leads",
    "battery": "lead for the vehicle's battery",
    "buffered": "high-resistance inputs",
    "burden": "resistors that pull an open signal down",
    "ground-sense": "lead for the sensor's ground",
    "drive": "motor that turns the sensor",
}
LEAST_BLOCK = 4096  # [bytes] that the service needs at once: its longest message


@dataclass(frozen=True)
class Step:
    """One thing that was tried."""

    name: str
    seen: str
    expected: str
    good: bool | None  # None: could not be tried here


@dataclass(frozen=True)
class SelfTest:
    """Results of all steps."""

    hello: Mapping[str, Any]
    steps: tuple[Step, ...]

    @property
    def good(self) -> bool:
        """Whether nothing was found wrong."""
        return all(step.good is not False for step in self.steps)

    def lines(self) -> list[str]:
        """Return the report."""
        rig = self.hello
        out = [board_words(rig)]
        has = sorted(FUNCTIONS.get(c, c) for c in rig.get("capabilities", ()))
        out.append(f"It has: {', '.join(has) or 'no extra functions'}")
        words = {True: "good", False: "WRONG", None: "not judged"}
        for number, step in enumerate(self.steps, 1):
            out.append(f"{number}. {step.name}: {words[step.good]}. {step.seen}; expected: {step.expected}")
        n = sum(step.good is False for step in self.steps)
        judged = sum(step.good is not None for step in self.steps)
        rest = len(self.steps) - judged
        what = f"{n} wrong" if n else "no fault seen in them"
        more = f" The other {rest} need a real board." if rest and rig.get("simulated") else ""
        return [*out, f"{judged} of {len(self.steps)} steps judged: {what}.{more}"]


def self_test(
    client: RigClient,
    *,
    simulated: bool = False,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> SelfTest:
    """Try everything, with nothing on the leads; all is off in the end. Raises LinkError where the board is lost."""
    hello = client.hello(again=True)
    check = hello.get("self_check", {})
    client.quiet()
    live.release(client)
    steps = [_checked(check), _memory(check)]
    steps += [_encoder(client)] if live.has(client, "drive") else []
    steps += _streamed(client, clock, simulated=simulated)
    steps.append(_left_alone(client, sleep, simulated=simulated))
    return SelfTest(hello, tuple(steps))


def _checked(check: Mapping[str, Any]) -> Step:
    problems = check.get("problems")
    seen = "the board sent no self-check result" if problems is None else "; ".join(problems) or "no problem"
    facts = ", ".join(
        f"{key} {check[key]}" for key in ("temperature_c", "vsys_v", "smps", "codes") if key in check
    )
    shown = f"{seen} ({facts})" if facts else seen
    return Step("self-check", shown, "no problem", None if problems is None else not problems)


def _memory(check: Mapping[str, Any]) -> Step:
    block = check.get("largest_block")
    seen = (
        "the board sends no figures of its memory"
        if block is None
        else f"largest free block {block} bytes of {check.get('free_bytes', 'unknown')} free"
    )
    return Step(
        "memory", seen, f"{LEAST_BLOCK} bytes or more", None if block is None else block >= LEAST_BLOCK
    )


def _encoder(client: RigClient) -> Step:
    """Read the angle of a driven build's shaft; the motor stays off."""
    at = int(client.command("drive", action="where")["position"])
    known = at != wire.NO_POSITION
    seen = f"at {at * 360 / COUNTS:.1f} degrees" if known else "no answer, or no magnet"
    return Step("angle encoder", seen, "an angle", known)


def _streamed(client: RigClient, clock: Callable[[], float], *, simulated: bool) -> list[Step]:
    """Stream for STREAM_S with a histogram and, where fitted, slow readings and a blinking light on the way.

    On a board with a radio each change of its own light goes through the radio's chip.
    """
    counted = live.has(client, "histogram")
    lost_before = client.counts.n_sequence_lost
    slow_too = live.has(client, "monitor")
    with live.streaming(client, "powered"):
        if slow_too:
            live.switch(client, "slow", every_ms=100)
        if counted:
            client.command("histogram", channel=0, windows=COUNTED)
        blinks = live.has(client, "light") and live.switch(client, "light", mode="fast")
        messages, took_s, n, holes = _received(client, clock)
        figures = client.stop()
        if blinks:
            live.switch(client, "light", mode="off")
    rate_hz, wanted_hz = n / took_s if took_s else 0.0, 1 / client.window_s
    away = 100 * (rate_hz / wanted_hz - 1)
    lost = (
        holes
        + figures["windows_dropped"]
        + figures["conversions_lost"]
        + client.counts.n_sequence_lost
        - lost_before
    )
    gaps = sum(isinstance(m, Gap) for m in messages)
    no_losses = "none, while the board's light is made to blink" if blinks else "none"
    steps = [
        Step("rate", f"{rate_hz:z.1f} data blocks a second, {away:+z.2f} %{' (simulated)' if simulated else ''}",
             f"{wanted_hz:z.1f} ± {RATE_PERCENT} %",
             None if simulated else abs(away) <= RATE_PERCENT),
        Step("losses", f"{lost} lost, {gaps} gaps, {figures['conversions_in_error']} in error", no_losses,
             lost == gaps == figures["conversions_in_error"] == 0),
    ]  # fmt: skip
    steps += [_histogram(messages, int(client.hello()["window"]))] if counted else []
    return steps + ([_slow(messages)] if slow_too else [])


def _received(client: RigClient, clock: Callable[[], float]) -> tuple[list[Message], float, int, int]:
    """Return the messages of STREAM_S, the time [s] from first to last record, their number, and the holes."""
    kept: list[Message] = []
    records: list[Records] = []
    began_s = ended_s = clock()
    silent = 0
    while sum(map(len, records)) * client.window_s < STREAM_S and silent < MOST_SILENT:
        silent += 1
        for message in client.poll(live.POLL_S):
            silent = 0
            if isinstance(message, Records):
                ended_s = clock()
                began_s = began_s if records else ended_s
                records.append(message)
            else:
                kept.append(message)
    index = Records.concatenate(records).index
    holes = int(index[-1] - index[0]) + 1 - len(index) if len(index) else 0
    n_after_first = sum(map(len, records[1:]))
    return kept, ended_s - began_s, n_after_first, holes


def _histogram(messages: list[Message], window: int) -> Step:
    pieces = [m for m in messages if isinstance(m, Histogram)]
    total = sum(int(e.counts.sum()) for e in pieces)
    return Step(
        "counting converter readings while measuring",
        f"{total} conversions counted",
        f"{COUNTED * window}",
        total == COUNTED * window,
    )


def _slow(messages: list[Message]) -> Step:
    slow = [m for m in messages if isinstance(m, SlowReading)]
    bad = sum(e.status != 0 for e in slow)
    return Step(
        "second converter (slow, precise)",
        f"{len(slow)} readings, {bad} bad",
        "readings, none bad",
        bool(slow) and not bad,
    )


def _left_alone(client: RigClient, sleep: Callable[[float], None], *, simulated: bool) -> Step:
    expected = f"the stream ends by itself after {wire.KEEP_ALIVE_MS / 1000:g} s"
    if simulated:
        return Step("laptop stops talking", "a simulated rig has its own clock", expected, None)
    client.start("powered")
    sleep(SILENCE_S)  # nothing is said meanwhile
    try:
        streaming = client.status().streaming
    except LinkError as exc:
        return Step("laptop stops talking", str(exc), expected, False)
    client.stop()
    return Step("laptop stops talking", "still streams" if streaming else "ended", expected, not streaming)
