"""What all tests share: programs that some need, and a home of their own."""

from __future__ import annotations

import os
import shutil
import signal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from sweeprig.twin.machines import find_micropython


def _postgres() -> str | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return str(found[-1]) if found else shutil.which("initdb")


PROGRAMS = {
    "micropython": find_micropython,
    "ngspice": lambda: shutil.which("ngspice"),
    "browser": lambda: shutil.which("chromium") and shutil.which("chromedriver"),
    "chromium": lambda: shutil.which("chromium"),
    "postgres": _postgres,
}


# The same examples in every run, and no failure for a machine that is busy.
settings.register_profile(
    "sweeprig", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("sweeprig")


def pytest_configure() -> None:
    """Let programs that tests start be interrupted and hung up, also where this one runs behind nohup or `&`."""
    for number, usual in ((signal.SIGINT, signal.default_int_handler), (signal.SIGHUP, signal.SIG_DFL)):
        if signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, usual)


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip, with the reason, a test whose program is missing; fail it where the program is required."""
    for name, find in PROGRAMS.items():
        if item.get_closest_marker(name) and not find():
            if os.environ.get(f"SWEEPRIG_REQUIRE_{name.upper()}") == "1":
                pytest.fail(f"{name} is required here (SWEEPRIG_REQUIRE_{name.upper()}=1) and was not found")
            pytest.skip(f"{name} is not installed")
    if item.get_closest_marker("board") and not os.environ.get("SWEEPRIG_BOARD_IMAGE"):
        pytest.skip("SWEEPRIG_BOARD_IMAGE is not set: no board image to emulate")


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the user's own configuration, captures and records out of every test."""
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("NO_COLOR", "1")
