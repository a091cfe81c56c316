"""Tapped without a word on the place: counts as work in a vehicle, because another controller feeds the sensor."""

from __future__ import annotations

from pathlib import Path

import pytest

from support.diary import SWEEP, DiaryRig, kept, moved, run
from sweeprig.errors import InputError

COMMANDS: dict[str, tuple[str, ...]] = {
    "sweep": SWEEP,
    "wiggle": ("wiggle", "--seconds", "3", "--sheet", "none"),
    "watch": ("watch", "--seconds", "3"),
    "check": ("check", "--move", "2"),
}
TAPPED = ("--hookup", "tapped")
ALL = ("--confirm", "cautions,laptop-battery,usb-first", "--drive", "combustion")


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch) -> DiaryRig:
    made = DiaryRig(moved)
    kept(monkeypatch, made)
    return made


@pytest.mark.parametrize("name", COMMANDS)
def test_the_drive_is_asked_before_anything_else(name: str, rig: DiaryRig) -> None:
    result = run(*COMMANDS[name], *TAPPED, "--confirm", "cautions,laptop-battery,usb-first")
    assert isinstance(result.exception, InputError)
    assert "What drives the vehicle is not known" in str(result.exception)
    assert "--setting bench" in result.exception.next_step
    assert not {"start", "feed"} & set(rig.diary)


@pytest.mark.parametrize("name", COMMANDS)
def test_all_cautions_of_a_vehicle_are_shown(name: str, rig: DiaryRig) -> None:
    result = run(*COMMANDS[name], *TAPPED, *ALL)
    assert "motor-driven throttle plate" in result.stderr
    assert "counts as work in a vehicle" in result.stderr
    assert [e for e in rig.diary if e.startswith("confirm")] == [
        "confirm cautions", "confirm laptop-battery", "confirm usb-first",
    ]  # fmt: skip


def test_the_capture_says_vehicle(rig: DiaryRig, tmp_path: Path) -> None:
    from sweeprig.capture.file import read_capture

    run(*SWEEP, *TAPPED, *ALL, "--out", str(tmp_path))
    (file,) = tmp_path.glob("*.sweep")
    assert read_capture(file).setup.setting == "vehicle"
    assert read_capture(file).setup.vehicle_drive == "combustion"


def test_a_bench_that_is_named_stays_a_bench(rig: DiaryRig, tmp_path: Path) -> None:
    from sweeprig.capture.file import read_capture

    bench = (*TAPPED, "--setting", "bench", "--confirm", "laptop-battery,usb-first")
    result = run(*SWEEP, *bench, "--out", str(tmp_path))
    (file,) = tmp_path.glob("*.sweep")
    assert read_capture(file).setup.setting == "bench"
    assert "motor-driven" not in result.stderr


def test_powered_stays_on_the_bench(rig: DiaryRig, tmp_path: Path) -> None:
    from sweeprig.capture.file import read_capture

    run(*SWEEP, "--confirm", "plug-off", "--out", str(tmp_path))
    (file,) = tmp_path.glob("*.sweep")
    assert read_capture(file).setup.setting == "bench"
