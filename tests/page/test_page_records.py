"""The records in a browser: search, pages, history, two captures, batch, sheet, CSV; hostile words stay words."""

from __future__ import annotations

import csv
import html
import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shop import HOSTILE, captured, fill
from world import World

from support import outcomes
from sweeprig.page.records.history import distances
from sweeprig.page.records.shelf import Shelf
from sweeprig.page.records.two import between, strokes_of
from sweeprig.page.records.work import made
from sweeprig.records.store import open_store
from sweeprig.records.wanted import Wanted


@pytest.fixture
def place(tmp_path: Path) -> Path:
    made = tmp_path / "records"
    made.mkdir()
    fill(made)
    return made


def _client(place: Path) -> Any:
    return World(records=str(place)).client()


def _numbers(text: str) -> list[int]:
    return [int(n) for n in re.findall(r'href="/record/(\d+)"', text)]


def test_the_newest_come_first(place: Path) -> None:
    assert _numbers(_client(place).get("/records").text) == [7, 6, 5, 4, 3, 2, 1]


@pytest.mark.parametrize(
    ("query", "numbers"),
    [
        ("words=p-2", [6, 4, 2]),
        ("words=1042", [6, 5, 4, 3, 2, 1]),
        ("words=104_", []),
        ("words=%25", []),
        ("verdict=fail", [6]),
        ("words=p-1&verdict=pass", [5, 3, 1]),
        ("batch=crate-7&words=P-1", [5, 3, 1]),
        ("since=2031-03-05", []),
        ("until=2031-03-04", []),
        ("since=2031-03-04T10:04:00%2B00:00&until=2031-03-04T10:05:30%2B00:00", [6, 5]),
        ("words=nobody", []),
    ],
)
def test_a_search_finds_what_fits(place: Path, query: str, numbers: list[int]) -> None:
    assert _numbers(_client(place).get(f"/records?{query}").text) == numbers


def test_a_date_that_is_none_is_told(place: Path) -> None:
    answer = _client(place).get("/records?since=tomorrow")
    assert answer.status_code == 404
    assert "tomorrow" in answer.text
    assert "ISO 8601" in answer.text


def test_pages_follow_each_other_without_a_gap_or_a_double(place: Path) -> None:
    with open_store(place) as store:
        seen, before = [], None
        while True:
            found, before = store.search(Wanted(before=before), limit=2)
            seen += [r.id for r in found]
            if before is None:
                break
    assert seen == [7, 6, 5, 4, 3, 2, 1]


def test_the_csv_holds_what_the_page_shows(place: Path) -> None:
    answer = _client(place).get("/records.csv?words=p-2")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [r["record"] for r in rows] == ["6", "4", "2"]


@pytest.mark.parametrize(
    "path", ["/records", "/record/7", "/sensor?name={}", "/batch?name={}", "/records?words={}"]
)
def test_hostile_words_are_escaped(place: Path, path: str) -> None:
    from urllib.parse import quote

    text = _client(place).get(path.format(quote(HOSTILE))).text
    assert html.escape(HOSTILE)[:20] in text
    assert "<img" not in text


def test_a_history_draws_every_sweep_of_the_sensor(place: Path) -> None:
    text = _client(place).get("/sensor?name=P-2").text
    assert _numbers(text) == [6, 4, 2]
    assert text.count('r="4"') == 6  # closed and open of three sweeps
    assert "closed: 3 times" in text
    assert "style=" not in text


def test_a_sensor_that_there_is_none_of_is_told(place: Path) -> None:
    answer = _client(place).get("/sensor?name=nobody")
    assert answer.status_code == 404
    assert "No sensor" in answer.text


def test_a_record_names_its_sheet_its_history_and_the_one_before(place: Path) -> None:
    text = _client(place).get("/record/6").text
    assert "FAIL: " in text
    assert 'href="/record/6/sheet"' in text
    assert 'href="/sensor?name=P-2"' in text
    assert 'href="/two?a=4&amp;b=6"' in text
    assert 'href="/batch?name=crate-7"' in text


def test_a_capture_that_is_gone_is_named(place: Path) -> None:
    answer = _client(place).get("/record/6/sheet")
    assert answer.status_code == 404
    assert "gone-5.sweep" in answer.text


