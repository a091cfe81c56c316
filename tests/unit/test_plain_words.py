"""Texts of the program in the trade's words: none of the words that only this project understands."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

HOST = Path(__file__).parents[2] / "host" / "sweeprig"
DIALECT = (
    r"\btold\b|\btells?\b.*\bapart\b|\bnot tell\b",
    r"\bstands?\b|\bstood\b",
    r"\bsaid\b|\bspeaks?\b",
    r"\bgreet",
    r"\bof no use\b|\bput right\b|\bset aside\b|\bas it was\b|\blets? go of\b|\bwhat came\b",
    r"\bNobody\b|\bnobody\b",
    r"\bleaves its (path|line|level)\b",
    r"\blimits?\b.*\b(is|are) not kept\b|\bkeeps? (its|their) limits\b",
    r"\bnot understood\b|\bis no (?!longer\b|sign\b)(?=[a-z]+\.)",
    r"\bworn place\b|\bsignal span\b|\bgauge study\b|\bclear of\b.*\btold\b",
    r"\b(?:un)?(?:[Ff]ed|[Ff]eeds?|[Ff]eeding)\b",
    r"\b[Tt]he (?:slow|I2C) converter\b|\bas chance would\b|\bmost of it is\b|\bfigure comes first\b",
    r"\breckon|\bmends?\b|\bas it is now\b|\bof one's own\b",
)
ALLOWED = {
    "Nobody in front of or behind the vehicle": "a warning to people, in common use",
    "Nobody leads": "people with phones, in common use",
    "Fed from the pin": "a circuit, in common use",
    "Feeds U7": "a circuit, in common use",
}
FOUND = re.compile("|".join(DIALECT))


def texts(source: str) -> Iterator[tuple[int, str]]:
    """Return every text that a program may print: no docstring, and of an f-string its fixed parts."""
    tree = ast.parse(source)
    docs = {id(d) for d in map(_docstring, ast.walk(tree)) if d is not None}
    inside = {
        id(p) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for p in ast.walk(n) if p is not n
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield (
                node.lineno,
                "".join(str(v.value) if isinstance(v, ast.Constant) else "_" for v in node.values),
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs | inside:
            yield node.lineno, node.value if " " in node.value.strip() else ""


def _docstring(node: ast.AST) -> ast.AST | None:
    """Return a docstring's node; a command's stays a text, because `--help` prints it."""
    kinds = (ast.Module, ast.ClassDef, ast.FunctionDef)
    if not isinstance(node, kinds) or not node.body or not isinstance(node.body[0], ast.Expr):
        return None
    if isinstance(node, ast.FunctionDef) and any("command" in ast.unparse(d) for d in node.decorator_list):
        return None
    return node.body[0].value


def dialect(text: str) -> str:
    """Return the first word of the dialect in a text; "" without any."""
    for right in ALLOWED:
        text = text.replace(right, "")
    found = FOUND.search(text)
    return found.group() if found else ""


def _all_texts() -> Iterator[tuple[str, str]]:
    for path in sorted(HOST.rglob("*.py")):
        yield from ((f"{path.relative_to(HOST)}:{n}", t) for n, t in texts(path.read_text()))
    for path in sorted(p for s in ("*.html", "*.toml", "*.js") for p in HOST.rglob(s)):
        lines = enumerate(path.read_text().splitlines(), 1)
        shown = ((n, re.sub(r"# .*|// .*|<[^>]*>|\"\w*\"", "", line)) for n, line in lines)
        yield from ((f"{path.relative_to(HOST)}:{n}", t) for n, t in shown)


def test_no_text_of_the_program_uses_private_words() -> None:
    assert [f"{where}: {word!r} in {t[:80]!r}" for where, t in _all_texts() if (word := dialect(t))] == []


@pytest.mark.parametrize(
    "text",
    [
        "The board on COM3 greets, but its hello is not whole.",
        "Nobody answered: the input ended at a question.",
        "signal A leaves its path 4 times",
        "A limit of the profile is not kept.",
        "check its permissions; it is as it was before",
        "not told apart here",
        "1 journal of no use is set aside and told of once",
        "The stand ends, the reading stands still.",
        "The rig feeds the sensor.",
        "The slow converter gives no reading.",
        "scattered along the travel, as chance would do it",
        "general workshop limit; the maker's figure comes first",
    ],
)
def test_private_words_are_found(text: str) -> None:
    assert dialect(text)


@pytest.mark.parametrize(
    "text", ["Check standard: 2.5 V", "understanding", "The rig is no longer calibrated."]
)
def test_words_of_the_trade_are_left_alone(text: str) -> None:
    assert not dialect(text)
