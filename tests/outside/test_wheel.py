"""The built wheel, installed alone: the command works and the board's firmware is in it."""

from __future__ import annotations

import json
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A virtual environment with the wheel; what the wheel needs comes from this Python's own packages."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT, check=True, capture_output=True,
    )  # fmt: skip
    (wheel,) = folder.glob("*.whl")
    venv.create(folder / "env", with_pip=False)
    site = next((folder / "env").glob("lib/python*/site-packages"))
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", str(site), str(wheel)],
        check=True,
    )
    (site / "needs.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return folder / "env"


def run(env: Path, *args: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(env / "bin" / "python"), "-m", "sweeprig", *args],
        cwd=cwd, env={"SWEEPRIG_HOME": str(cwd / "home"), "PATH": ""},
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip


def test_the_wheel_holds_the_firmware(installed: Path, tmp_path: Path) -> None:
    code = (
        "import sweeprig, sweepboard, importlib.resources as r;"
        "print(sweeprig.__file__, sweepboard.__file__, r.files('sweeprig_firmware').joinpath('main.py').is_file())"
    )
    done = subprocess.run(
        [str(installed / "bin" / "python"), "-c", code],
        cwd=tmp_path, env={"PATH": ""}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    host, board, main = done.stdout.split()
    assert host.startswith(str(installed))
    assert board.startswith(str(installed))
    assert main == "True"


def test_the_wheel_does_the_main_job(installed: Path, tmp_path: Path) -> None:
    port = "sim://near-upper-rail?pace=fast&vm=cpython"
    done = run(installed, "sweep", "--port", port, "--json", cwd=tmp_path)
    assert done.returncode == 10, done.stderr
    result = json.loads(done.stdout)
    assert result["verdict"] == "fail"
    assert Path(result["sheet_file"]).stat().st_size > 10_000