def test_a_sheet_is_made_from_the_capture(place: Path) -> None:
    first, _ = captured(place, "Q-9")
    answer = _client(place).get(f"/record/{first}/sheet")
    assert answer.status_code == 200
    assert "Q-9" in answer.text
    assert "sandbox" in answer.headers["content-security-policy"]


def test_a_batch_has_its_table(place: Path) -> None:
    text = _client(place).get("/batch?name=crate-7").text
    assert "Batch crate-7: 2 sensors, 6 sweeps" in text
    assert _client(place).get("/batch?name=").status_code == 404


def test_two_captures_are_given_by_strokes(place: Path) -> None:
    a, b = captured(place, "Q-9")
    client = _client(place)
    page = client.get(f"/two?a={a}&b={b}").text
    assert f'data-a="{a}"' in page
    first, second = client.get(f"/two.json?a={a}&b={b}&from=0.5&to=2").json()
    assert 0.5 <= min(first["at"]) < 0.6
    assert 1.9 < max(second["at"]) <= 2.0
    assert len(first["at"]) == len(first["low_v"]) == len(first["high_v"]) <= 1200
    assert client.get(f"/two.json?a={a}&b={b}&from=x&to=2").status_code == 404


def test_strokes_begin_at_whole_numbers_and_time_never_goes_back() -> None:
    one = outcomes.outcome()
    u = strokes_of(one.trace.t_s, one)
    starts = [s.start for s in one.analysis.strokes]
    np.testing.assert_allclose(u[starts], np.arange(1, len(starts) + 1), atol=1e-9)
    assert np.all(np.diff(u) > 0)


def test_a_closer_look_shows_single_windows() -> None:
    one = outcomes.outcome()
    packed = made(one, "course")
    whole = between(packed, start=0.0, stop=9.0)
    near = between(packed, start=1.0, stop=1.1)
    assert len(whole.at) <= 1200
    assert np.diff(near.at).max() < np.diff(whole.at).max()
    assert min(whole.low_v) == pytest.approx(one.trace.signal_a.min_v.min(), abs=1e-4)


def test_nothing_between_two_places_is_nothing() -> None:
    assert between(made(outcomes.outcome(), "course"), start=50.0, stop=60.0).at == ()


def test_a_sheet_is_made_once_and_again_after_a_correction(place: Path) -> None:
    asked: list[tuple[str, str]] = []

    def work(_place: str, key: str, kind: str) -> bytes:
        asked.append((key, kind))
        return b"made"

    shelf = Shelf(str(place), work=work)
    assert [shelf.made("6", "sheet") for _ in range(3)] == [b"made"] * 3
    shelf.ask(lambda store: store.amend("6", {"label": "another"}, by="R.", at="2031-03-05T10:00:00+00:00"))
    shelf.made("6", "sheet")
    shelf.made("6", "course")
    assert asked == [("6", "sheet"), ("6", "sheet"), ("6", "course")]
    shelf.close()


def test_distances_are_those_of_the_ends_from_both_rails(place: Path) -> None:
    with open_store(place) as store:
        record = store.get(1)
    assert record.supply_v is not None
    assert record.open_v is not None
    assert distances(record) == (record.closed_v, record.supply_v - record.open_v)


def test_a_shop_without_records_is_told_what_to_do(tmp_path: Path) -> None:
    answer = _client(tmp_path / "nothing").get("/records")
    assert answer.status_code == 404
    assert "<p>Next: " in answer.text
    assert not (tmp_path / "nothing").exists()


NASTY = (
    "",
    "0",
    "-1",
    "9" * 40,
    "%00",
    "%ff%fe",
    "..%2f..%2fetc",
    "'%20or%201=1--",
    "nan",
    "1e999",
    "_",
    "1_x",
    "\u202e",
)


@pytest.mark.parametrize("value", NASTY)
def test_what_no_browser_would_ask_gets_an_answer(place: Path, value: str) -> None:
    client = _client(place)
    paths = [f"/records?{name}={value}" for name in ("words", "verdict", "since", "until", "batch", "before")]
    paths += [
        f"/record/{value or 'x'}",
        f"/record/{value or 'x'}/sheet",
        f"/sensor?name={value}",
        f"/batch?name={value}",
    ]
    paths += [
        f"/two?a={value}&b=1",
        f"/two.json?a={value}&b={value}&from={value}&to=2",
        f"/records.csv?words={value}",
    ]
    for path in paths:
        assert client.get(path).status_code in (200, 404), path
