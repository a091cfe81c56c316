"""The fixed texts of both sheets are in one table, so that a translation is another table."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from sweeprig.report.texts import TEXTS

TEMPLATES = Path(__file__).parents[2] / "host/sweeprig/report/templates"
JINJA, TAG = re.compile(r"\{%.*?%\}|\{\{.*?\}\}", re.DOTALL), re.compile(r"<[^>]*>")


@pytest.mark.parametrize("name", ["sheet.html", "batch.html"])
def test_a_template_has_no_text_of_its_own(name: str) -> None:
    left = TAG.sub(" ", JINJA.sub(" ", (TEMPLATES / name).read_text(encoding="utf-8")))
    assert [word for word in left.split() if re.search("[A-Za-z]{2}", word)] == []


def test_every_text_of_the_table_is_used_and_none_is_missing() -> None:
    source = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in ("sheet.html", "batch.html"))
    assert set(re.findall(r"texts\.(\w+)", source)) == set(TEXTS)
