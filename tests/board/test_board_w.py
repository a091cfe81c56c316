"""The firmware on an emulated board with a radio, which has less memory."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from sweepboard import wire

pytestmark = pytest.mark.board

BOOT_S = 8.0  # compiling the sources takes 4


@pytest.fixture(scope="module")
def image_w() -> Path:
    name = os.environ.get("SWEEPRIG_BOARD_IMAGE_W")
    if not name:
        pytest.skip("SWEEPRIG_BOARD_IMAGE_W is not set: no image of a board with a radio")
    assert Path(name).is_file(), f"SWEEPRIG_BOARD_IMAGE_W names {name}, which is no file"
    return Path(name)


@pytest.mark.parametrize("sources", [False, True], ids=["compiled", "sources"])
def test_a_board_with_a_radio_streams_and_counts(
    image_w: Path, tmp_path_factory: pytest.TempPathFactory, sources: bool
) -> None:
    from tests.board.board_rig import BoardRig
    from tests.board.conftest import FIRMWARE, firmware_files
    from tests.board.emulated_board import EmulatedBoard, file_system, kind_of

    folder = tmp_path_factory.mktemp("w")
    files = firmware_files(folder, sources=sources) | {"main.py": (FIRMWARE / "main.py").read_bytes()}
    board = EmulatedBoard(image_w, disk=file_system(files, folder, kind_of(image_w)))
    board.mcu.gpio[11].set_input_value(True)
    board.boot()
    rig = BoardRig(board)
    hello = rig.command("hello", within_s=BOOT_S)
    assert "Pico W" in hello["board"]
    assert hello["self_check"]["problems"] == []
    assert hello["self_check"]["largest_block"] > 4096
    assert rig.command("start")["ok"]
    assert rig.command("histogram", channel=1, windows=12)["ok"]
    assert rig.run_until(lambda: len(rig.of(wire.HISTOGRAM)) == 8, within_s=0.8)
    stop = rig.command("stop")
    assert rig.gaps() == []
    assert (stop["windows_dropped"], stop["conversions_lost"]) == (0, 0)
    assert rig.said() == b""
