"""Asking for a line at a terminal or from a pipe."""

from __future__ import annotations

import typer

from sweeprig.errors import InputError


def typed(prompt: str, *, instead: str) -> str:
    """Return the line that is typed. Raises InputError where the input ends; `instead` names what answers it else."""
    try:
        return str(typer.prompt(prompt, err=True))
    except typer.Abort as end:
        if isinstance(end.__context__, KeyboardInterrupt):
            raise
        raise InputError(
            "The input ended at a question.", seen=prompt.strip(), limit="an answer", next_step=instead
        ) from None
