"""The emulator of the boards' tests, compiled for this Python: all of its modules or none."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from tests.board import fast_emulator

REFUSES = "import sys\nsys.exit('no Python.h here' if '_b.c' in ' '.join(sys.argv) else 0)\n"


@pytest.fixture
def there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Sources of two modules."""
    found = [tmp_path / name for name in ("_a.c", "_b.c")]
    for path in found:
        path.write_text("int of_no_use;\n")
    monkeypatch.setattr(fast_emulator, "sources", lambda: found)
    return found


def compiler(folder: Path, text: str) -> str:
    path = folder / "cc"
    path.write_text(f"#!{sys.executable}\n{text}")
    path.chmod(0o755)
    return str(path)


WRITES = "import sys\nopen(sys.argv[-1], 'w').write(sys.argv[-3])\n"


def test_both_are_there_and_made_once(there: list[Path], tmp_path: Path) -> None:
    said: list[str] = []
    for text in (WRITES, "raise SystemExit('called again')"):
        fast_emulator.main(said.append, compiler(tmp_path, text))
    assert [fast_emulator.module_of(path).read_text() for path in there] == [str(path) for path in there]
    assert said == [
        "The emulator is compiled for this Python now: 2 modules.",
        "The emulator is compiled for this Python: 2 modules.",
    ]


def test_one_that_does_not_compile_leaves_none(there: list[Path], tmp_path: Path) -> None:
    said: list[str] = []
    fast_emulator.main(said.append, compiler(tmp_path, WRITES + REFUSES))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["_a.c", "_b.c", "cc"]
    assert said[0].endswith("its C sources do not compile here: no Python.h here")


def test_no_compiler_is_said(there: list[Path]) -> None:
    said: list[str] = []
    fast_emulator.main(said.append, None)
    assert "no C compiler" in said[0]
