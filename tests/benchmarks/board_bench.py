"""The whole firmware beside the plain script that everybody writes, on one emulated board in one run.

    SWEEPRIG_BOARD_IMAGE=RPI_PICO-v1.28.0.uf2 python tests/benchmarks/board_bench.py [--seconds 2]

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
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "firmware")]

from tests.board.board_rig import BoardRig  # noqa: E402
from tests.board.conftest import firmware_files  # noqa: E402
from tests.board.emulated_board import EmulatedBoard, file_system  # noqa: E402

from sweepboard import wire  # noqa: E402

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
class Seen:
    """What one way of looking saw."""

    conversions_hz: float  # of all channels
    longest_blind_s: float  # longest time between two conversions of channel 0


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


def ours(image: Path, folder: Path, seconds: float) -> tuple[Seen, dict[str, Any]]:
    """Stream for `seconds` of emulated time."""
    disk = file_system(firmware_files(folder) | {"main.py": MEASURED_MAIN.encode()}, folder)
    board = EmulatedBoard(image, disk=disk)
    board.boot()
    rig = BoardRig(board)
    rig.command("hello", within_s=4.0)
    times: list[float] = []
    channel_0_times(board, times)
    rig.command("start")
    began, n_bytes = board.seconds, rig.n_bytes
    rig.run(seconds)
    lasted, carried = board.seconds - began, rig.n_bytes - n_bytes
    stop = rig.command("stop")
    busy = rig.command("hello")["self_check"]["busy"]
    _start, run = board.adc.runs[-1]
    records = rig.records()
    figures = {
        "share": stop["windows_made"] * WORDS / (stop["index"] * WORDS),
        "gaps": len(rig.gaps()),
        "lost": stop["conversions_lost"] + WORDS * stop["windows_dropped"],
        "records": len(records),
        "record_hz": len(records) / (len(run) * 2e-6),
        "bytes_s": carried / lasted,
        "busy": busy,
        "seconds": lasted,
    }
    return Seen(len(run) / (len(run) * 2e-6), longest(times[1:])), figures


def at_prompt(image: Path, folder: Path) -> EmulatedBoard:
    """Boot a board with the package and no main.py."""
    board = EmulatedBoard(image, disk=file_system(firmware_files(folder), folder))
    board.boot()
    return board


def plain(image: Path, folder: Path) -> Seen:
    """Let the plain script run."""
    board = at_prompt(image, folder)
    times: list[float] = []
    channel_0_times(board, times)
    n_lines = len(board.execute(PLAIN).splitlines())
    return Seen(3 * n_lines / (times[-1] - times[0]), longest(times))


def main() -> None:
    """Measure and print, the ratio first."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=2.0, help="emulated time to stream")
    options = parser.parse_args()
    image = Path(os.environ["SWEEPRIG_BOARD_IMAGE"])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        script = plain(image, folder)
        take_us = json.loads(at_prompt(image, folder).execute(REDUCTION))
        rig, figures = ours(image, folder, options.seconds)
    window_us = WORDS * 2.0
    print(
        f"ratio: {rig.conversions_hz / script.conversions_hz:.0f} times the conversions of the plain script"
    )
    print(f"ratio: a dropout may be {script.longest_blind_s / rig.longest_blind_s:.0f} times shorter")
    rows = [
        ("", "firmware", "plain script"),
        ("conversions seen [1/s]", f"{rig.conversions_hz:.0f}", f"{script.conversions_hz:.0f}"),
        (
            "longest time between two of one channel [us]",
            f"{rig.longest_blind_s * 1e6:.1f}",
            f"{script.longest_blind_s * 1e6:.0f}",
        ),
        ("streamed [emulated s]", f"{figures['seconds']:.2f}", "0.30"),
        ("share of conversions reduced [%]", f"{100 * figures['share']:.3f}", "-"),
        ("overruns and late buffers", str(figures["gaps"]), "-"),
        ("conversions lost", str(figures["lost"]), "-"),
        ("records a second", f"{figures['record_hz']:.1f}", "-"),
        ("bytes a second on the wire", f"{figures['bytes_s']:.0f}", "-"),
        ("processor busy, all of the service [%]", f"{100 * figures['busy']:.0f}", "100"),
        ("processor busy with the reduction [%]", f"{100 * take_us / window_us:.1f}", "-"),
    ]
    for label, a, b in rows:
        print(f"| {label:46} | {a:>10} | {b:>12} |")


if __name__ == "__main__":
    main()
