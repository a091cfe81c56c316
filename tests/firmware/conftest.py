"""Both Pythons, each in turn."""

from __future__ import annotations

import sys

import pytest

from support.pythons import micropython

BOTH = ["cpython", pytest.param("micropython", marks=pytest.mark.micropython)]


@pytest.fixture(params=BOTH)
def python(request: pytest.FixtureRequest) -> str:
    """The program that runs a case."""
    return sys.executable if request.param == "cpython" else micropython()
