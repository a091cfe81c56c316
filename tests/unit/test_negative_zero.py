"""A reading a hair below zero is shown as zero: -0.0000 V says nothing that 0.0000 V does not."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import sweeprig
from support import outcomes
from sweeprig.bench.review.compare import compare, side_of_outcome
from sweeprig.bench.review.compare_text import compare_lines
from sweeprig.cli.views.live import reading_lines
from sweeprig.cli.views.outcome import check_line, margin_line, quantity_line
from sweeprig.judge.model import Check, Margin, Quantity, Verdict
from sweeprig.report.figures import MINUS, fixed, on_screen

HAIR_V = -2e-5
SOURCES = Path(sweeprig.__file__).parent
VOLTS = re.compile(r":[<>^]?[+]?\d*\.\df\}(?= m?V\b| ±)")  # a format without z, followed by its unit


def test_compare_shows_a_change_of_nothing_without_a_minus() -> None:
    first = outcomes.outcome()
    quantities = first.judgement.quantities
    moved = quantities["closed_v"]
    assert moved.value is not None
    shifted = quantities | {"closed_v": replace(moved, value=moved.value + HAIR_V)}
    second = replace(first, judgement=replace(first.judgement, quantities=shifted))
    lines = compare_lines(compare(side_of_outcome(first, "a"), side_of_outcome(second, "b")))
    (line,) = (t for t in lines if t.startswith("  closed throttle  "))
    assert "+0.0000" in line
    assert "-0.0000" not in "\n".join(lines)


@pytest.mark.parametrize("value", [HAIR_V, -0.0])
def test_volts_near_zero_carry_no_minus(value: float) -> None:
    shown = [
        on_screen(value, 0.001, "V"),
        on_screen(value, signed=True),
        fixed(value, 4).replace(MINUS, "-"),
        quantity_line("closed", Quantity("closed_v", "V", value, 1e-3)),
        margin_line(Margin("closed", "lower", value, 1e-3, 0.2, Verdict.FAIL)),
        *reading_lines(SimpleNamespace(reading_v=value), 20, 5),
        check_line(Check("closed", value, 1e-3, "V", 0.4, 0.5, Verdict.FAIL)),
    ]
    assert not [text for text in shown if "-0" in text]
    assert all("0.000" in text for text in shown)


def test_a_value_that_is_not_zero_keeps_its_minus() -> None:
    assert on_screen(-0.0123, 0.001, "V") == "-0.0123 ± 0.0010 V"
    assert on_screen(0.0123, signed=True) == "+0.0123"
    assert on_screen(None, none="not measured") == "not measured"


def test_no_place_that_prints_volts_can_print_a_negative_zero() -> None:
    found = []
    for path in SOURCES.rglob("*.py"):
        place = path.relative_to(SOURCES)
        if not any(
            part.startswith(("twin", "calibration")) for part in place.parts
        ):  # residuals and truths: signed
            lines = enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
            found += [f"{place}:{n}: {t.strip()}" for n, t in lines if VOLTS.search(t)]
    assert not found, "write the format with z (PEP 682), or use report.figures"
