"""What is kept on the board: bytes beside plain frames, and what a write to flash costs while sampling.

    python -m tests.benchmarks keep_bench
    SWEEPRIG_BOARD_IMAGE=RPI_PICO-1.28.0.uf2 SWEEPRIG_BOARD_IMAGE_W=RPI_PICO_W-1.28.0.uf2 \\
        python -m tests.benchmarks keep_bench

With an image the second part runs on an emulated Pico, with the other one on a Pico W too, whose flash takes 45 ms to
erase a sector and 0.4 ms to program a page, as the data sheet of the usual chip says (W25Q16JV, from memory; at most
400 ms and 3 ms).
"""

from __future__ import annotations

import os
import struct
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "firmware")]

from sweepboard import flash_page, pack, wire  # noqa: E402
from sweeprig.bench.field.kept import Kept, frames  # noqa: E402
from sweeprig.errors import BoardRefusedError  # noqa: E402
from sweeprig.link.messages import Records  # noqa: E402
from sweeprig.twin.capture import capture_of  # noqa: E402

SENSORS = ("good", "worn", "rough", "interference", "supply-dropouts", "two-tracks-opposed", "pwm")
SECONDS = 5.0

SAMPLING = """
import gc, time, rp2
from sweepboard.rp2_adc import FastSource
try: source
except NameError: source = FastSource()
flash, page, buf = rp2.Flash(), bytes(range(256)), bytearray(36)
block = flash.ioctl(4, 0) - 22
for dirty in range(block, block + 22): flash.ioctl(6, dirty)
file, k = open('/z', 'wb'), 0
gc.collect(); source.start(); began = time.ticks_ms(); windows = lost = pages = 0
while time.ticks_diff(time.ticks_ms(), began) < 1500:
    ready = source.poll(); gap = source.gap()
    if gap: lost += gap[0]
    for _ in range(ready): source.take(buf, 8); windows += 1
    if windows // 32 > pages:
        pages = windows // 32
        {write}
source.stop(); file.close(); import os; os.remove('/z')
print(windows, lost, pages)
"""
WRITES = {
    "pages into blocks that are erased": "flash.writeblocks(block, page, 256 * (k % 16)); k += 1; block += k % 16 == 0",
    "a file of littlefs": "file.write(page)",
}


def records_bytes(records: Records) -> list[bytes]:
    """Return each record as on the wire."""
    columns = [
        a.tolist() for a in (records.sums, records.mins, records.maxs, records.position, records.flags)
    ]
    out = []
    for sums, mins, maxs, position, flags in zip(*columns, strict=True):
        fields = [v for three in zip(sums, mins, maxs, strict=True) for v in three]
        out.append(struct.pack(wire.RECORD_FORMAT, *fields, position, flags))
    return out


