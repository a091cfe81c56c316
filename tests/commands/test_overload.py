"""A supply that is overloaded while a command looks at the sensor: off within moments, whatever the command."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from support.diary import DiaryRig, kept, run
from support.scripted_rig import Outputs, Reading
from sweepboard import wire
from sweeprig.capture.file import read_capture
from sweeprig.errors import HookupError

WINDOW_S = wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ
SUPPLY_V, LIMITED_V = 4.72, 2.4
# command and the record of its last stream at which the limiter begins to act
COMMANDS: dict[str, tuple[int, tuple[str, ...]]] = {
    "watch": (1500, ("watch", "--seconds", "30")),
    "wiggle": (1500, ("wiggle", "--seconds", "30", "--sheet", "none")),
    "lead": (4000, ("check", "--lead", "--lead-ratio", "0.1")),
}


class Overloaded(DiaryRig):
    """From record `at` of stream `stream` on the limiter acts; knows at which record it was switched off."""

    def __init__(self, stream: int, at: int) -> None:
        super().__init__(self._limited)
        self.at, self.stream, self.off_at = at, stream, 0
        self.fault = self._acts

    def _acts(self, o: Outputs) -> bool:
        return o.supply and self.n_streams == self.stream and o.index >= self.at

    def _limited(self, o: Outputs) -> Reading:
        supply = LIMITED_V if self._acts(o) else SUPPLY_V
        return (0.45 * supply / SUPPLY_V, 0.0, supply) if o.supply else (0.0, 0.0, 0.0)

    def _obey(self, name: str, command: dict[str, Any]) -> None:
        if name == "supply" and not command["on"] and self.out.supply and self.streaming:
            self.off_at = self._index
        super()._obey(name, command)

    @property
    def off_after_s(self) -> float:
        """Time [s] from the overload to the switch, both inside the running stream."""
        assert self.off_at, "switched off while the stream ran"
        return (self.off_at - self.at) * WINDOW_S


@pytest.mark.parametrize("name", COMMANDS)
def test_overload_while_a_command_looks_is_cut(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    at, args = COMMANDS[name]
    rig = Overloaded(1 if name == "lead" else 2, at)
    kept(monkeypatch, rig)
    result = run(*args, "--confirm", "plug-off")
    assert 0.1 <= rig.off_after_s < 0.4
    assert rig.all_off
    assert isinstance(result.exception, HookupError)
    assert "overload with the lever where the" in result.exception.what
    assert f"supply {LIMITED_V:.2f} V" in result.exception.seen


def test_overload_in_a_wiggle_test_keeps_what_came(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    rig = Overloaded(2, 1500)
    kept(monkeypatch, rig)
    result = run("wiggle", "--sheet", "none", "--confirm", "plug-off", "--out", str(tmp_path))
    (path,) = tmp_path.glob("wiggle-*.sweep")
    assert str(path) in str(result.exception)
    assert len(read_capture(path).records) >= 1500


def test_overload_while_a_sensor_is_turned_is_cut(monkeypatch: pytest.MonkeyPatch, ends: Path) -> None:
    rig = Overloaded(2, 1500)
    kept(monkeypatch, rig)
    result = run("aim", "--mount", "slotted", "--from", str(ends), "--confirm", "plug-off")
    assert isinstance(result.exception, HookupError)
    assert 0.1 <= rig.off_after_s < 0.4
    assert "feed" not in rig.diary[rig.diary.index("feed") + 1 :], "no sweep after it"


@pytest.mark.parametrize("at", [700, 900])
def test_overload_while_the_bias_is_tried_is_cut_and_named(at: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The check looks with the burden off and the bias up for a second: nobody looked at the supply meanwhile."""
    rig = Overloaded(1, at)
    kept(monkeypatch, rig)
    result = run("check", "--move", "2", "--confirm", "plug-off")
    assert result.exit_code == 10
    assert rig.off_after_s < 0.4
    assert "overloaded at closed throttle and is switched off" in result.output
    assert f"supply {LIMITED_V:.2f} V" in result.output
