"""A scripted rig that keeps a diary: what the operator, the books, the board and its records did, in their order."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from typer.testing import CliRunner, Result

import sweeprig.bench.board.rig
from support.scripted_rig import Outputs, Reading, ScriptedRig, client_of
from sweeprig.bench.hookup.cautions import Confirmation, JobBook
from sweeprig.bench.hookup.lead_book import LeadBook
from sweeprig.cli.asking import TerminalAsk
from sweeprig.cli.main import app
from sweeprig.link.client import RigClient

Event = Callable[[], None]
BOOKS = ("jobs", "leads")


class DiaryRig(ScriptedRig):
    """`happens` is called once, at record `at` of the stream number `stream` (from 1)."""

    def __init__(self, volts: Callable[[Outputs], Reading], **hello: Any) -> None:
        super().__init__(self._seen, **hello)
        self.diary: list[str] = []
        self.n_streams = 0
        self.happens: Event = lambda: None
        self.when = (0, 0)  # stream, record
        self._given = volts

    def note(self, entry: str) -> None:
        """Add an entry; one that repeats the last, or a book that was read before, stands once."""
        if self.diary[-1:] != [entry] and not (entry in BOOKS and entry in self.diary):
            self.diary.append(entry)

    def lose(self) -> None:
        """Let the board be gone from now on."""
        self.lost_after = 0

    def fall_silent(self) -> None:
        """Let the board answer nothing and send nothing from now on."""
        self.answers, self.n_packets = False, 0

    def _seen(self, out: Outputs) -> Reading:
        if self.n_streams == self.when[0] and out.index >= self.when[1]:
            self.when = (0, 0)
            self.happens()
        self.note("tapped" if out.tapped else "power" if out.supply else "dead")
        return self._given(out)

    def _command(self, command: dict[str, Any]) -> None:
        name = command["cmd"]
        self.n_streams += name == "start"
        if name in ("start", "stop"):
            self.note(name)
        if name == "supply":
            self.note("feed" if command["on"] else "off")
        super()._command(command)

    @property
    def all_off(self) -> bool:
        return not (self.out.supply or self.out.burden or self.out.bias != "off")


def kept(monkeypatch: pytest.MonkeyPatch, rig: DiaryRig) -> None:
    """Let every command find `rig`, and what books and operator are asked stand in its diary."""

    @contextmanager
    def opened(_port: str) -> Iterator[RigClient]:
        yield client_of(rig)

    def noting(entry: Callable[..., str], then: Callable[..., Any]) -> Callable[..., Any]:
        def called(*args: Any) -> Any:
            rig.note(entry(*args))
            return then(*args)

        return called

    def confirmed(_ask: TerminalAsk, item: Confirmation) -> str:
        return f"confirm {item.key}"

    monkeypatch.setattr(sweeprig.bench.board.rig, "opened_rig", opened)
    monkeypatch.setattr(JobBook, "confirmed", noting(lambda *_: "jobs", JobBook.confirmed))
    monkeypatch.setattr(LeadBook, "last", noting(lambda *_: "leads", LeadBook.last))
    monkeypatch.setattr(TerminalAsk, "confirm", noting(confirmed, TerminalAsk.confirm))


def run(*args: str, typed: str = "") -> Result:
    """Run a command in this process; nobody sits at a terminal."""
    return CliRunner().invoke(app, list(args), input=typed)
