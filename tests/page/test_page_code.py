"""The address at the terminal and its code to scan."""

from __future__ import annotations

import segno

from sweeprig.cli.web_page import code_lines
from sweeprig.page.server import address_for

ADDRESS = "http://192.168.7.20:41234/key/" + "k" * 24


def test_the_lines_are_the_code_two_rows_each_with_its_quiet_edge() -> None:
    rows = [list(map(bool, row)) for row in segno.make_qr(ADDRESS, error="l").matrix_iter(border=4)]
    lines = code_lines(ADDRESS)
    upper = {"\u2588": False, "\u2580": False, "\u2584": True, " ": True}
    lower = {"\u2588": False, "\u2584": False, "\u2580": True, " ": True}
    drawn = [[half[c] for c in line] for line in lines for half in (upper, lower)]
    assert drawn[: len(rows)] == rows
    assert not any(drawn[len(rows) :][0] if len(drawn) > len(rows) else [])


def test_the_code_fits_a_terminal_of_24_rows() -> None:
    lines = code_lines(ADDRESS)
    assert len(lines) <= 21
    assert max(map(len, lines)) <= 60


def test_without_a_network_the_address_is_of_this_machine() -> None:
    assert address_for(lan=False, port=41234, key="k") == "http://127.0.0.1:41234/key/k"
