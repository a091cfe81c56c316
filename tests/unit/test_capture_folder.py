"""What the file of a capture is called."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from support.outcomes import make_capture, make_setup, make_trace
from sweeprig.bench.session import Session


@pytest.mark.parametrize(
    ("created", "named"),
    [("2031-03-04T10:16:30+01:00", "20310304-101630"), ("not a date", "20310304-101714")],
)
def test_a_file_is_named_by_the_time_that_its_capture_says(tmp_path: Path, created: str, named: str) -> None:
    """It was named when it was saved: 44 s after the time in the record, on a busy machine."""
    saved = datetime.fromisoformat("2031-03-04T10:17:14+01:00")
    session = SimpleNamespace(
        setup=make_setup(), now=lambda: saved, power=SimpleNamespace(check=lambda _path: None), _lost=None
    )
    capture = replace(make_capture(make_trace(), make_setup()), created=created)
    _, path = Session.keep(session, capture, tmp_path, "shelf 3")  # type: ignore[arg-type]
    assert path.name == f"shelf-3-{named}.sweep"
