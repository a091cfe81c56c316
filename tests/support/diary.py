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
SWEEP = ("sweep", "--countdown", "0", "--seconds", "4", "--sheet", "none")
CLOSED_V, OPEN_V, SUPPLY_V = 0.45, 4.2, 4.72
REST, STROKE = 700, 600  # windows at an end, and from one to the other


def lever(index: int) -> float:
    """How far the lever is open, 0 to 1: there and back again and again."""
    at = index % (2 * (REST + STROKE))
    if at >= REST + STROKE:
        return max(0.0, 1.0 - max(0, at - 2 * REST - STROKE) / STROKE)
    return min(1.0, max(0.0, (at - REST) / STROKE))


def moved(o: Outputs) -> Reading:
    """A good sensor whose lever is moved; it gives nothing unless the rig or another controller feeds it."""
    if not o.supply and not o.tapped:
        return (0.0, 0.0, 0.0)
    return (CLOSED_V + (OPEN_V - CLOSED_V) * lever(o.index), 0.0, SUPPLY_V)


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
