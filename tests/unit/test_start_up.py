"""What a command loads before it knows what it has to do."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import pytest

from sweeprig.cli.main import MODULES, app, command_line, module_for

HEAVY = (
    "pydantic",
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
    code = f"import sys; from sweeprig.cli.main import app; print([m for m in {HEAVY!r} if m in sys.modules])"
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


def test_each_command_is_in_the_module_that_is_loaded_for_it() -> None:
    import typer.main

    every: Any = typer.main.get_command(app)
    named = [command for commands in MODULES.values() for command in commands]
    assert sorted(every.list_commands(None)) == sorted(named)
    for module, commands in MODULES.items():
        some: Any = typer.main.get_command(command_line(module))
        assert sorted(some.list_commands(None)) == sorted(commands)


@pytest.mark.parametrize(
    ("line", "module"),
    [
        ("sweep --driven", "sweep"),
        ("-q review a.sweep", "sweep"),
        ("compare 1 2", "compare"),
        ("guide", ""),
        ("--help", ""),
        ("-h sweep", ""),
        ("swep", ""),
        ("", ""),
    ],
)
def test_a_command_line_loads_one_module_or_all(line: str, module: str) -> None:
    assert module_for(line.split()) == module


def test_a_command_loads_no_other_commands() -> None:
    code = (
        "import sys; sys.argv = ['sweeprig', 'config', 'show']\nfrom sweeprig.cli.main import run\n"
        "try: run()\nexcept SystemExit: pass\n"
        "print([m for m in sys.modules if m.startswith('sweeprig.cli.commands.')], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip().endswith("['sweeprig.cli.commands.config']")
