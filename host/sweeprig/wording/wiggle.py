"""A wiggle test in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeprig.analysis.wiggle import Happening
    from sweeprig.bench.readings.search import LiveSearch


def since_words(search: LiveSearch) -> str:
    """Return how long ago the last event was."""
    if search.last_s is None:
        return "no event yet"
    return f"last event {max(0.0, search.seconds - search.last_s):.1f} s ago"


def place_words(place: str) -> str:
    """Return where the operator works now."""
    from sweeprig.capture.marks import UNMARKED

    return "not marked: press 1, 2 or 3" if place == UNMARKED else place


def reading_words(search: LiveSearch) -> tuple[str, str]:
    """Return signal and supply."""
    reading = "-" if search.reading_v is None else f"{search.reading_v:z.3f} V"
    supply = "not observed" if search.supply_v is None else f"{search.supply_v:z.3f} V"
    return f"signal {reading}", f"supply {supply}"


def event_words(h: Happening) -> str:
    """Return one event with what matters first, so that a narrow window cuts off the rest."""
    from sweepboard.wire import CHANNEL_NAMES

    names = "+".join(CHANNEL_NAMES[c].removeprefix("signal ") for c in h.channels)
    head = f"{h.start_s:8.2f} s  {names:8} {h.depth_percent:3.0f} % {1e3 * h.duration_s:7.2f} ms"
    return f"{head}  {h.place:16}{h.origin or h.touched}"


def per_place(search: LiveSearch) -> dict[str, int]:
    """Return the number of events at each place."""
    out: dict[str, int] = {m.place: 0 for m in search.marks}
    for h in search.found:
        out[h.place] = out.get(h.place, 0) + 1
    return out
