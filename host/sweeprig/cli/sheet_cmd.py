"""The command line's part for sheet."""

from __future__ import annotations

import typer


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    del app
