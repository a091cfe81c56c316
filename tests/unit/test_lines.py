"""Tables that fit a width, and lines that break between words."""

from __future__ import annotations

import pytest

from sweeprig.lines import Column, fitted, table

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


def test_what_fits_is_left_as_it_is_and_a_path_stays_whole() -> None:
    assert fitted("a   b", 10) == ["a   b"]
    path = "/home/shop/sheets/" + "x" * 80
    assert fitted(f"  Sheet: {path} next", 40) == ["  Sheet:", f"    {path}", "    next"]
