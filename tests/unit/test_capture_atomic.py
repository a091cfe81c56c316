"""Files that are written whole or not at all: each caller says what is true of its own file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from sweeprig.bench.hookup.cautions import JobBook
from sweeprig.bench.hookup.lead_book import LeadBook, LeadCheck
from sweeprig.errors import FileError

WHEN = datetime(2026, 1, 2, tzinfo=UTC)
CHECK = LeadCheck("2026-01-02T00:00:00+00:00", True, 0.5, 0.5, 0.001, 0, 10.0)


def test_a_book_whose_folder_is_a_file_names_it(tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_bytes(b"")
    with pytest.raises(FileError, match="taken") as jobs:
        JobBook(taken).note("1042", ["plug-off"], when=WHEN)
    with pytest.raises(FileError, match="taken") as leads:
        LeadBook(taken).note("00ff", CHECK)
    assert "asks again" in jobs.value.next_step
    assert "test the lead again" in leads.value.next_step
    assert "journal" not in jobs.value.next_step + leads.value.next_step
