"""Commands on terminals of their own, closed when the test ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from support.terminal import Terminal

Run = Callable[..., Terminal]


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Run]:
    opened: list[Terminal] = []

    def start(*args: str, **how: object) -> Terminal:
        made = Terminal("-m", "sweeprig", *args, home=tmp_path / "home", **how)  # type: ignore[arg-type]
        opened.append(made)
        return made

    yield start
    for terminal in opened:
        terminal.close()
