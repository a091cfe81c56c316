"""A line of progress never runs into what is printed after it."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable

import pytest

from sweeprig.cli.console import Console, Shown


class Terminal(io.StringIO):
    """Takes text as a terminal of unknown width."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    "printed",
    [
        lambda c: c.say("said"),
        lambda c: c.warn("said"),
        lambda c: c.needed(Shown("said")),
        lambda c: c.show("said"),
        lambda c: c.show_json("said"),
    ],
)
def test_progress_is_wiped_before_the_next_line(
    monkeypatch: pytest.MonkeyPatch, printed: Callable[[Console], None]
) -> None:
    both = Terminal()
    monkeypatch.setattr(sys, "stdout", both)
    monkeypatch.setattr(sys, "stderr", both)
    console = Console()
    console.progress("Looking for the rig ...")
    printed(console)
    printed(console)
    before, wiped, after = both.getvalue().partition("rig ...\r\x1b[2K")
    assert before.endswith("Looking for the ")
    assert wiped
    assert after.count("said") == 2
    assert "\x1b" not in after
