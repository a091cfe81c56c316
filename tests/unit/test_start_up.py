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
    "msgspec",
)


def test_the_command_line_loads_nothing_heavy() -> None:
    code = f"import sys, sweeprig.cli.main; print([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_list_of_profiles_needs_no_numbers() -> None:
    code = (
        "import sys, sweeprig.bench.shop.profiles\n"
        "from sweeprig.judge.profile import load_profile, shipped_names\n"
        "for name in shipped_names(): load_profile(name)\nprint('numpy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
