"""The routes of the records. Each asks in a thread of its own, so that the live page goes on."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import msgspec
from starlette.responses import Response
from starlette.routing import Route

from sweeprig.errors import InputError, SweeprigError
from sweeprig.page.plain import html
from sweeprig.page.records.shelf import Shelf
from sweeprig.page.sheet import sheet_page
from sweeprig.records.wanted import PAGE, Wanted

if TYPE_CHECKING:
    from starlette.requests import Request

    from sweeprig.records.rows import Record

NEWEST = 100  # sweeps of a sensor that its history shows
Answer = Callable[["Request"], Awaitable[Response]]


def _asked(request: Request, name: str) -> str:
    return request.query_params.get(name, "")[:200]


def _wanted(request: Request) -> Wanted:
    at, _, number = _asked(request, "before").partition("_")
    try:
        before = (float(at), int(number)) if number else None
    except ValueError:
        before = None
    return Wanted(
        words=_asked(request, "words"),
        verdict=_asked(request, "verdict"),
        since=_asked(request, "since"),
        until=_asked(request, "until"),
        batch=_asked(request, "batch"),
        before=before,
    )


class Pages:
    """The pages of one shelf."""

    def __init__(self, shelf: Shelf) -> None:
        self._shelf = shelf

    def routes(self) -> list[Route]:
        """Return the routes."""
        pages: dict[str, Callable[[Request], Response]] = {
            "/records": self.found,
            "/records.csv": self.csv,
            "/sensor": self.sensor,
            "/record/{key}": self.record,
            "/record/{key}/sheet": self.sheet,
            "/two": self.two,
            "/two.json": self.two_data,
            "/batch": self.batch,
        }
        return [Route(path, _in_thread(page), methods=["GET"]) for path, page in pages.items()]

    def _search(self, request: Request) -> tuple[Wanted, list[Record], tuple[float, int] | None, list[str]]:
        wanted = _wanted(request)
        records, more, aside = self._shelf.ask(lambda s: (*s.search(wanted, limit=PAGE), list(s.aside)))
        return wanted, records, more, aside

    def found(self, request: Request) -> Response:
        """Return a page of what fits."""
        wanted, records, more, aside = self._search(request)
        asked = {k: v for k in ("words", "verdict", "since", "until", "batch") if (v := getattr(wanted, k))}
        older = "" if more is None else urlencode({**asked, "before": f"{more[0]!r}_{more[1]}"})
        return html(
            "records.html",
            wanted=wanted,
            rows=[row_of(r) for r in records],
            older=older,
            csv=urlencode({**asked, **({"before": _asked(request, "before")} if wanted.before else {})}),
            aside=aside,
        )

    def csv(self, request: Request) -> Response:
        """Return what a page of the search shows, as CSV."""
        from sweeprig.bench.shop.records import to_csv

        _, records, _, _ = self._search(request)
        return _csv_file(to_csv(records), "records.csv")

    def sensor(self, request: Request) -> Response:
        """Return a sensor's history; with `csv` the same as CSV."""
        from sweeprig.bench.shop.records import to_csv
        from sweeprig.bench.shop.trends import trend, trend_lines
        from sweeprig.page.records.history import history_plot

        name = _asked(request, "name")
        records, aside = self._shelf.ask(lambda s: (s.history(name, limit=NEWEST, full=True), list(s.aside)))
        if _asked(request, "csv"):
            return _csv_file(to_csv(records), "history.csv")
        swept = [r for r in records if r.task == "sweep"]
        return html(
            "sensor.html",
            name=name,
            plot=history_plot(swept) if swept else "",
            lines=trend_lines([trend(swept, end) for end in ("closed", "open")]),
            rows=[row_of(r) for r in reversed(records)],
            csv=urlencode({"name": name, "csv": "1"}),
            full=len(records) == NEWEST,
            aside=aside,
        )

    def record(self, request: Request) -> Response:
        """Return one record in full."""
        from sweeprig.bench.shop.records import show_lines

        key = str(request.path_params["key"])
        record, amended = self._shelf.ask(lambda s: (r := s.get(key), s.amendments(r.id)))
        lines = [*show_lines(record), *(f"  ! corrected: {a.line}" for a in amended)]
        before = self._before(record)
        return html("record.html", row=row_of(record), lines=lines, before=before, batch=record.batch)

    def _before(self, record: Record) -> int | None:
        """Return the number of the same sensor's record before this one; None where there is none."""
        name = record.serial or record.label
        if not name:
            return None
        numbers = [r.id for r in self._shelf.ask(lambda s: s.history(name, limit=NEWEST))]
        at = numbers.index(record.id) if record.id in numbers else 0
        return numbers[at - 1] if at > 0 else None

    def sheet(self, request: Request) -> Response:
        """Return the sheet of a record's capture, made anew."""
        return sheet_page(self._shelf.made(str(request.path_params["key"]), "sheet").decode())

    def two(self, request: Request) -> Response:
        """Return the page of two captures over each other."""
        from sweeprig.bench.review.compare import compare, side_of_record
        from sweeprig.bench.review.compare_text import compare_lines

        keys = [_asked(request, name) for name in ("a", "b")]
        both = self._shelf.ask(lambda s: [s.get(key) for key in keys])
        changes = compare_lines(compare(*(side_of_record(r) for r in both)))
        return html("two.html", rows=[row_of(r) for r in both], lines=changes)

    def two_data(self, request: Request) -> Response:
        """Return both courses between two places, for the drawing."""
        from sweeprig.page.records.two import between

        start, stop = (_number(_asked(request, name), name) for name in ("from", "to"))
        courses = []
        for name in ("a", "b"):
            courses.append(between(self._shelf.made(_asked(request, name), "course"), start=start, stop=stop))
        return Response(msgspec.json.encode(courses), media_type="application/json")

    def batch(self, request: Request) -> Response:
        """Return the table of a batch."""
        from sweeprig.bench.batch.batch import entries_of_records
        from sweeprig.bench.batch.text import batch_lines

        name = _asked(request, "name")
        records = self._shelf.ask(lambda s: s.find(batch=name, full=True))[::-1]
        if not records or not name:
            raise InputError("There is no record of this batch.", seen=name, next_step="check its name")
        return html(
            "batch.html", name=name, lines=batch_lines(name, entries_of_records(records)),
            rows=[row_of(r) for r in records], csv=urlencode({"batch": name}),
        )  # fmt: skip


