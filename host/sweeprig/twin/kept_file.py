"""The file that stands in for a simulated board's flash: never one that holds something else."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from sweepboard.flash_page import BLOCK, BLOCK_HEAD, opened_block
from sweepboard.simulated_keeping import NAME
from sweeprig.errors import InputError

ERASED = b"\xff" * BLOCK_HEAD
CLEARED = bytes(BLOCK_HEAD)  # of a thing that was removed, until its block is erased


def kept_file(name: str) -> Path:
    """Return the absolute path of a file that may stand in for the flash: a new one, or one that a board made.

    Raises InputError for any other: a board writes in it, and what was there would be lost.
    """
    path = Path(name).absolute()
    if not path.parent.is_dir():
        raise InputError(
            f"{path} cannot be made: its folder is missing.",
            next_step="make the folder, or name another file",
        )
    if path.exists() and not _is_flash(path):
        raise InputError(
            f"{path} is not the flash of a simulated board; it was not changed.",
            limit="a new file, or one that a simulated board made",
            next_step="name another file behind kept=",
        )
    return path


def _is_flash(path: Path) -> bool:
    """Whether all of a file is blocks with the area's name behind them; not all of them cleared."""
    if not path.is_file():
        return False
    blocks, rest = divmod(path.stat().st_size, BLOCK)
    if rest != NAME or not blocks:
        return False
    with path.open("rb") as file:
        file.seek(blocks * BLOCK)
        name = file.read(NAME)
        heads = [_head(file, i) for i in range(blocks)]
    return any(head != CLEARED for head in heads) and all(_is_head(h, i, name) for i, h in enumerate(heads))


def _head(file: BinaryIO, number: int) -> bytes:
    file.seek(number * BLOCK)
    return file.read(BLOCK_HEAD)


def _is_head(head: bytes, number: int, name: bytes) -> bool:
    """Whether a block begins as one of a board does: in use, erased, or cleared to be erased."""
    if head in (ERASED, CLEARED):
        return True
    found = opened_block(head)
    return found is not None and found[0] == number and found[3] == name
