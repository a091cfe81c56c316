"""A killed and recovered capture says all that a whole one says: calibration, versions and the profile's text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from support.diary import DiaryRig, moved
from support.faces import UNWATCHED, Quiet
from support.scripted_rig import client_of
from sweeprig import __version__
from sweeprig.analysis.wiggle import Happening
from sweeprig.bench.batch.series import Batch
from sweeprig.bench.batch.series_run import sweep_one
from sweeprig.bench.readings.search import LiveSearch
from sweeprig.bench.review.review import review_capture
from sweeprig.bench.session import session
from sweeprig.bench.sweep.sweep import SweepOrder, take
from sweeprig.bench.wiggle.run import run_wiggle
from sweeprig.calibration.model import Meter
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.store import save_calibration
from sweeprig.capture.file import read_capture
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import recover
from sweeprig.judge.model import Quantity
from sweeprig.judge.profile import load_profile

SETUP = SweepSetup(seconds=8.0, confirmed=("plug-off: said",))
KILLED_AT = 5000  # record, of 8000


class KilledError(BaseException):
    """Stands in for what ends a process at once: nothing of the program's own catches it."""


def kill() -> None:
    raise KilledError


def calibrated(uid: str, folder: Path) -> None:
    """Store a calibration with a line of its own, far more certain than the nominal one."""
    nominal = nominal_calibration({"uid": uid, "build": "full", "chip": "rp2040"})
    line = nominal.channels[0].line
    sure = replace(line, offset_v=line.offset_v + 0.01, var_offset=1e-8, var_gain=1e-16, cov=0.0)
    channels = tuple(replace(c, line=sure) for c in nominal.channels)
    meter = Meter(name="bench meter", serial="M-11", certificate="C-2030-88", percent_of_reading=0.05)
    made_at = "2031-02-20T09:00:00+00:00"
    save_calibration(
        replace(nominal, kind="line", channels=channels, made_at=made_at, meter=meter), folder=folder
    )


def swept(rig: DiaryRig, order: SweepOrder) -> None:
    take(client_of(rig), replace(order, timed=True), watch=UNWATCHED)


def in_series(rig: DiaryRig, order: SweepOrder) -> None:
    batch = Batch("B")
    batch.next_sensor("SN-1")
    sweep_one(client_of(rig), order, batch, Quiet())


class Unseen:
    """A face that nobody looks at."""

    def show(self, state: LiveSearch) -> None: ...

    def tell(self, new: list[Happening]) -> None: ...

    def pressed(self) -> str:
        return ""

    def ended(self) -> bool:
        return False


def wiggled(rig: DiaryRig, order: SweepOrder) -> None:
    with session(client_of(rig), order.setup, calibrations=order.calibrations) as s:
        run_wiggle(s, Unseen(), folder=order.folder)


def killed(how: Callable[[DiaryRig, SweepOrder], None], folder: Path, at: int) -> Capture:
    """Return the capture that the next run recovers."""
    rig = DiaryRig(moved)
    rig.happens, rig.when = kill, (2, at)
    with pytest.raises(KilledError):
        how(rig, SweepOrder(SETUP, folder, folder / "calibrations"))
    (path,) = recover(folder)
    return read_capture(path)


def intervals(capture: Capture) -> dict[str, tuple[float | None, float | None]]:
    def both(q: Quantity) -> tuple[float | None, float | None]:
        return q.value, q.u95

    return {name: both(q) for name, q in review_capture(capture).judgement.quantities.items()}


def test_killed_sweep_is_judged_with_its_calibration(tmp_path: Path) -> None:
    (tmp_path / "whole").mkdir()
    calibrated("00ff", tmp_path / "calibrations")
    cut = killed(swept, tmp_path, KILLED_AT)
    rig, order = DiaryRig(moved), SweepOrder(SETUP, tmp_path / "whole", tmp_path / "calibrations")
    whole = take(client_of(rig), replace(order, timed=True), watch=UNWATCHED)[0]
    assert (cut.ended, whole.ended) == ("recovered", "complete")
    n = len(cut.records)
    assert KILLED_AT - 500 <= n <= KILLED_AT
    assert np.array_equal(cut.records.sums, whole.records.sums[:n])
    assert cut.calibration == whole.calibration
    as_far = replace(whole, records=whole.records[:n], ended="recovered", setup=cut.setup)
    found = intervals(cut)
    assert found == intervals(as_far)
    assert found["closed_v"][0] is not None
    nominal = intervals(replace(cut, calibration=None))
    assert cut.calibration["made_at"] == "2031-02-20T09:00:00+00:00"
    assert nominal["closed_v"][0] == pytest.approx(found["closed_v"][0] - 0.01, abs=2e-3)
    assert nominal["closed_v"][1] > 1.5 * found["closed_v"][1]


@pytest.mark.parametrize("how", [swept, in_series, wiggled])
def test_killed_capture_keeps_calibration_versions_and_profile(
    how: Callable[[DiaryRig, SweepOrder], None], tmp_path: Path
) -> None:
    calibrated("00ff", tmp_path / "calibrations")
    cut = killed(how, tmp_path, 600)
    assert cut.calibration is not None
    assert cut.calibration["made_at"] == "2031-02-20T09:00:00+00:00"
    assert cut.versions["sweeprig"] == __version__
    assert cut.versions["numpy"] == np.__version__
    assert cut.setup.profile_text == load_profile(SETUP.profile).text


def test_whole_capture_of_a_rig_has_its_versions(tmp_path: Path) -> None:
    swept(DiaryRig(moved), SweepOrder(replace(SETUP, seconds=2.0), tmp_path, tmp_path / "calibrations"))
    (path,) = tmp_path.glob("*.sweep")
    assert set(read_capture(path).versions) == {"sweeprig", "numpy", "python"}