def packing(sensor: str) -> tuple[float, float, float]:
    """Return bytes a second as frames, as the board's port sends them, and packed."""
    capture = capture_of(sensor, seed=3, seconds=SECONDS, build="full")
    records, n = records_bytes(capture.records), wire.RECORDS_PER_PACKET
    out = bytearray(pack.ENTRY_SIZE + pack.PACKED_MOST)
    frames = padded = packed = 0
    for at in range(0, len(records), n):
        data = b"".join(records[at : at + n])
        frame = len(wire.encode(wire.RECORDS, 0, at, data))
        frames, padded = frames + frame, padded + -(-frame // 64) * 64
        packed += pack.pack_entry(out, wire.RECORDS, at, data, 0, len(data), wire.WINDOW)
    return frames / SECONDS, padded / SECONDS, packed / SECONDS


def show_packing() -> None:
    """Print the sizes."""
    share = flash_page.ROOM * flash_page.DATA_PAGES / flash_page.BLOCK
    print(
        "| simulated sensor | frames [B/s] | padded to 64 [B/s] | packed [B/s] | blocks for 10 s | for 60 s |"
    )
    print("|---|---|---|---|---|---|")
    for sensor in SENSORS:
        frames, padded, packed = packing(sensor)
        blocks = [-(-packed * s // (flash_page.BLOCK * share)) for s in (10, 60)]
        print(
            f"| {sensor} | {frames:.0f} | {padded:.0f} | {packed:.0f} | {blocks[0]:.0f} | {blocks[1]:.0f} |"
        )
    good = packing("good")
    print(f"ratio: {good[0] / good[2]:.2f} times fewer bytes than plain frames (good)")


def show_flash(image: str) -> None:
    """Print what flash costs on an emulated board."""
    from tests.board.conftest import firmware_files
    from tests.board.emulated_board import EmulatedBoard, file_system, kind_of
    from tests.board.emulated_flash import slow_flash

    folder = Path(tempfile.mkdtemp())
    files = firmware_files(folder)
    board = EmulatedBoard(image, disk=file_system(files, folder, kind_of(image)))
    board.boot()
    slow_flash(board)
    free = board.execute("import os, gc; gc.collect(); print(os.statvfs('/')[2:4], gc.mem_free())")
    print(
        f"{len(files)} compiled files, {sum(map(len, files.values()))} bytes; blocks, free; heap: {free.strip()}"
    )
    for name, write in WRITES.items():
        windows, lost, pages = board.execute(SAMPLING.format(write=write), within_s=60).split()
        print(
            f"{name}: {pages} pages of 256 bytes in 1.5 s, {lost} of {int(windows) + int(lost)} windows lost"
        )


NO_CTRL_C = "import micropython; micropython.kbd_intr(-1)\n"  # a byte 3 of the first message is no Ctrl-C


def show_keeping(image: str) -> None:
    """Print what one kept sweep costs a whole emulated board, and what collecting it takes."""
    from tests.benchmarks.board_bench import MEASURED_MAIN
    from tests.board.conftest import firmware_files
    from tests.board.emulated_board import file_system, kind_of
    from tests.board.test_board_keep import SWEEP_S, booted, host, press, records_of, sent

    from sweeprig.bench.field.collect import fetch, look

    folder = Path(tempfile.mkdtemp())
    files = firmware_files(folder) | {"main.py": (NO_CTRL_C + MEASURED_MAIN).encode()}
    board = booted(Path(image), file_system(files, folder, kind_of(image)))
    sent(board, folder)
    board.run(wire.KEEP_ALIVE_MS / 1000 + 0.2)
    press(board, SWEEP_S)
    with host(board) as client:
        busy = client.hello(again=True)["self_check"]["busy"]
        listed = look(client).sweeps[0]
        began = board.seconds
        kept = fetch(client, listed, lambda n, of: None)
        took = board.seconds - began
    n, made = len(records_of(kept)), kept.end or {}
    print(
        f"one sweep: {made['windows_made']} windows made, {made['windows_dropped']} dropped, {n} kept in a row"
    )
    print(f"processor busy from press to end: {100 * busy:.0f} %")
    plain, padded = frames_bytes(kept), frames_bytes(kept, 64)
    print(f"{len(kept.data)} bytes kept; {plain} as plain frames, {padded} as the port pads them")
    print(f"collected in {took:.2f} emulated s, USB costing nothing: {listed.n_pages} pages of 256 bytes")


def frames_bytes(kept: Kept, block: int = 1) -> int:
    """Return how many bytes a host would have received live for a kept sweep, frames filled up to whole blocks."""
    runs = [len(run) + 2 for run in frames(kept, wire.WINDOW).split(b"\0") if run]
    return sum(-(-n // block) * block for n in runs)


def main() -> None:
    """Print all of it."""
    show_packing()
    for image in filter(None, map(os.environ.get, ("SWEEPRIG_BOARD_IMAGE", "SWEEPRIG_BOARD_IMAGE_W"))):
        print(f"\n{Path(image).name}", flush=True)
        show_flash(image)
        try:
            show_keeping(image)
        except BoardRefusedError as refusal:
            print(f"sweeps kept by the button: none. {refusal}")


if __name__ == "__main__":
    main()
