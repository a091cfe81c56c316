"""An installation on a folder in place of a board: copied, checked, damaged, mended, removed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sweeprig.cli.main import app, run
from sweeprig.errors import FileError


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))
    return tmp_path


def install(*args: Any) -> Result:
    return CliRunner().invoke(app, ["install", "--port", "sim://good", *args])


def board(home: Path) -> Path:
    found = list(home.rglob("simulated-board"))
    return found[0] if found else home / "state" / "simulated-board"


def test_an_install_is_gone_through_on_a_folder(home: Path) -> None:
    assert install("--check").exit_code == 10
    done = install()
    assert done.exit_code == 0, done.output
    assert "SIMULATED board" in done.stdout
    assert "all hashes equal" in done.stdout
    assert (board(home) / "main.py").is_file()
    assert install("--check").exit_code == 0
    (board(home) / "sweepboard" / "wire.py").write_text("# damaged")
    assert "sweepboard/wire.py: another version" in install("--check").stdout
    assert "copied sweepboard/wire.py" in install().stdout


def test_a_main_of_ones_own_is_kept_and_put_back(home: Path) -> None:
    install("--check")
    board(home).mkdir(parents=True, exist_ok=True)
    (board(home) / "main.py").write_text("print(1)")
    assert "your main.py is now main_before_sweeprig.py" in install().stdout
    done = install("--remove")
    assert done.exit_code == 0
    assert (board(home) / "main.py").read_text() == "print(1)"
    assert not list((board(home) / "sweepboard").glob("*.py"))


OWN = ("mynotes.py", "table.json")


def with_own_files(home: Path) -> list[Path]:
    install()
    own = [board(home) / "sweepboard" / name for name in OWN]
    for path in own:
        path.write_text(f"my {path.name}")
    return own


def test_files_that_are_not_of_the_firmware_are_moved_and_named(home: Path) -> None:
    with_own_files(home)
    assert "sweepboard/table.json: not ours" in install("--check").stdout
    done = install()
    kept = sorted((board(home) / "before_sweeprig").iterdir(), key=lambda p: p.name[9:])
    assert [p.read_text() for p in kept] == [f"my {name}" for name in OWN]
    assert all(f"is now before_sweeprig/{p.name}" in done.stdout for p in kept)
    assert install("--check").exit_code == 0


def test_remove_leaves_what_is_not_of_the_firmware(home: Path) -> None:
    own = with_own_files(home)
    done = install("--remove")
    for path in own:
        assert path.read_text() == f"my {path.name}"
        assert f"sweepboard/{path.name} stays" in done.stdout
    assert not (board(home) / "sweepboard" / "wire.py").exists()


def test_check_and_remove_together_are_refused_and_change_nothing(home: Path) -> None:
    install()
    assert install("--check", "--remove").exit_code != 0
    assert (board(home) / "sweepboard" / "wire.py").exists()


def test_a_kept_main_that_is_not_put_back_is_named(home: Path) -> None:
    install("--check")
    board(home).mkdir(parents=True, exist_ok=True)
    (board(home) / "main.py").write_text("print(1)")
    install()
    (board(home) / "main.py").write_text("print(2)")
    done = install("--remove")
    assert "main_before_sweeprig.py keeps this name" in done.stdout
    assert (board(home) / "main.py").read_text() == "print(2)"
    assert (board(home) / "main_before_sweeprig.py").read_text() == "print(1)"


def test_a_place_that_cannot_be_used_is_said_in_words(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    install()
    (board(home) / "main.py").unlink()
    (board(home) / "main.py").mkdir()
    monkeypatch.setattr("sys.argv", ["sweeprig", "install", "--port", "sim://good"])
    with pytest.raises(SystemExit) as ended:
        run()
    assert ended.value.code == FileError.exit_code
    assert "A file or folder cannot be used" in capsys.readouterr().err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
@pytest.mark.parametrize("name", ["main.py", "main_before_sweeprig.py", "sweepboard/wire.py"])
@pytest.mark.parametrize("how", [[], ["--check"]])
def test_a_pipe_in_place_of_a_file_is_refused(home: Path, name: str, how: list[str]) -> None:
    """Writing to it waits for a reader that never comes; here one waits, so that nothing hangs."""
    pipe = board(home) / name
    pipe.parent.mkdir(parents=True)
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        done = install(*how)
    finally:
        os.close(reader)
    assert isinstance(done.exception, FileError)
    assert f"{pipe} is not a regular file." in done.exception.what
    assert "sweepboard/service.py" not in done.output
