"""Contrast of the page's colours by the formula of WCAG 2.2 (relative luminance): 7:1 and more, light and dark."""

from __future__ import annotations

import re
from importlib import resources

import pytest

CSS = resources.files("sweeprig.page").joinpath("static", "page.css").read_text("utf-8")
PAIRS = (
    ("ink", "ground"), ("soft", "ground"), ("warn", "ground"), ("warn", "warn-ground"), ("good", "ground"),
    ("link", "ground"), ("ground", "ink"), ("ground", "warn"),
)  # fmt: skip
AAA = 7.0  # WCAG 2.2, 1.4.6


def _colours(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))


LIGHT = _colours(CSS.split("@media")[0])
DARK = _colours(CSS.split("@media")[1].split("}\n}")[0])


def luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_what_is_published() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # known to just miss 4.5


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_each_pair_of_colours_keeps_seven_to_one(scheme: dict[str, str], pair: tuple[str, str]) -> None:
    assert contrast(scheme[pair[0]], scheme[pair[1]]) >= AAA


def test_both_schemes_name_the_same_colours() -> None:
    assert set(LIGHT) == set(DARK)
    assert len(LIGHT) == 8


def test_no_rule_has_a_colour_of_its_own_or_thins_one() -> None:
    rules = CSS.split("* { box-sizing")[1]
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)", rules)
    assert "rgb" not in rules
    assert "opacity" not in rules


def test_no_text_has_the_colour_of_a_rule() -> None:
    assert not re.findall(r"(?<!-)color: var\(--rule\)", CSS)
