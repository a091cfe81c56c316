"""Tables that fit a width, and lines that break between words."""

from __future__ import annotations

import pytest

from sweeprig.lines import Column, fitted, short_path, table

COLUMNS = [
    Column("no.", ["1", "12"], right=True),
    Column("verdict", ["pass", "undecided"]),
    Column("closed [V]", ["0.4530 ± 0.0018", "-"], goes=1),
    Column("rig", ["2d8c21", "2d8c21"], goes=4),
    Column("batch", ["", ""], goes=5),
    Column("sensor", ["shelf 3, box 7 / S-0007", "a sensor whose name goes on and on, as names do"]),
]


@pytest.mark.parametrize("width", [30, 40, 60, 80, 120])
def test_no_row_is_wider_than_asked_and_no_word_is_lost(width: int) -> None:
    lines = table(COLUMNS, width)
    assert max(map(len, lines)) <= width
    words = " ".join(lines).split()
    assert "batch" not in words  # an empty column goes
    for name in COLUMNS[-1].cells:
        assert set(name.split()) <= set(words)
    assert ("rig" in words) == (width >= 60)
    assert ("closed" in words) == (width >= 60)


@pytest.mark.parametrize("width", [20, 31, 60])
def test_a_long_line_breaks_between_words(width: int) -> None:
    text = "  closed: 4 times, mean 0.4515 V, standard deviation 1.3 mV; last minus first +3.0 ± 2.5 mV"
    lines = fitted(text, width)
    assert max(map(len, lines)) <= width
    assert " ".join(lines).split() == text.split()
    assert lines[0].startswith("  closed:")
    assert all(line.startswith("    ") for line in lines[1:])


def test_a_folded_row_hangs_under_its_second_column() -> None:
    row = "any-three-wire            Any three-wire sensor; whether both ends are at the right volts is not checked"
    first, *others = fitted(row, 60)
    assert first.startswith("any-three-wire            Any three-wire")
    assert others
    assert all(line.startswith(" " * 26) and line[26] != " " for line in others)
    assert " ".join([first, *others]).split() == row.split()


def test_a_row_whose_second_column_is_far_out_folds_as_text() -> None:
    assert fitted(f"{'a name of some length':30}and its text", 40)[1] == "  text"


@pytest.mark.parametrize(
    ("path", "short"),
    [
        ("/home/ana/captures/a.sweep", "captures/a.sweep"),
        ("/home/ana/a.sweep", "a.sweep"),
        ("/home/ana", "~"),
        ("/home/anabel/a.sweep", "/home/anabel/a.sweep"),
        ("/srv/a.sweep", "/srv/a.sweep"),
    ],
)
def test_a_path_is_named_from_where_one_stands(path: str, short: str) -> None:
    assert short_path(path, here="/home/ana", home="/home/ana") == short


def test_a_path_in_the_home_folder_is_named_from_there() -> None:
    assert short_path("/home/ana/x/a.sweep", here="/srv", home="/home/ana") == "~/x/a.sweep"
    assert short_path("/home/ana/x/a.sweep", here="/", home="/home/ana") == "~/x/a.sweep"
    assert short_path("/x/a", here="/", home="/") == "x/a"


def test_a_path_that_fits_a_line_is_not_pushed_out_of_it() -> None:
    path = "/home/shop/" + "x" * 47
    assert fitted(f"  Sheet: {path}", 60) == ["  Sheet:", f"  {path}"]


def test_what_fits_is_left_as_it_is_and_a_path_stays_whole() -> None:
    assert fitted("a   b", 10) == ["a   b"]
    path = "/home/shop/sheets/" + "x" * 80
    assert fitted(f"  Sheet: {path} next", 40) == ["  Sheet:", f"    {path}", "    next"]
