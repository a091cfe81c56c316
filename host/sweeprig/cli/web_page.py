"""A page beside a command: `--page`, `--lan`, the address and its code at the terminal; without them, no page."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

import typer

from sweeprig.cli.console import Shown, console, styled
from sweeprig.cli.session import needs, records_place
from sweeprig.cli.views.screen import read_keys, single_keys

if TYPE_CHECKING:
    from sweeprig.bench.batch.series import Batch
    from sweeprig.bench.face import Face
    from sweeprig.bench.sweep.prompts import SweepState
    from sweeprig.bench.sweep.sweep import SweepDone
    from sweeprig.cli.views.desk import Desk
    from sweeprig.errors import SweeprigError
    from sweeprig.page.beside import Beside

SPACE, ENDS = " ", "\r\nq"
_HALVES = {(False, False): "█", (True, False): "▄", (False, True): "▀", (True, True): " "}  # ink is dark


@dataclass(frozen=True)
class PageOptions:
    """What every command takes that a page can stand beside."""

    page: Annotated[
        bool, typer.Option("--page", help="Show this command in a browser too; the address is printed.")
    ] = False
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Let phones in the shop's network see the page, by a code to scan."),
    ] = False
    page_port: Annotated[
        int, typer.Option("--page-port", min=0, max=65535, help="Port of the page; 0 takes a free one.")
    ] = 0


class Alone:
    """No page: every face stays as it is, and nothing is shown elsewhere."""

    stays = False
    off = False

    def sweep(self, inner: AbstractContextManager[Any], *_: Any, **__: Any) -> AbstractContextManager[Any]:
        """Return the face of a sweep."""
        return inner

    reading = wiggle = sweep

    def done(self, *_: Any, **__: Any) -> None:
        """Show nothing."""

    wait = error = begin = nothing = done

    def pressed(self, keys: Callable[[], str]) -> str:
        """Return the terminal's keys."""
        return keys()


ALONE = Alone()
_around: list[Beside] = []
Page: TypeAlias = "Beside | Alone"


@contextmanager
def beside(asked: PageOptions, records: str = "") -> Iterator[Page]:
    """Serve a page while the block runs, where one is asked for; an error of the block is its last word.

    `records` names their place, "" the configured one.
    """
    if _around:  # of a command that runs this one
        yield _around[-1]
        return
    needs("--page-port", asked.page_port != 0, "--page or --lan", asked.page or asked.lan)
    if not (asked.page or asked.lan):
        yield ALONE
        return
    from sweeprig.errors import SweeprigError
    from sweeprig.page.beside import Beside
    from sweeprig.page.hub import Hub
    from sweeprig.page.server import need_library

    need_library()
    page = Beside(Hub())
    with _served(asked, page, records or records_place("")):
        try:
            yield page
        except SweeprigError as error:
            page.error(error)
            raise


@contextmanager
def around(asked: PageOptions) -> Iterator[None]:
    """Serve one page, where one is asked for, for all commands that are run in the block; none of them waits for it."""
    with beside(asked) as page:
        if not page.stays:
            yield
            return
        from sweeprig.page.beside import Beside

        assert isinstance(page, Beside)
        page.stays = False
        page.wait("LOOK AT THE TERMINAL", "The guide asks there; each step shows itself here.")
        _around.append(page)
        try:
            yield
        finally:
            _around.pop()


@contextmanager
def _served(asked: PageOptions, page: Beside, records: str) -> Iterator[None]:
    from sweeprig.page.door import Door
    from sweeprig.page.records.shelf import Shelf
    from sweeprig.page.server import address_for, bound_socket, serving

    door, shelf = Door(), Shelf(records)
    sock = bound_socket(lan=asked.lan, port=asked.page_port)
    address = address_for(lan=asked.lan, port=int(sock.getsockname()[1]), key=door.key)
    with serving(page.hub, door, sock, shelf):
        invite(address, lan=asked.lan)
        if asked.lan:
            _until_seen(page)
        yield


def invite(address: str, *, lan: bool) -> None:
    """Print the address, and for phones the code to scan. Quiet or not: without it the page is of no use."""
    console.needed(Shown(f"Page: {address}"))
    if lan:
        for line in code_lines(address):
            console.needed(line)


