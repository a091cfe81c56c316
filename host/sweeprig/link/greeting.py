"""What a board's first words mean: our firmware, another version of it, a bare prompt, or nothing at all."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from sweepboard import wire
from sweeprig.errors import BoardSilentError, NoFirmwareError, ProtocolVersionError
from sweeprig.link.messages import BadFrame, BoardText, Event, Hello

_PROMPT = re.compile(r"^(>>>|>)$|^>>> |raw REPL|^MicroPython v|^MPY: ")
_NEEDED = ("protocol", "firmware", "build", "channels", "window", "conversion_hz", "hookups", "uid")


def is_prompt(line: str) -> bool:
    """Return whether a line is what a board without our service prints."""
    return _PROMPT.search(line.strip()) is not None


def other_protocol(heard: Sequence[Event]) -> int | None:
    """Return the version of the wire that another firmware spoke, or None."""
    return next((e.protocol for e in heard if isinstance(e, BadFrame) and e.why == "protocol"), None)


def is_hopeless(heard: Sequence[Event]) -> bool:
    """Return whether no hello will come however long one waits."""
    if other_protocol(heard) is not None:
        return True
    lines = [e.line.strip() for e in heard if isinstance(e, BoardText)]
    return any(line == ">>>" or "raw REPL" in line for line in lines)


def accept(heard: Sequence[Event], port: str, *, n_bytes: int) -> Mapping[str, Any]:
    """Return the hello among what was heard in `n_bytes` bytes, or raise the error that fits instead."""
    hello = next((e.data for e in heard if isinstance(e, Hello)), None)
    version = hello.get("protocol") if hello is not None else other_protocol(heard)
    if version is not None and version != wire.PROTOCOL:
        raise _version_error(version, port)
    if hello is None:
        raise _no_hello(heard, port, n_bytes)
    missing = [key for key in _NEEDED if key not in hello]
    if missing:
        raise NoFirmwareError(
            f"The board on {port} greets, but its hello is not whole.",
            seen="without " + ", ".join(missing),
            next_step="put the firmware of this program on it: sweeprig install",
        )
    return hello


def _version_error(version: object, port: str) -> ProtocolVersionError:
    older = isinstance(version, int) and version < wire.PROTOCOL
    return ProtocolVersionError(
        f"The firmware on {port} speaks another version of the wire.",
        seen=f"version {version}",
        limit=f"version {wire.PROTOCOL}",
        next_step="put this program's firmware on the board: sweeprig install"
        if older
        else "update this program, or put its firmware on the board: sweeprig install",
    )


def _no_hello(heard: Sequence[Event], port: str, n_bytes: int) -> BoardSilentError | NoFirmwareError:
    lines = [e.line for e in heard if isinstance(e, BoardText)]
    if any(is_prompt(line) for line in lines):
        return NoFirmwareError(
            f"The board on {port} runs MicroPython, but not the rig's firmware.",
            seen=_last(lines),
            next_step="put the firmware on it: sweeprig install",
        )
    if lines:
        return NoFirmwareError(
            f"The board on {port} prints text instead of greeting.",
            seen=_last(lines),
            next_step="if that is an error of its program: sweeprig install; if it is another device, "
            "name the rig with --port",
        )
    if n_bytes:
        return NoFirmwareError(
            f"What answers on {port} is not a rig.",
            seen=f"{n_bytes} bytes, no hello among them",
            next_step="look which port is the rig's with `sweeprig rigs`, or: sweeprig install",
        )
    return BoardSilentError(
        f"Nothing answers on {port}.",
        next_step="press the board's reset or plug it in again; a board without firmware needs: "
        "sweeprig install",
    )


def _last(lines: Sequence[str], n: int = 3) -> str:
    return " | ".join(lines[-n:])
