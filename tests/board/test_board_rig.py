"""The whole firmware on a whole emulated Pico: from reset to records, and out to the prompt."""

from __future__ import annotations

import json
import random
import struct
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.board.conftest import quiet

from sweepboard import wire

if TYPE_CHECKING:
    from tests.board.board_rig import BoardRig

# One board for all that share it, and one order: what a test measures depends on what the heap holds by then.
pytestmark = [pytest.mark.board, pytest.mark.xdist_group("rig")]

WORDS = wire.WINDOW * wire.CHANNELS
BOOT_S = 3.0


def stream(rig: BoardRig, seconds: float, **start: Any) -> dict[str, Any]:
    """Stream for some emulated seconds; return the reply to stop."""
    assert rig.command("start", **start)["ok"]
    rig.run(seconds)
    return rig.command("stop")


def reduced(codes: list[int], n_windows: int) -> list[tuple[int, ...]]:
    """Reduce by numpy what the converter gave."""
    shaped = np.array(codes[: n_windows * WORDS]).reshape(n_windows, wire.WINDOW, 3)
    columns = np.stack([shaped.sum(1), shaped.min(1), shaped.max(1)], axis=2)
    return [tuple(int(value) for value in row.ravel()) for row in columns]


def test_the_board_boots_to_hello(rig: BoardRig) -> None:
    hello = rig.command("hello")
    assert (hello["chip"], hello["build"], hello["hookups"]) == ("rp2040", "plain", ["powered"])
    assert (hello["protocol"], hello["window"], hello["conversion_hz"]) == (wire.PROTOCOL, 166, 500_000)
    assert hello["reset_cause"] == "power on"
    assert {"supply-switch", "supply-fault", "snapshots", "histogram"} <= set(hello["capabilities"])
    assert "tapped" not in hello["hookups"]
    check = hello["self_check"]
    assert check["pads_analogue"] == [True] * 3
    assert check["codes"] == [20, 21, 22]
    assert check["vsys_v"] == pytest.approx(5.0, abs=0.02)
    assert check["temperature_c"] == pytest.approx(27.0, abs=0.5)
    assert check["free_bytes"] > 60_000
    assert check["largest_block"] > 16_384
    assert not check["stuck"]
    # The emulator does not lead a driven pin's level back to its input: the mode reads "psm" there.
    assert check["problems"] == ["the regulator's mode is psm, not pwm"]


