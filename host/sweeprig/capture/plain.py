"""What the operator said, as plain JSON values and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from enum import StrEnum
from typing import Any

from sweeprig.capture.model import Hookup, Sense, Starts, SweepSetup
from sweeprig.errors import CaptureFileError

_LISTS = {"confirmed", "prepared"}
_WORDS: dict[str, type[StrEnum]] = {"hookup": Hookup, "starts": Starts, "sense": Sense}


def setup_to_plain(setup: SweepSetup) -> dict[str, Any]:
    """Return the setup as JSON values."""
    return {
        key: str(value) if isinstance(value, StrEnum) else list(value) if isinstance(value, tuple) else value
        for key, value in asdict(setup).items()
    }


def setup_from_plain(data: Mapping[str, Any], *, where: str) -> SweepSetup:
    """Return the setup; keys of a later version are left aside. Raises CaptureFileError."""
    known = {f.name for f in fields(SweepSetup)}
    values: dict[str, Any] = {key: value for key, value in data.items() if key in known}
    try:
        for key, word in _WORDS.items():
            if key in values:
                values[key] = word(values[key])
        for key in _LISTS & values.keys():
            values[key] = tuple(str(item) for item in values[key])
        values["seconds"] = float(values.get("seconds", SweepSetup.seconds))
    except (ValueError, TypeError) as exc:
        raise CaptureFileError(
            f"{where} holds a setup that does not fit.",
            seen=str(exc),
            next_step="use the file as it was written, or capture again",
        ) from exc
    return SweepSetup(**values)
