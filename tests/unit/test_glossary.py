"""The glossary: short enough to read, every term with a source, every term in use."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCES = ("JCGM 200", "JCGM 106", "IEC 60393", "ISO 22514", "IEEE 1241", "SAE", "common practice")


def _rows() -> list[list[str]]:
    lines = (ROOT / "docs/glossary.md").read_text().splitlines()
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| ")][
        1:
    ]


def test_at_most_forty_terms_each_with_its_source() -> None:
    rows = _rows()
    assert 30 <= len(rows) <= 40
    assert [row[0] for row in rows if row[2] not in SOURCES] == []


def test_every_term_is_used_by_program_or_docs() -> None:
    paths = [p for s in ("host/sweeprig/**/*.py", "docs/**/*.md", "README.md") for p in ROOT.glob(s)]
    text = "\n".join(p.read_text().lower() for p in paths if p.name != "glossary.md")
    terms = [term for row in _rows() for term in row[0].lower().split(", ")]
    assert [t for t in terms if not re.search(rf"\b{re.escape(t)}", text)] == []
