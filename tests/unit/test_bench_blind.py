"""A rig that brings nothing usable any more, or is gone, while something looks: it ends, says why, and lets go."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from support.diary import DiaryRig, moved
from support.faces import UNWATCHED, Quiet
from support.scripted_rig import ScriptedRig, client_of
from sweepboard import wire
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.watch import Watcher
from sweeprig.bench.review.review import review_file
from sweeprig.bench.session import session
from sweeprig.bench.sweep.sweep import SweepOrder, take
from sweeprig.bench.watch import run_watch
from sweeprig.capture.file import read_capture
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import BoardSilentError, HookupError, LinkError, PortLostError

POWERED = SweepSetup(seconds=20.0, confirmed=("plug-off: said",))


class Blind(ScriptedRig):
    """Calls all of its conversions bad from record `after` of the second stream on."""

    def __init__(self, after: int) -> None:
        super().__init__(lambda o: (0.45, 0.0, 4.72) if o.supply else (0.0, 0.0, 0.0))
        self._after = after

    def _record(self, index: int) -> bytes:
        fields = list(struct.unpack(wire.RECORD_FORMAT, super()._record(index)))
        if len(self.did("start")) > 1 and index >= self._after:
            fields[-1] |= wire.FLAG_CONVERSION_ERROR
        return struct.pack(wire.RECORD_FORMAT, *fields)


def order(folder: Path, *, timed: bool) -> SweepOrder:
    return SweepOrder(POWERED, folder, folder / "calibrations", timed=timed)


def seen_s(rig: ScriptedRig) -> float:
    return rig._index * wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ


def test_an_armed_sweep_does_not_wait_for_a_blind_converter(tmp_path: Path) -> None:
    """It waited for ever, with the sensor fed: only usable records let its time go by."""
    rig = Blind(after=1000)
    with pytest.raises(BoardSilentError, match=r"all (of its )?readings as bad"):
        take(client_of(rig), order(tmp_path, timed=False), watch=UNWATCHED)
    assert not rig.out.supply
    assert seen_s(rig) < 1.0 + 2 * limit("blind.after_s")
    assert list(tmp_path.glob("*.journal")) == []


def test_a_capture_ends_where_the_converter_goes_blind(tmp_path: Path) -> None:
    rig = Blind(after=1000)
    capture, path = take(client_of(rig), order(tmp_path, timed=True), watch=UNWATCHED)
    assert capture.ended == "stopped"
    assert len(read_capture(path).records.usable()) == 1000
    assert not rig.out.supply


@pytest.mark.parametrize("silent", [True, False])
def test_a_live_view_ends_where_nothing_comes_any_more(silent: bool, tmp_path: Path) -> None:
    """A reading that stood still looked like a sensor that stands still."""
    rig = Blind(after=10**9 if silent else 1000)
    rig.n_packets = 60 if silent else rig.n_packets
    with pytest.raises(BoardSilentError), session(client_of(rig), POWERED, calibrations=tmp_path) as s:
        run_watch(s, Watcher(s.profile), Quiet(), seconds=30.0)
    assert not rig.out.supply


@pytest.mark.parametrize(("how", "error"), [("lose", PortLostError), ("fall_silent", BoardSilentError)])
def test_a_rig_lost_while_the_sweep_waits_is_said(how: str, error: type[LinkError], tmp_path: Path) -> None:
    """It looked like the operator's own end: no word of the rig."""
    rig = DiaryRig(lambda o: (0.45, 0.0, 4.72) if o.supply else (0.0, 0.0, 0.0))
    rig.happens, rig.when = getattr(rig, how), (2, 1500)
    with pytest.raises(error, match="lost before the sweep began"):
        take(client_of(rig), order(tmp_path, timed=False), watch=UNWATCHED)
    assert list(tmp_path.glob("*.journal")) == []


def test_what_came_after_the_board_let_go_is_not_judged(tmp_path: Path) -> None:
    """A good sensor without its supply looks like a broken one."""
    rig = ScriptedRig(moved)

    def volts(o):
        o.supply = o.supply and not (len(rig.did("start")) > 1 and o.index >= 9000)
        return moved(o)

    rig.volts = volts
    with pytest.raises(HookupError, match="by itself"):
        take(client_of(rig), order(tmp_path, timed=True), watch=UNWATCHED)
    (kept,) = tmp_path.glob("*.sweep")
    assert len(read_capture(kept).records) == 9000
    judged = review_file(kept).judgement
    assert not [f for f in judged.findings if "supply" in f.code or f.code == "open-signal"]
