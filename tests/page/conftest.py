"""Makes the helpers of these tests importable, and gives commands at a terminal with a page."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))
pytest.importorskip(
    "starlette", reason="the page's libraries are not installed: pip install 'sweeprig[page]'"
)


@pytest.fixture
def terminals(tmp_path: Path) -> Iterator[Any]:
    from run import Bench

    from support.terminal import Terminal

    made: list[Terminal] = []
    benches: list[Bench] = []

    def start(*args: str) -> Bench:
        made.append(Terminal("-m", "sweeprig", *args, home=tmp_path, columns=200, rows=40))
        benches.append(Bench(made[-1]))
        return benches[-1]

    yield start
    for terminal in made:
        if terminal.process.poll() is None:
            terminal.process.kill()
            terminal.process.wait()
    for bench in benches:
        bench.end()
        bench.terminal.close()
