"""The sheet of a batch on paper: one A4 in weasyprint, whatever was typed and found."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from pypdf import PdfReader

from support import outcomes as oc
from support.records_world import numbered
from sweeprig.bench.batch.sheet import batch_sheet
from sweeprig.errors import ExportError
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.records.rows import Record
from sweeprig.records.store import open_store
from sweeprig.report.pdf import write_pdf

LONG = "three-wire position sensor of an invented maker, second delivery of the year"


@pytest.fixture(autouse=True)
def pdf_library() -> None:
    """Skip where the libraries that weasyprint loads are missing."""
    from sweeprig.report.pdf import _library

    try:
        _library()
    except ExportError as problem:
        pytest.skip(f"no PDF here: {problem}")


BASES = cache(oc.outcome)


def sensor(n: int, *, long: bool) -> Outcome:
    base = BASES(worn=n % 2 == 1)
    if long and n % 2:
        found = (oc.WORN, replace(oc.WORN, where_percent=(61.0, 64.0)), replace(oc.WORN, channel=1))
        base = replace(base, judgement=replace(base.judgement, findings=found, verdict=Verdict.FAIL))
    text = LONG if long else "short"
    return numbered(
        n, base, closed_v=0.45 + 1e-3 * (n % 7), serial=f"{'serial number of ' * long}S-{n}",
        job=text, part=text, operator=text,
    )  # fmt: skip


def records(tmp_path: Path, n: int, *, long: bool) -> list[Record]:
    with open_store(tmp_path / "r.sqlite") as store:
        for k in range(n):
            store.add(sensor(k, long=long), tmp_path / f"{k}.sweep", batch="B")
        return store.find(batch="B", full=True)[::-1]


@pytest.mark.parametrize(("n", "long"), [(3, False), (40, False), (60, False), (60, True)])
def test_the_sheet_of_a_batch_is_one_a4(tmp_path: Path, n: int, long: bool) -> None:
    page = batch_sheet(LONG if long else "B", records(tmp_path, n, long=long), workshop=LONG)
    write_pdf(page, tmp_path / "b.pdf")
    pages = PdfReader(tmp_path / "b.pdf").pages
    text = " ".join(pages[0].extract_text().split())
    assert len(pages) == 1
    assert "Signature" in text
    assert "…" not in text
    shown = page.partition("<tbody>")[2].partition("</tbody>")[0].count("<tr>")
    assert shown == n or f"{n - shown} more sensors are in the records." in text
