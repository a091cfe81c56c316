"""Makes the helpers of these tests importable; skips them where the page's libraries are missing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
pytest.importorskip(
    "starlette", reason="the page's libraries are not installed: pip install 'sweeprig[page]'"
)
