"""docs/reference/profiles.md says what the rules and the shipped profiles hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from sweeprig.judge.profile import load_profile, profile_text, shipped_names
from sweeprig.judge.profile_rules import NUMBER_TABLES, WORD_TABLES

TEXT = (Path(__file__).parents[2] / "docs/reference/profiles.md").read_text(encoding="utf-8")


def rows(after: str, before: str = "\x00") -> dict[str, list[str]]:
    """First cell without its marks to the other cells, of every table row after a heading."""
    out = {}
    for line in TEXT.split(after, 1)[1].split(before, 1)[0].splitlines():
        if line.startswith("| `"):
            cells = [c.strip() for c in line.strip("|").split(" | ")]
            out[cells[0].strip("` ")] = cells[1:]
    return out


def test_every_key_is_described_with_its_unit_and_need() -> None:
    told = rows("## Layout", "## Shipped values")
    for table, rules in WORD_TABLES.items():
        for key, rule in rules.items():
            cells = told[f"{table}.{key}".lstrip(".")]
            assert cells[-1].rstrip(" |") == rule.about
            assert cells[-2] == ("yes" if rule.required else "no")
    for table, numbers in NUMBER_TABLES.items():
        for key, number in numbers.items():
            cells = told[f"{table}.{key}"]
            assert cells[1].strip("`") == number.unit
            assert cells[-2] == ("yes" if number.required else "no")
            assert cells[-1].rstrip(" |") == number.about


@pytest.mark.parametrize("name", shipped_names())
def test_the_shipped_values_are_the_ones_told(name: str) -> None:
    profile, column = load_profile(name), shipped_names().index(name)
    for first, cells in rows("## Shipped values").items():
        key = first.split("`")[0]
        found = profile
        for part in key.split("."):
            found = getattr(found, part, None)
        if hasattr(found, "low"):
            shown = f"{found.low:g} to {found.high:g}"
        else:
            shown = "–" if found is None else f"{getattr(found, 'value', found)}".removesuffix(".0")
        assert cells[column].rstrip(" |") == shown, key


def test_the_example_of_the_layout_is_the_shipped_one() -> None:
    example = TEXT.split("```toml\n")[1].split("note =")[0]
    assert example in profile_text("adjustable-potentiometer")[0]