def test_records_are_the_waveforms_to_the_bit(rig: BoardRig) -> None:
    rng = random.Random(21)
    rig.board.adc.codes = lambda channel, number, seconds: (
        (number // 3 * 11) % 4096 if channel == 0 else rng.randrange(4096)
    )
    stop = stream(rig, 0.12)
    records = rig.records()
    assert len(records) >= 110
    assert sorted(records) == list(range(len(records)))
    (_start, codes) = rig.board.adc.runs[-1]
    assert [records[i][:9] for i in sorted(records)] == reduced(codes, len(records))
    assert [records[i][10] for i in (0, 1, 2)] == [wire.FLAG_SPLICE, 0, 0]
    assert {values[9] for values in records.values()} == {wire.NO_POSITION}
    assert rig.gaps() == []
    assert (stop["windows_dropped"], stop["conversions_lost"]) == (0, 0)
    assert stop["windows_made"] == stop["windows_sent"] == len(records)


def test_channels_stand_in_the_order_of_the_pins(rig: BoardRig) -> None:
    rig.board.adc.codes = lambda channel, number, seconds: {0: 111, 1: 222, 2: 333}.get(channel, 876)
    stream(rig, 0.03)
    for values in rig.records().values():
        assert values[:9] == (166 * 111, 111, 111, 166 * 222, 222, 222, 166 * 333, 333, 333)


def test_an_overrun_is_a_gap_and_rotates_nothing(rig: BoardRig) -> None:
    rig.board.adc.codes = lambda channel, number, seconds: {0: 1000, 1: 2000, 2: 3000}.get(channel, 876)
    rig.board.adc.stall_at = 5 * WORDS + 251
    stop = stream(rig, 0.06)
    ((index, n, reason),) = rig.gaps()
    assert reason == wire.GAP_OVERRUN
    records = rig.records()
    assert set(records) | set(range(index, index + n)) == set(range(stop["index"]))
    assert set(records).isdisjoint(range(index, index + n))
    for values in records.values():
        assert [values[k] for k in (1, 2, 4, 5, 7, 8)] == [1000, 1000, 2000, 2000, 3000, 3000]
    assert records[index + n][10] & wire.FLAG_SPLICE
    assert stop["conversions_lost"] == n * WORDS


def test_a_dropout_of_12_us_is_drawn(rig: BoardRig) -> None:
    at = 20 * WORDS + 3  # two conversions of channel 0, six microseconds apart
    rig.board.adc.codes = lambda channel, number, seconds: (
        30 if number in (at, at + 3) and channel == 0 else 1800 + 10 * (number % 3)
    )
    assert rig.command("snapshots", spread=400, before=60, after=90, per_second=5)["on"]
    stream(rig, 0.05)
    (shot,) = rig.of(wire.SNAPSHOT)
    first, trigger, channels, channel, n = struct.unpack_from(wire.SNAPSHOT_FORMAT, shot.payload)
    begin = shot.index * WORDS + first
    assert (begin + trigger, channels, channel) == (at, 3, 0)
    codes = np.frombuffer(shot.payload, "<u2", offset=wire.SNAPSHOT_SIZE).tolist()
    (_start, run) = rig.board.adc.runs[-1]
    assert codes == run[begin : begin + n]
    record = rig.records()[20]
    assert record[1] == 30


def test_the_histogram_is_that_of_the_conversions(rig: BoardRig) -> None:
    rig.board.adc.codes = lambda channel, number, seconds: (number * 5 + channel) % 4096
    assert rig.command("start")["ok"]
    assert rig.command("histogram", channel=2, windows=12)["ok"]
    assert rig.run_until(lambda: len(rig.of(wire.HISTOGRAM)) == 8, within_s=0.5)
    counts = np.concatenate(
        [np.frombuffer(m.payload, "<u4", offset=wire.HISTOGRAM_SIZE) for m in rig.of(wire.HISTOGRAM)]
    )
    assert counts.size == 4096
    assert counts.sum() == 12 * wire.WINDOW
    (_start, run) = rig.board.adc.runs[-1]
    windows = [run[i * WORDS + 2 : (i + 1) * WORDS : 3] for i in range(len(run) // WORDS)]
    of_twelve = [
        np.bincount(np.concatenate(windows[i : i + 12]), minlength=4096) for i in range(len(windows) - 12)
    ]
    assert any(np.array_equal(counts, expected) for expected in of_twelve)


WITHIN_S = 0.1  # a reply; half of the buffers are 16 ms, and a gap is told from 31 ms on
IN_A_STREAM: tuple[tuple[str, dict[str, Any]], ...] = (
    ("hello", {}),
    ("status", {}),
    ("snapshots", {"spread": 400}),
    ("supply", {"on": True}),
    ("supply", {"on": False}),
    ("histogram", {"channel": 0, "windows": 12}),
    ("histogram", {"channel": 9, "windows": 12}),
    ("light", {"mode": "fast"}),
    ("light", {"mode": "off"}),
    ("selfcheck", {}),
    ("keep_area", {"blocks": 4}),
    ("keep_order", {"text": "{}"}),
    *((name, {"number": 1}) for name in ("kept_about", "keep_forget")),
    ("kept_pages", {"number": 1, "first": 0}),
    *((name, {}) for name in ("kept", "burden", "bias", "buzzer", "slow", "ramp", "drive", "nosuch")),
)
BEGIN_OR_END = {"start", "stop", "prompt"}  # of a stream


def commands_of_the_firmware() -> set[str]:
    """Return the names of all that a host can ask for."""
    from types import SimpleNamespace

    from sweepboard.command_table import arguments
    from sweepboard.keep_commands import KeepCommands

    watcher = SimpleNamespace(most_before=498, most_after=1515)
    kept = KeepCommands.__new__(KeepCommands).table()
    return set(arguments(SimpleNamespace(channels=3), watcher)) | set(kept)


def test_no_command_stops_the_reduction(fresh: BoardRig) -> None:
    assert commands_of_the_firmware() - BEGIN_OR_END <= {cmd for cmd, _ in IN_A_STREAM}
    assert fresh.command("start")["ok"]
    fresh.run(0.05)
    for cmd, arguments in IN_A_STREAM:
        asked_s = fresh.board.seconds
        fresh.command(cmd, **arguments)
        assert fresh.board.seconds - asked_s < WITHIN_S, cmd
        fresh.run(0.02)
        assert fresh.gaps() == [], cmd
    assert fresh.run_until(lambda: len(fresh.of(wire.HISTOGRAM)) == 8, within_s=0.5)
    stop = fresh.command("stop")
    assert fresh.gaps() == []
    assert (stop["windows_dropped"], stop["conversions_lost"]) == (0, 0)
    records = fresh.records()
    assert sorted(records) == list(range(stop["index"]))


def test_garbage_and_bad_commands_do_no_harm(rig: BoardRig) -> None:
    rng = random.Random(3)
    rig.board.write(bytes(rng.randrange(256) for _ in range(600)) + b"\x03\x04\x00")
    assert rig.command("hello")["firmware"]
    assert rig.command("nosuch")["error"] == "unknown-command"
    assert rig.command("supply")["error"] == "malformed"
    assert rig.command("start", hookup="tapped")["error"] == "refused"
    assert rig.command("burden", on=True)["error"] == "not-fitted"


def test_deep_brackets_are_refused_and_the_service_lives(rig: BoardRig) -> None:
    deep = b"[" * 150 + b"]" * 150
    rig.send(wire.COMMAND, b'{"id":800,"cmd":"supply","on":' + deep + b"}")
    assert rig.command("status")["ok"]
    (refusal,) = [
        reply for reply in (json.loads(m.payload) for m in rig.of(wire.REPLY)) if reply["id"] == 800
    ]
    assert refusal["error"] == "malformed"


FLOOD_BYTES = 2048  # that wait before the command, and are topped up behind it
HEARD_S = 0.5


def in_a_flood(rig: BoardRig, piece: bytes, *words: bytes, until: Callable[[], bool]) -> float:
    """Keep the board's port full of `piece`, send `words` among them; return the time [s] until they took effect."""
    waiting = rig.board._out

    def top_up() -> None:
        while len(waiting) < FLOOD_BYTES:
            rig.board.write(piece)

    for _ in range(40):
        top_up()
        rig.run(5e-3)
    spoken_s = rig.board.seconds
    for word in words:
        rig.board.write(wire.encode(wire.COMMAND, 0, 0, word))
    while not until() and rig.board.seconds < spoken_s + 3 * HEARD_S:
        top_up()
        rig.run(5e-3)
    assert until()
    waiting.clear()
    return rig.board.seconds - spoken_s


def supply(rig: BoardRig) -> int:
    return rig.board.register(0xD0000010) >> 2 & 1  # SIO GPIO_OUT: RP2040 datasheet 2.3.1.7


SUPPLY_OFF = b'{"id":701,"cmd":"supply","on":false}'


def test_in_a_flood_stop_is_heard_and_no_window_lost(fresh: BoardRig) -> None:
    status = wire.encode(wire.COMMAND, 0, 0, b'{"id":700,"cmd":"status"}')
    piece = bytes(random.Random(5).randrange(1, 256) for _ in range(300)) + status * 3
    assert fresh.command("supply", on=True)["ok"]
    assert fresh.command("start")["ok"]

    def off() -> bool:
        return not supply(fresh) and not fresh.board.adc.cs & 1 << 3  # START_MANY: RP2040 datasheet 4.9.6

    took_s = in_a_flood(fresh, piece, SUPPLY_OFF, b'{"id":702,"cmd":"stop"}', until=off)
    assert took_s <= HEARD_S
    fresh.run(0.1)
    assert fresh.gaps() == []  # no window is lost for it


def test_in_a_flood_at_rest_supply_off_is_heard(fresh: BoardRig) -> None:
    assert fresh.command("supply", on=True)["ok"]
    piece = (
        wire.encode(wire.COMMAND, 0, 0, b'{"id":700,"cmd":"hello"}') * 8
    )  # each takes longest: a self-check
    assert in_a_flood(fresh, piece, SUPPLY_OFF, until=lambda: not supply(fresh)) <= HEARD_S
    fresh.run(1.0)


def test_the_supply_is_switched_and_a_live_sensor_is_refused(rig: BoardRig) -> None:
    def level() -> int:
        return rig.board.register(0xD0000010) >> 2 & 1  # SIO GPIO_OUT: RP2040 datasheet 2.3.1.7

    assert rig.command("supply", on=True)["ok"]
    assert level() == 1
    assert rig.command("supply", on=False)["ok"]
    assert level() == 0
    rig.board.adc.codes = lambda channel, number, seconds: 3500 if channel == 2 else 20
    refusal = rig.command("supply", on=True)
    assert refusal["error"] == "refused"
    assert "channel 2" in refusal["reason"]
    assert level() == 0


def test_start_and_supply_in_one_write_feed_no_fed_sensor(rig: BoardRig) -> None:
    rig.board.adc.codes = lambda channel, number, seconds: 3500 if channel == 2 else 20
    words = (b'{"id":900,"cmd":"start"}', b'{"id":901,"cmd":"supply","on":true}')
    rig.board.write(b"".join(wire.encode(wire.COMMAND, 0, 0, word) for word in words))
    rig.run(0.3)
    replies = {reply["id"]: reply for reply in (json.loads(m.payload) for m in rig.of(wire.REPLY))}
    assert replies[900]["ok"]
    assert replies[901]["error"] == "refused"
    assert not rig.board.register(0xD0000010) >> 2 & 1  # SIO GPIO_OUT: RP2040 datasheet 2.3.1.7


def test_the_light_is_the_boards_own(rig: BoardRig) -> None:
    def lit() -> int:
        return rig.board.register(0xD0000010) >> 25 & 1  # GPIO25 drives it: Pico datasheet, appendix B

    assert "light" in rig.command("hello")["capabilities"]
    for mode, level in (("on", 1), ("off", 0)):
        assert rig.command("light", mode=mode)["ok"]
        assert lit() == level
    for mode, half_s in (("slow", 0.5), ("fast", 0.1)):
        assert rig.command("light", mode=mode)["ok"]
        changes, before = [], lit()
        while len(changes) < 3:
            assert rig.run_until(lambda was=before: lit() != was, within_s=0.6)
            changes.append(rig.board.seconds)
            before = lit()
        assert np.diff(changes) == pytest.approx([half_s] * 2, abs=0.015)
    assert rig.command("light", mode="off")["ok"]
    assert lit() == 0


Boot = Callable[..., "BoardRig"]


def boot(image: Path, disk: Path) -> BoardRig:
    from tests.board.board_rig import BoardRig
    from tests.board.emulated_board import EmulatedBoard

    board = EmulatedBoard(image, disk=disk)
    board.mcu.gpio[11].set_input_value(True)
    board.adc.codes = quiet
    return BoardRig(board)


def test_prompt_leaves_the_board_to_the_host(image: Path, rig_disk: Path) -> None:
    rig = boot(image, rig_disk)
    rig.board.boot()
    rig.command("hello", within_s=BOOT_S)
    rig.command("start")
    rig.run(0.02)
    assert rig.command("prompt")["ok"]
    rig.keep_alive = False
    rig.run(6.0, step_s=0.1)  # longer than the watchdog waits
    assert rig.board.resets == 0
    assert rig.board.execute("print(6 * 7)").strip() == "42"


def test_the_button_at_boot_leaves_the_prompt(image: Path, rig_disk: Path) -> None:
    rig = boot(image, rig_disk)
    rig.board.mcu.gpio[11].set_input_value(False)
    rig.board.boot()
    rig.board.run(0.5)
    assert rig.board.execute("print('free')").strip() == "free"


HANGS = """
import time
from sweepboard import rp2_adc
ready = rp2_adc.FastSource.poll
def poll(self):
    n = ready(self)
    if n > 3:
        self.stop()
        time.sleep(20)
    return n
rp2_adc.FastSource.poll = poll
boot.run()
"""


def test_the_watchdog_frees_a_board_that_hangs_and_hello_says_so(
    image: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    from tests.board.conftest import FIRMWARE, firmware_files
    from tests.board.emulated_board import file_system

    folder = tmp_path_factory.mktemp("hangs")
    main = (FIRMWARE / "main.py").read_text().replace("boot.run()", HANGS)
    disk = file_system(firmware_files(folder) | {"main.py": main.encode()}, folder)
    rig = boot(image, disk)
    rig.board.boot()
    rig.command("hello", within_s=BOOT_S)
    rig.send(wire.COMMAND, b'{"id": 99, "cmd": "start"}')
    rig.keep_alive = False
    assert rig.run_until(lambda: rig.board.resets >= 1, within_s=6.0, step_s=0.02)
    rig.board.run(0.01)
    rig.messages.clear()
    # The host speaks while the board starts, and byte 3 of a message must not stop it as Ctrl-C would.
    rig.board.write(b"\x03" * 20)
    assert rig.command("hello", within_s=BOOT_S)["reset_cause"] == "watchdog"
