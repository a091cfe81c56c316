"""Fetching what a board has kept, from a client of a few lines."""

from __future__ import annotations

import struct
from typing import Any

import pytest

from sweepboard import flash_page
from sweeprig.bench.field.collect import Listed, fetch, look
from sweeprig.errors import BoardRefusedError, LinkError
from sweeprig.link.messages import Kept, Message

NUMBER = 7


def page(kind: int, sequence: int, content: bytes) -> bytes:
    """Return a page as it stands in flash."""
    body = struct.pack("<BBHI", kind, len(content), NUMBER, sequence) + content
    body = body.ljust(flash_page.PAGE - 4, b"\xff")
    return struct.pack("<I", flash_page.crc32(body)) + body


class Client:
    """Answers with what is given for each question, and counts polls that bring nothing."""

    def __init__(self, answers: list[list[Message]]) -> None:
        self.answers = answers
        self.events: list[Message] = []
        self.waits = 0
        self.asked: list[int] = []

    def command(self, cmd: str, **args: Any) -> dict[str, Any]:
        self.asked.append(args["first"])
        self.events = self.answers.pop(0) if self.answers else []
        return {}

    def poll(self, timeout_s: float) -> list[Message]:
        events, self.events = self.events, []
        self.waits += not events
        return events


HEAD = page(flash_page.HEAD, 0, b'{"sweep": {"press": 1}}')
DATA = page(flash_page.DATA, 1, b"abc")


def test_nothing_is_waited_for_once_the_pages_are_there() -> None:
    client = Client([[Kept((HEAD,))], [Kept((DATA,))]])
    kept = fetch(client, Listed(NUMBER, 2, "cut", unwanted=False), lambda n, of: None)  # type: ignore[arg-type]
    assert (kept.data, kept.word, client.waits, client.asked) == (b"abc", "cut", 0, [0, 1])


def test_pages_that_do_not_come_are_asked_for_again() -> None:
    client = Client([[], [Kept((HEAD,))]])
    fetch(client, Listed(NUMBER, 1, "cut", unwanted=False), lambda n, of: None)  # type: ignore[arg-type]
    assert client.asked == [0, 0]


def test_after_three_times_the_link_is_to_blame() -> None:
    client = Client([])
    with pytest.raises(LinkError, match="collect again"):
        fetch(client, Listed(NUMBER, 1, "cut", unwanted=False), lambda n, of: None)  # type: ignore[arg-type]
    assert client.asked == [0, 0, 0]


def test_a_board_that_cannot_read_what_is_kept_is_not_empty() -> None:
    class Refuses(Client):
        def hello(self) -> dict[str, Any]:
            return {"capabilities": ["keep"]}

        def command(self, cmd: str, **args: Any) -> dict[str, Any]:
            raise BoardRefusedError("The rig refuses the command kept: no memory.", seen=self.word)

        word = "refused"

    client = Refuses([])
    with pytest.raises(BoardRefusedError):
        look(client)  # type: ignore[arg-type]
    client.word = "not-now"
    assert look(client).sweeps == ()  # type: ignore[arg-type]
