"""Commands on terminals of their own, closed when the test ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from support import diary
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


@pytest.fixture(scope="session")
def ends(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A capture that shows both ends, so that aim need not sweep first."""
    folder = tmp_path_factory.mktemp("ends")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SWEEPRIG_HOME", str(folder / "home"))
        diary.kept(patch, diary.DiaryRig(diary.moved))
        diary.run(*diary.SWEEP, "--confirm", "plug-off", "--out", str(folder))
    (path,) = folder.glob("*.sweep")
    return path
