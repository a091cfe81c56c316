"""The whole firmware beside the plain script that everybody writes, on one emulated board in one run.

    SWEEPRIG_BOARD_IMAGE=RPI_PICO-1.28.0.uf2 SWEEPRIG_BOARD_IMAGE_W=RPI_PICO_W-1.28.0.uf2 \\
        python tests/benchmarks/board_bench.py [--seconds 2]

The emulated board keeps exact emulated time, so that the figures are those of an RP2040 at 125 MHz, whatever the
computer it runs on; two emulated seconds take some minutes. USB costs nothing there: the plain script is
flattered, ours is not measured for what USB can carry.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "firmware")]

from tests.board.board_rig import BoardRig  # noqa: E402
from tests.board.conftest import firmware_files  # noqa: E402
from tests.board.emulated_board import EmulatedBoard, file_system, kind_of  # noqa: E402

from sweepboard import pins, wire  # noqa: E402

WORDS = wire.WINDOW * wire.CHANNELS

MEASURED_MAIN = """
import json, time
from sweepboard import board_clock, boot, rp2_rig
slept = [0]
class Clock(board_clock.BoardClock):
    def sleep_ms(self, n):
        began = time.ticks_us()
        time.sleep_ms(n)
        slept[0] += time.ticks_diff(time.ticks_us(), began)
rp2_rig.BoardClock = Clock
make = rp2_rig.make
def measured(port, config):
    service = make(port, config)
    stream = service.stream
    start, stop = stream.start, stream.stop
    def begin():
        start()
        slept[0] = 0
        stream.began = time.ticks_us()
    def end():
        if stream.running:
            all_us = time.ticks_diff(time.ticks_us(), stream.began)
            stream.measured = {"busy": 1 - slept[0] / all_us}
        stop()
    stream.start, stream.stop = begin, end
    service.selfcheck = lambda: getattr(stream, "measured", {})
    return service
rp2_rig.make = measured
boot.run()
"""

REDUCTION = """
import json, time
from sweepboard import rp2_adc
source = rp2_adc.FastSource()
buf = bytearray(28)
def measure():
    total = n = 0
    source.start()
    while n < 60:
        for _ in range(source.poll()):
            began = time.ticks_us()
            source.take(buf, 0)
            total += time.ticks_diff(time.ticks_us(), began)
            n += 1
    source.stop()
    began = time.ticks_us()
    time.ticks_us()
    empty = time.ticks_diff(time.ticks_us(), began) // 2
    print(json.dumps(total / n - empty))
measure()
"""

PLAIN = """
import machine, time
signal_a, signal_b, supply = machine.ADC(26), machine.ADC(27), machine.ADC(28)
began = time.ticks_ms()
while time.ticks_diff(time.ticks_ms(), began) < 300:
    print(signal_a.read_u16(), signal_b.read_u16(), supply.read_u16())