def code_lines(text: str) -> list[Shown]:
    """Return a text as a code to scan, two rows of it a line; dark on light where the terminal has colours."""
    import segno

    rows = [list(map(bool, row)) for row in segno.make_qr(text, error="l").matrix_iter(border=4)]
    rows += [[False] * len(rows[0])] if len(rows) % 2 else []
    lines = [
        "".join(_HALVES[pair] for pair in zip(top, low, strict=True))
        for top, low in zip(rows[0::2], rows[1::2], strict=True)
    ]
    style = "97;40" if sys.stderr.isatty() else ""
    return [styled(line, style) for line in lines]


def _until_seen(page: Beside) -> None:
    """Leave the code on the terminal until a phone is there, or Enter is pressed."""
    if not sys.stdin.isatty():
        return
    console.say("Scan it with the phone; Enter goes on without.")
    with single_keys():
        while not page.hub.phones.anybody and not read_keys():
            page.hub.wait(0.1)


class SharedDesk:
    """The desk of a series that phones see too: they go on, repeat, start and switch off; they type nothing."""

    def __init__(self, desk: Desk, page: Beside, *, simulated: bool) -> None:
        from sweeprig.page.scenes import AGAIN, NEXT

        self._desk, self._page, self._simulated = desk, page, simulated
        self._first, self._then = (NEXT,), (NEXT, AGAIN)
        desk.more_keys = page.hub.keys

    def wait(self, batch: Batch) -> bool:
        """Wait for the next sensor, from the terminal or a phone; False where the terminal ends the series."""
        if not batch.serial:
            self._page.wait("PUT ON THE FIRST SENSOR", title=batch.name, actions=self._first)
        going = self._desk.wait(batch)
        self._page.begin()
        if going:
            self._page.wait("NOT READY YET", title=f"{batch.serial}   sweep {batch.attempt}")
        return going

    def running(self, batch: Batch) -> AbstractContextManager[Face[SweepState]]:
        """Give who watches while one sensor is swept."""
        title = f"{batch.serial}   sweep {batch.attempt}"
        return self._page.sweep(self._desk.running(batch), title, simulated=self._simulated, keys=False)

    def refused(self, error: SweeprigError) -> None:
        """Show what kept one sensor from being swept."""
        self._desk.refused(error)
        self._page.error(error, actions=self._then)

    def result(self, batch: Batch, done: SweepDone | None) -> None:
        """Show what came of one sensor."""
        self._desk.result(batch, done)
        if done is None:
            self._page.wait("NOTHING KEPT", "The supply is off.", title=batch.serial, actions=self._then)
        else:
            self._page.done(done, title=batch.serial, actions=self._then)


def shared_desk(desk: Desk, page: Page, *, simulated: bool) -> Desk | SharedDesk:
    """Return the desk, shared with a page where there is one."""
    from sweeprig.page.beside import Beside

    return SharedDesk(desk, page, simulated=simulated) if isinstance(page, Beside) else desk


def rounds(page: Page, take: Callable[[], SweepDone], show: Callable[[SweepDone], None]) -> SweepDone:
    """Return the last sweep; each is shown, and with a page it can be swept again until the terminal ends it."""
    from sweeprig.page.scenes import AGAIN

    while True:
        page.begin()
        try:
            done = take()
        except KeyboardInterrupt:
            if not page.off:
                raise
            page.wait("NOTHING KEPT", "The supply is off.", actions=(AGAIN,))
            if _again(page):
                continue
            raise
        show(done)
        page.done(done, actions=(AGAIN,))
        if not _again(page):
            return done


def _again(page: Page) -> bool:
    """Wait, where there is a page, until somebody wants it again; False where the terminal ends it."""
    return (
        page.stays
        and _key(page, f"The page stays. {_keys('Space does it again, Enter ends.')}", SPACE + ENDS) == SPACE
    )


def stay(page: Page) -> None:
    """Keep the page, where there is one, until the terminal ends it."""
    if page.stays:
        _key(page, f"The page stays. {_keys('Enter ends.')}", ENDS)


def _keys(words: str) -> str:
    """Return what ends the page: keys where a terminal takes them."""
    return words if sys.stdin.isatty() else "Ctrl-C ends."


def _key(page: Page, words: str, keys: str) -> str:
    """Say what is waited for; return the first of these keys that is pressed, "" after Ctrl-C."""
    with suppress(KeyboardInterrupt), single_keys():
        console.say(words)  # taking single keys drops what was typed before: nobody is asked until they are
        while True:
            for key in page.pressed(read_keys):
                if key in keys:
                    return key
    return ""
