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


def streams_and_counts(image: Path, folder: Path, *, sources: bool, board_is: str) -> None:
    """Boot the firmware on an image, compiled or as sources; stream and count codes, and lose nothing."""
    from tests.board.board_rig import BoardRig
    from tests.board.conftest import FIRMWARE, firmware_files, quiet
    from tests.board.emulated_board import EmulatedBoard, file_system, kind_of

    files = firmware_files(folder, sources=sources) | {"main.py": (FIRMWARE / "main.py").read_bytes()}
    board = EmulatedBoard(image, disk=file_system(files, folder, kind_of(image)))
    board.mcu.gpio[11].set_input_value(True)
    if board_is == "Pico":
        board.adc.codes = quiet
    board.boot()
    rig = BoardRig(board)
    hello = rig.command("hello", within_s=BOOT_S)
    assert board_is in hello["board"]
    # The emulator does not lead a driven pin's level back to its input: without a radio the mode reads "psm" there.
    psm = ["the regulator's mode is psm, not pwm"] if board_is == "Pico" else []
    assert hello["self_check"]["problems"] == psm
    assert hello["self_check"]["largest_block"] > 4096
    assert rig.command("start")["ok"]
    assert rig.command("histogram", channel=1, windows=12)["ok"]
    assert rig.run_until(lambda: len(rig.of(wire.HISTOGRAM)) == 8, within_s=0.8)
    stop = rig.command("stop")
    assert rig.gaps() == []
    assert (stop["windows_dropped"], stop["conversions_lost"]) == (0, 0)
    if board_is != "Pico":  # a Pico has the memory, with the sources too
        refusal = rig.command("keep_area", blocks=28)
        assert (refusal["error"], refusal["reason"]) == (
            "refused",
            "this board has not the memory to keep sweeps",
        )
    assert rig.said() == b""


@pytest.mark.parametrize("sources", [False, True], ids=["compiled", "sources"])
def test_a_board_with_a_radio_streams_and_counts(
    image_w: Path, tmp_path_factory: pytest.TempPathFactory, sources: bool
) -> None:
    streams_and_counts(image_w, tmp_path_factory.mktemp("w"), sources=sources, board_is="Pico W")


def test_a_board_without_mpy_cross_streams_and_counts(
    image: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    streams_and_counts(image, tmp_path_factory.mktemp("plain"), sources=True, board_is="Pico")