def row_of(record: Record) -> dict[str, Any]:
    """Return what a list shows of a record."""
    from sweeprig.bench.shop.records import sensor_text
    from sweeprig.report.figures import on_screen

    sensor = record.serial or record.label
    return {
        "id": record.id,
        "when": record.created[:16].replace("T", " "),
        "name": sensor_text(record),
        "sensor": urlencode({"name": sensor}) if sensor else "",
        "job": record.job,
        "verdict": record.verdict,
        "reason": record.reason,
        "closed": on_screen(record.closed_v, record.closed_u95),
        "open": on_screen(record.open_v, record.open_u95),
        "notes": record.exceptions,
    }


def _number(text: str, name: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e6:
        raise InputError("The place is not valid.", seen=text, limit=f"{name} in strokes")
    return value


def _csv_file(text: str, name: str) -> Response:
    head = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(text.encode("utf-8", "replace"), media_type="text/csv; charset=utf-8", headers=head)


def _in_thread(page: Callable[[Request], Response]) -> Answer:
    """Return what answers with a page, or with a plain one that says what went wrong."""

    async def answer(request: Request) -> Response:
        try:
            return await asyncio.to_thread(page, request)
        except SweeprigError as error:
            parts = (("Seen", error.seen), ("Expected", error.limit), ("Next", error.next_step))
            lines = [f"{label}: {text}" for label, text in parts if text]
            return html("message.html", 404, heading=error.what, lines=lines)

    return answer
