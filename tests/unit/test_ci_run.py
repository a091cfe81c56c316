"""What `.ci/run` does about boards' images: with programs that only note what they are called with."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

RUN = Path(__file__).parents[2] / ".ci" / "run"
PICO, PICO_W = "RPI_PICO-1.28.0.uf2", "RPI_PICO_W-1.28.0.uf2"
NOTES = 'echo "${0##*/} $* ${SWEEPRIG_BOARD_IMAGE:+image }${SWEEPRIG_BOARD_IMAGE_W:+image_w}" >> "$NOTES"\n'
BODIES = {
    "apt-get": NOTES,
    "sudo": '"$@"\n',
    "make": NOTES,
    "timeout": NOTES + 'while [ "$1" != make ]; do shift; done\n"$@"\nexit ${ENDS_WITH:-0}\n',
}

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="a script of bash")


class Checkout:
    """A folder with nothing but the script in it, and programs that note."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.beside = folder / "checkout", folder / "shared" / "board"
        (self.folder / ".ci").mkdir(parents=True)
        shutil.copy(RUN, self.folder / ".ci" / "run")
        self._programs, self._notes = folder / "programs", folder / "notes"
        self._programs.mkdir()
        self._notes.touch()
        for name, body in BODIES.items():
            path = self._programs / name
            path.write_text("#!/bin/sh\n" + body)
            path.chmod(0o755)

    def image(self, *names: str, folder: Path | None = None) -> Path:
        place = folder or self.beside
        place.mkdir(parents=True, exist_ok=True)
        for name in names:
            (place / name).touch()
        return place / names[0]

    def run(self, **settings: str) -> tuple[int, str, list[str]]:
        """Return the exit code, what was printed, and what was called."""
        path = f"{self._programs}:{os.environ['PATH']}"
        known = {k: v for k, v in os.environ.items() if not k.startswith("SWEEPRIG_BOARD")}
        done = subprocess.run(
            ["bash", ".ci/run"],
            cwd=self.folder,
            env={**known, "PATH": path, "NOTES": str(self._notes), **settings},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        return done.returncode, done.stdout, self._notes.read_text().splitlines()


@pytest.fixture
def checkout(tmp_path: Path) -> Checkout:
    return Checkout(tmp_path)


def test_without_an_image_nothing_is_installed_or_run(checkout: Checkout) -> None:
    code, said, called = checkout.run()
    assert code == 0
    assert "there is no image of a board at" in said.splitlines()[-1]
    assert [line.split()[:2] for line in called[2:]] == [["make", "test"], ["make", "campaign"]]
    assert not any("gcc" in line for line in called)


def test_images_beside_the_checkout_are_tried_last(checkout: Checkout) -> None:
    checkout.image(PICO, PICO_W)
    code, said, called = checkout.run()
    assert code == 0
    assert called[2:4] == ["make test ", "make campaign "]  # which see no image
    assert called[-1] == "make test-boards image image_w"
    assert said.splitlines()[-1].startswith("Emulated boards: ")


def test_an_image_is_where_the_variable_says(checkout: Checkout, tmp_path: Path) -> None:
    path = checkout.image("other.uf2", folder=tmp_path / "elsewhere")
    _code, _said, called = checkout.run(SWEEPRIG_BOARD_IMAGE=str(path))
    assert called[2] == "make test "
    assert called[-1] == "make test-boards image "


@pytest.mark.parametrize("ended", ["124", "137"])
def test_boards_that_do_not_end_in_time_are_told(checkout: Checkout, ended: str) -> None:
    checkout.image(PICO)
    code, said, _called = checkout.run(ENDS_WITH=ended)
    assert code == int(ended)
    assert "NOT FINISHED. They were ended after" in said


def test_a_failed_board_test_fails_the_run(checkout: Checkout) -> None:
    checkout.image(PICO)
    code, said, _called = checkout.run(ENDS_WITH="2")
    assert code == 2
    assert "NOT FINISHED" not in said


def test_the_boards_get_25_minutes_at_most(checkout: Checkout) -> None:
    checkout.image(PICO)
    _code, _said, called = checkout.run()
    (line,) = [line for line in called if line.startswith("timeout")]
    assert int(line.split("make")[0].split()[-1]) <= 1500
