"""A wiggle test at a terminal: the view, a pure function of what was found so far, and the faces that show it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sweeprig.cli.console import colour_wanted, console, styled
from sweeprig.cli.views.face import ScreenFace, Stop, stop_on_interrupt
from sweeprig.cli.views.live import TALL, WIDE, big, fit
from sweeprig.cli.views.screen import Screen, is_terminal, single_keys
from sweeprig.lines import fitted
from sweeprig.wording.wiggle import event_words, per_place, place_words, reading_words, since_words

if TYPE_CHECKING:
    from sweeprig.analysis.wiggle import Happening
    from sweeprig.bench.readings.search import LiveSearch
    from sweeprig.bench.wiggle.run import WiggleFace

KEYS = (
    "  keys: 1 plug   2 bulkhead   3 controller end   space next   q ends",
    "  keys: 1 2 3 place, space next, q ends",
    "  keys: 1 2 3, q ends",
)
FRESH_S = 1.0  # an event this recent is shown strongly


def wiggle_lines(
    search: LiveSearch,
    wanted_s: float,
    width: int,
    height: int,
    *,
    colour: bool = False,
    simulated: bool = False,
) -> list[str]:
    """Return the view, at most `height` lines of `width` columns: count, time since the last, counts per place."""
    top = _top_lines(search, wanted_s, width, height, colour=colour)
    top[1] = "  SIMULATED" if simulated else ""
    bottom = [fit(width, *KEYS)]
    counts = ["", *(f"  {name:16} {hits}" for name, hits in per_place(search).items())]
    room = height - len(top) - len(counts) - len(bottom) - 1
    newest = search.found[::-1][: max(0, room)]
    events = [line for h in newest for line in fitted(brief(h), width)]
    return [*[*top, *counts, *([""] if events else []), *events][: height - 1], *bottom]


def _top_lines(search: LiveSearch, wanted_s: float, width: int, height: int, *, colour: bool) -> list[str]:
    """Return the head with the count, large where there is room, the last event, the place and the reading."""
    since = None if search.last_s is None else max(0.0, search.seconds - search.last_s)
    bold = "1" if colour else ""
    style = "1;7" if colour and since is not None and since < FRESH_S else bold
    small = width < WIDE or height < TALL
    count = [str(len(search.found))] if small else big(str(len(search.found)), wide=width >= 78)
    name = fit(max(0, width - 20), "  wiggle: events so far", "  events so far", "  events")
    head = f"{name:<{max(0, width - 20)}}{search.seconds:7.1f} of {wanted_s:.0f} s"
    last = f"  {since_words(search)}"
    top = [head[:width], "", *(styled(f"  {row}"[:width], bold) for row in count), ""]
    top += [styled(last[:width], style), styled(fit(width, *_place_texts(search.place)), bold)]
    return [*top, fit(width, *_reading_texts(search))]


def _place_texts(place: str) -> tuple[str, str]:
    text = place_words(place)
    return f"  now: {text}", f"  {text}"


def _reading_texts(search: LiveSearch) -> tuple[str, str]:
    signal, supply = reading_words(search)
    return f"  {signal}   {supply}", f"  {signal}"


def brief(h: Happening) -> str:
    """Return one event with what matters first."""
    return f"  {event_words(h)}"


class WiggleScreen(ScreenFace["LiveSearch"]):
    """The view on the other screen; rings with every event."""

    def __init__(
        self, screen: Screen, wanted_s: float, stop: Stop, *, bell: bool, simulated: bool = False
    ) -> None:
        look = {"colour": colour_wanted(), "simulated": simulated}
        super().__init__(
            screen, lambda s, columns, rows: wiggle_lines(s, wanted_s, columns, rows, **look), stop
        )
        self._bell = bell

    def tell(self, _new: list[Happening]) -> None:
        """Ring; the view shows the rest."""
        if self._bell:
            self.screen.bell()


class WiggleLines:
    """A line for every event where there is no view; rings as well."""

    def __init__(self, stop: Stop, *, bell: bool) -> None:
        self.ended = stop
        self._bell = bell

    def show(self, state: LiveSearch) -> None:
        """Show nothing."""

    def pressed(self) -> str:
        """Return that nothing was pressed."""
        return ""

    def tell(self, new: list[Happening]) -> None:
        """Ring, and say that something was seen; the result says what."""
        if self._bell:
            console.bell()
        from sweeprig.capture.marks import UNMARKED

        for h in new:
            place = "" if h.place == UNMARKED else f", at {h.place}"
            console.say(f"Event at {h.start_s:.2f} s{place}.")


@contextmanager
def wiggle_face(wanted_s: float, *, bell: bool, simulated: bool = False) -> Iterator[WiggleFace]:
    """Give the face of a wiggle test of a length [s]; Ctrl-C ends the test."""
    with stop_on_interrupt() as stop:
        if not is_terminal():
            yield WiggleLines(stop, bell=bell)
            return
        with Screen() as screen, single_keys():
            yield WiggleScreen(screen, wanted_s, stop, bell=bell, simulated=simulated)
