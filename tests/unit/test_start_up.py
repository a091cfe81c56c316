"""What a command loads before it knows what it has to do."""

from __future__ import annotations

import subprocess
import sys

HEAVY = (
    "numpy",
    "scipy",
    "sqlalchemy",
    "alembic",
    "jinja2",
    "rich",
    "weasyprint",
    "asammdf",
    "serial",
    "tomlkit",
)


def test_the_command_line_loads_nothing_heavy() -> None:
    code = f"import sys, sweeprig.cli.main; print([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
