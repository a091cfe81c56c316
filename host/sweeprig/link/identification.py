"""What is on a board, by its first messages: our firmware, another version of it, a bare prompt, or nothing."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from sweepboard import wire
from sweeprig.errors import BoardSilentError, NoFirmwareError, ProtocolVersionError
from sweeprig.link.clean import is_number, is_whole
from sweeprig.link.messages import BadFrame, BoardText, Hello, Message

INSTALL_OURS = "install this program's firmware: sweeprig install"
_PROMPT = re.compile(r"^(>>>|>)$|^>>> |raw REPL|^MicroPython v|^MPY: ")
_BOOT = re.compile(r"MicroPython v\d|^MPY: |raw REPL")
_MOST_HZ = 10_000_000  # twenty times what the fast source makes; below 1 nobody could wait for a window
_MOST_HEARD = 500  # messages kept while waiting for a hello
_NEEDED = ("protocol", "firmware", "build", "channels", "window", "conversion_hz", "hookups", "uid")


def is_prompt(line: str) -> bool:
    """Return whether a line is the prompt of a board on which our firmware does not run."""
    return _PROMPT.search(line.strip()) is not None


def is_boot(line: str) -> bool:
    """Return whether a line is one that a board prints when it restarts."""
    return _BOOT.search(line) is not None


def other_protocol(heard: Sequence[Message]) -> int | None:
    """Return the protocol version of a firmware of another version, or None."""
    found = _other_wire(heard)
    return found.protocol if found is not None else None


def _other_wire(heard: Sequence[Message]) -> BadFrame | None:
    return next((m for m in heard if isinstance(m, BadFrame) and m.why == "protocol"), None)


def is_hopeless(heard: Sequence[Message]) -> bool:
    """Return whether waiting longer is useless: no hello will come."""
    if other_protocol(heard) is not None:
        return True
    lines = [m.line.strip() for m in heard if isinstance(m, BoardText)]
    return any(line == ">>>" or "raw REPL" in line for line in lines)


def accept(heard: Sequence[Message], port: str, *, n_bytes: int) -> Mapping[str, Any]:
    """Return the hello among the messages in `n_bytes` bytes; without one, raise the error that fits best."""
    hello = next((m.data for m in heard if isinstance(m, Hello)), None)
    version = hello.get("protocol") if hello is not None else other_protocol(heard)
    if version is not None and (isinstance(version, bool) or version != wire.PROTOCOL):
        raise _version_error(version, port)
    if hello is None:
        raise _no_hello(heard, port, n_bytes)
    _check_whole(hello, port)
    _check_fit(hello, port)
    return hello


def worth_keeping(heard: Sequence[Message]) -> list[Message]:
    """Return what `accept` needs: the first hello, the first frame of another protocol, and the last of the rest.

    Of a board that prints without end only the last lines are kept.
    """
    first = [next((m for m in heard if isinstance(m, Hello)), None), _other_wire(heard)]
    rest: list[Message] = [m for m in heard if isinstance(m, BoardText | BadFrame)]
    return [*(e for e in first if e is not None), *rest[-_MOST_HEARD:]]


def _is_text(value: object) -> bool:
    return isinstance(value, str) and 0 < len(value) <= 200


def _are_words(value: object) -> bool:
    return isinstance(value, list) and len(value) <= 100 and all(_is_text(item) for item in value)


_TEXT = (_is_text, "text of 1 to 200 characters")
_WORDS = (_are_words, "a list of words")
_FIT: dict[str, tuple[Callable[[Any], bool], str]] = {
    "conversion_hz": (lambda v: is_number(v, above=0.999, most=_MOST_HZ), f"a number from 1 to {_MOST_HZ}"),
    "window": (lambda v: is_whole(v, 1, wire.MOST_WINDOW), f"a whole number from 1 to {wire.MOST_WINDOW}"),
    "channels": (lambda v: is_whole(v, wire.CHANNELS, wire.CHANNELS), f"{wire.CHANNELS}"),
    "uid": _TEXT,
    "build": _TEXT,
    "chip": _TEXT,
    "firmware": _TEXT,
    "board": _TEXT,
    "hookups": _WORDS,
    "capabilities": _WORDS,
}


def _check_whole(hello: Mapping[str, Any], port: str) -> None:
    missing = [key for key in _NEEDED if key not in hello]
    if missing:
        raise NoFirmwareError(
            f"The board on {port} sends an incomplete identification.",
            seen="without " + ", ".join(missing),
            next_step=INSTALL_OURS,
        )


def _check_fit(hello: Mapping[str, Any], port: str) -> None:
    for key, (fits, limit) in _FIT.items():
        if key in hello and not fits(hello[key]):
            raise NoFirmwareError(
                f"The board on {port} sends an identification that is not valid.",
                seen=f"{key} {hello[key]!r:.80}",
                limit=limit,
                next_step=INSTALL_OURS,
            )


def _version_error(version: object, port: str) -> ProtocolVersionError:
    older = isinstance(version, int) and version < wire.PROTOCOL
    return ProtocolVersionError(
        f"The firmware on {port} uses another version of the protocol.",
        seen=f"version {version!s:.40}",
        limit=f"version {wire.PROTOCOL}",
        next_step=INSTALL_OURS if older else "update this program, or install its firmware: sweeprig install",
    )


def _no_hello(heard: Sequence[Message], port: str, n_bytes: int) -> BoardSilentError | NoFirmwareError:
    lines = [m.line for m in heard if isinstance(m, BoardText)]
    if any(is_prompt(line) for line in lines):
        return NoFirmwareError(
            f"The board on {port} runs MicroPython, but not the rig's firmware.",
            seen=_last(lines),
            next_step="install the firmware: sweeprig install",
        )
    if lines:
        return NoFirmwareError(
            f"The board on {port} sends text instead of its identification.",
            seen=_last(lines),
            next_step="if it is a program error: sweeprig install; if it is another device, name the rig with --port",
        )
    if n_bytes:
        return NoFirmwareError(
            f"The device on {port} is not a rig.",
            seen=f"{n_bytes} bytes, no identification among them",
            next_step="find the rig's port: sweeprig rigs; a board without firmware: sweeprig install",
        )
    return BoardSilentError(
        f"No answer on {port}.",
        next_step="press the board's reset or plug it in again; a board without firmware: sweeprig install",
    )


def _last(lines: Sequence[str], n: int = 3) -> str:
    return " | ".join(lines[-n:])
