"""Modules under 300 lines, functions of at most 40 lines: the sizes that DEVELOPERS.md promises.

A function's lines are those of its statements: without signature, docstring, blank lines and lines of comment alone.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = sorted(path for top in ("host", "firmware") for path in (ROOT / top).rglob("*.py"))
MODULE_LINES = 300
FUNCTION_LINES = 40
ASSEMBLER = "asm_thumb"  # a list of instructions: its assembler has no calls and no macros


def lengths(source: str) -> Iterator[tuple[str, int]]:
    """Return name and lines of every function in a module, those inside others and classes included."""
    lines = source.splitlines()
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if any(isinstance(d, ast.Attribute) and d.attr == ASSEMBLER for d in node.decorator_list):
            continue
        body = node.body[ast.get_docstring(node, clean=False) is not None :]
        first = body[0].lineno if body else node.end_lineno + 1 if node.end_lineno else 0
        texts = (line.strip() for line in lines[first - 1 : node.end_lineno])
        yield node.name, sum(bool(text) and not text.startswith("#") for text in texts)


def test_modules_are_shorter_than_300_lines() -> None:
    long = {str(path.relative_to(ROOT)): len(path.read_text().splitlines()) for path in MODULES}
    assert {name: n for name, n in long.items() if n >= MODULE_LINES} == {}


def test_functions_have_at_most_40_lines() -> None:
    counted = ((path, *each) for path in MODULES for each in lengths(path.read_text()))
    assert [f"{p.relative_to(ROOT)} {name}: {n}" for p, name, n in counted if n > FUNCTION_LINES] == []


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("def f(a,\n    b):\n    '''Say\n\n    more.'''\n    x = 1\n\n    # why\n    return x\n", [("f", 2)]),
        (
            "class C:\n    def f(self):\n        def g():\n            pass\n        return g\n",
            [("f", 3), ("g", 1)],
        ),
        ("def f():\n    '''Nothing else.'''\n", [("f", 0)]),
        ("@micropython.asm_thumb\ndef f(r0):\n    mov(r0, 1)\n", []),
        ("async def f():\n" + 41 * "    x = 1\n", [("f", 41)]),
    ],
    ids=["statements alone", "one inside another", "docstring alone", "instructions", "over the limit"],
)
def test_only_lines_of_statements_are_counted(source: str, expected: list[tuple[str, int]]) -> None:
    assert list(lengths(source)) == expected
