"""Ctrl-C in the sweep that `aim` makes first: an end like any other, however little has come."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import sweeprig.bench.board.rig
import sweeprig.bench.session
from support.scripted_rig import ScriptedRig, client_of, sensor
from sweeprig.cli.main import run
from sweeprig.link.client import RigClient


def _aim_with_ctrl_c(monkeypatch: pytest.MonkeyPatch, folder: Path, packets: int) -> None:
    """Run aim on a scripted rig; Ctrl-C comes with the start of its sweep, and a packet of 16 records or none."""
    rig = ScriptedRig(sensor())

    @contextmanager
    def opened(_port: str) -> Iterator[RigClient]:
        yield client_of(rig)

    taken = sweeprig.bench.session.run_sweep

    def interrupted(*args: Any, **more: Any) -> Any:
        signal.raise_signal(signal.SIGINT)
        if not packets:
            monkeypatch.setattr(rig, "_next_packet", lambda: None)
        return taken(*args, **more)

    monkeypatch.setattr(sweeprig.bench.board.rig, "opened_rig", opened)
    monkeypatch.setattr(sweeprig.bench.session, "run_sweep", interrupted)
    options = [
        "--seconds",
        "5",
        "--mount",
        "slotted",
        "--profile",
        "adjustable-potentiometer",
        "--confirm",
        "plug-off",
    ]
    monkeypatch.setattr("sys.argv", ["sweeprig", "aim", *options, "--out", str(folder)])
    run()


@pytest.mark.parametrize("packets", [0, 1], ids=["no-record", "16-records"])
def test_ctrl_c_before_there_is_anything_to_analyse_stops_aim(
    packets: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        _aim_with_ctrl_c(monkeypatch, tmp_path, packets)
    said = capsys.readouterr().err
    assert end.value.code == 130, said
    assert "too short" not in said
    assert len(list(tmp_path.glob("*.sweep"))) == packets, "what came is kept"
