"""Describes in words what answers on a port."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def board_words(rig: Mapping[str, Any]) -> str:
    """Return board, build and firmware from a rig's identification, each once."""
    board, build = str(rig.get("board", "unknown board")), f"{rig.get('build', 'unknown')} build"
    named = board if build in board else f"{board}, {build}"
    _, semicolon, made = str(rig.get("python", "")).partition("; ")
    runs_on = made.replace(" on ", ", built ") if semicolon else str(rig.get("python", "unknown"))
    return f"{named}, firmware {rig.get('firmware', 'unknown')} on {runs_on}"


def rig_line(rig: Mapping[str, Any]) -> str:
    """Return one line that says which rig answers."""
    return (
        f"Rig {rig.get('uid')}: {board_words(rig)}, {rig.get('conversion_hz', 0):.0f} conversions a second."
    )