"""


@dataclass(frozen=True)
class CheckContext:
    """What one way of looking saw."""

    conversions_hz: float  # of all channels
    longest_blind_s: float  # longest time between two conversions of channel 0


@dataclass(frozen=True)
class Streamed:
    """What the firmware did in one stream."""

    seen: CheckContext
    seconds: float
    share: float  # of the conversions that were reduced
    gaps: int
    lost: int
    record_hz: float
    bytes_s: float
    busy: float  # share of the processor
    reduction: float  # share of the processor that only reduces


def channel_0_times(board: EmulatedBoard, times: list[float]) -> None:
    """Note in `times` when the converter looks at channel 0."""

    def codes(channel: int, number: int, seconds: float) -> int:
        if channel == 0:
            times.append(seconds)
        return {3: 2068, 4: 876}.get(channel, 20 + channel)

    board.adc.codes = codes


def longest(times: list[float]) -> float:
    """Return the longest time between two that follow each other."""
    return max(b - a for a, b in itertools.pairwise(times))


def booted(image: Path, folder: Path, main: str = "") -> EmulatedBoard:
    """Boot a board with the package and `main` as its main.py; without one it stays at its prompt."""
    files = firmware_files(folder) | ({"main.py": main.encode()} if main else {})
    board = EmulatedBoard(image, disk=file_system(files, folder, kind_of(image)))
    board.mcu.gpio[pins.BUTTON].set_input_value(True)
    board.boot()
    return board


def ours(image: Path, folder: Path, seconds: float) -> Streamed:
    """Stream for `seconds` of emulated time."""
    take_us = json.loads(booted(image, folder).execute(REDUCTION))
    board = booted(image, folder, MEASURED_MAIN)
    rig = BoardRig(board)
    rig.command("hello", within_s=4.0)
    times: list[float] = []
    channel_0_times(board, times)
    rig.command("start")
    began, n_bytes = board.seconds, rig.n_bytes
    rig.run(seconds)
    lasted, carried = board.seconds - began, rig.n_bytes - n_bytes
    stop = rig.command("stop")
    n = len(board.adc.runs[-1][1])
    return Streamed(
        CheckContext(n / (n * 2e-6), longest(times[1:])),
        seconds=lasted,
        share=stop["windows_made"] / stop["index"],
        gaps=len(rig.gaps()),
        lost=stop["conversions_lost"] + WORDS * stop["windows_dropped"],
        record_hz=len(rig.records()) / (n * 2e-6),
        bytes_s=carried / lasted,
        busy=rig.command("hello")["self_check"]["busy"],
        reduction=take_us / (WORDS * 2.0),
    )


def plain(image: Path, folder: Path) -> CheckContext:
    """Let the plain script run."""
    board = booted(image, folder)
    times: list[float] = []
    channel_0_times(board, times)
    n_lines = len(board.execute(PLAIN).splitlines())
    return CheckContext(3 * n_lines / (times[-1] - times[0]), longest(times))


def rows(boards: list[Streamed], script: CheckContext) -> list[tuple[str, ...]]:
    """Return the table: a label, a figure for each board, one for the plain script."""
    kinds: list[tuple[str, Callable[[Streamed], str], str]] = [
        ("conversions seen [1/s]", lambda b: f"{b.seen.conversions_hz:.0f}", f"{script.conversions_hz:.0f}"),
        (
            "longest time between two of one channel [us]",
            lambda b: f"{b.seen.longest_blind_s * 1e6:.1f}",
            f"{script.longest_blind_s * 1e6:.0f}",
        ),
        ("streamed [emulated s]", lambda b: f"{b.seconds:.2f}", "0.30"),
        ("share of conversions reduced [%]", lambda b: f"{100 * b.share:.3f}", "-"),
        ("overruns and late buffers", lambda b: str(b.gaps), "-"),
        ("conversions lost", lambda b: str(b.lost), "-"),
        ("records a second", lambda b: f"{b.record_hz:.1f}", "-"),
        ("bytes a second on the wire", lambda b: f"{b.bytes_s:.0f}", "-"),
        ("processor busy, all of the service [%]", lambda b: f"{100 * b.busy:.0f}", "100"),
        ("processor busy with the reduction [%]", lambda b: f"{100 * b.reduction:.1f}", "-"),
    ]
    return [(label, *map(figure, boards), last) for label, figure, last in kinds]


def main() -> None:
    """Measure and print, the ratio first."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=2.0, help="emulated time to stream")
    seconds = parser.parse_args().seconds
    image, image_w = Path(os.environ["SWEEPRIG_BOARD_IMAGE"]), os.environ.get("SWEEPRIG_BOARD_IMAGE_W")
    images = [image, *([Path(image_w)] if image_w else [])]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        script = plain(image, folder)
        boards = [ours(image, folder, seconds) for image in images]
    seen = boards[0].seen
    print(
        f"ratio: {seen.conversions_hz / script.conversions_hz:.0f} times the conversions of the plain script"
    )
    print(f"ratio: a dropout may be {script.longest_blind_s / seen.longest_blind_s:.0f} times shorter")
    names = {"pico": "firmware, Pico", "pico_w": "firmware, Pico W"}
    head = ("", *(names[kind_of(image)] for image in images), "plain script, Pico")
    for label, *figures in [head, *rows(boards, script)]:
        print(f"| {label:46} | " + " | ".join(f"{figure:>18}" for figure in figures) + " |")
        if not label:
            print("|---" * (len(figures) + 1) + "|")


if __name__ == "__main__":
    main()
