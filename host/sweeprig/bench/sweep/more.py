"""Whether a few more strokes would settle a cause that is still open, decided while the lever rests at the end."""

from __future__ import annotations

from collections.abc import Callable

from sweeprig.capture.model import SweepSetup, Trace
from sweeprig.errors import SweeprigError
from sweeprig.judge.profile import Profile


def load_analysis() -> None:
    """Import what an analysis needs before a capture runs: during one, the import would hold up the records."""
    import scipy.ndimage
    import scipy.spatial  # noqa: F401

    from sweeprig.analysis import analyse  # noqa: F401


def strokes_that_would_tell(trace: Trace, setup: SweepSetup, profile: Profile) -> int:
    """Return how many more strokes would separate a worn spot from a loose contact; 0: none would, or none need to."""
    from sweeprig.analysis.analyse import analyse
    from sweeprig.judge.graded import graded

    kind = setup.sensor_kind or profile.sensor.kind
    try:
        found = analyse(trace, starts=setup.starts, given_sense=setup.sense, sensor_kind=kind)
    except SweeprigError:  # the whole capture says it again, with its next step
        return 0
    open_yet = [f for f in graded(found, profile) if f.severity != "note"]
    return max((int(f.numbers.get("more_strokes", 0)) for f in open_yet), default=0)


Asked = Callable[[], int]
"""Gives how many more strokes would decide; 0 ends the sweep."""
