"""A sensor's history as a drawing: ends with their intervals, distance from both rails, dropouts, sweep by sweep."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from sweeprig.report.scales import ticks
from sweeprig.report.svg import Svg

if TYPE_CHECKING:
    from markupsafe import Markup

    from sweeprig.records.rows import Record

WIDE, LEFT, RIGHT = 560.0, 56.0, 10.0
ENDS_HIGH, MARGIN_HIGH, EVENTS_HIGH, GAP = 250.0, 130.0, 90.0, 44.0


class _Panel:
    """One of the drawings above each other."""

    def __init__(self, svg: Svg, *, top: float, high: float, low: float, most: float, n: int) -> None:
        self.svg, self.top, self.high = svg, top, high
        self._low, self._most, self._n = low, most if most > low else low + 1.0, n

    def x(self, k: int) -> float:
        """Return where sweep k stands."""
        room = WIDE - LEFT - RIGHT
        return LEFT + room * (k + 0.5) / self._n

    def y(self, value: float) -> float:
        """Return where a value stands."""
        share = (value - self._low) / (self._most - self._low)
        return self.top + self.high * (1 - min(1.0, max(0.0, share)))

    def frame(self, title: str, digits: int, n: int = 4) -> None:
        """Draw title, lines and numbers."""
        self.svg.text(LEFT, self.top - 8, title, size=17.0, class_="words")
        for value in ticks(self._low, self._most, n):
            self.svg.line(LEFT, self.y(value), WIDE - RIGHT, self.y(value), class_="hair")
            self.svg.text(
                LEFT - 8,
                self.y(value) + 5,
                f"{value:.{digits}f}",
                size=15.0,
                text_anchor="end",
                class_="soft",
            )


def history_plot(records: Sequence[Record]) -> Markup:
    """Return the drawing of a sensor's records, oldest first."""
    high = ENDS_HIGH + MARGIN_HIGH + EVENTS_HIGH + 3 * GAP + 20
    svg = Svg(WIDE, high, name="history", label=f"History of {len(records)} sweeps")
    top = max([r.supply_v or 0.0 for r in records] + [r.open_v or 0.0 for r in records] + [1.0])
    n = len(records)
    ends = _Panel(svg, top=GAP, high=ENDS_HIGH, low=0.0, most=top, n=n)
    ends.frame("Ends [V] with their 95 % interval; × is supply", 1, 5)
    _ends(ends, records)
    below = GAP + ENDS_HIGH + GAP
    margins = [distances(r) for r in records]
    most = max([v for pair in margins for v in pair if v is not None] + [0.5])
    panel = _Panel(svg, top=below, high=MARGIN_HIGH, low=min(0.0, *_known(margins)), most=most, n=n)
    panel.frame("Distance from ground (filled) and from the supply (open) [V]", 2, 3)
    _margins(panel, margins)
    below += MARGIN_HIGH + GAP
    many = float(max([r.n_events for r in records] + [1]))
    events = _Panel(svg, top=below, high=EVENTS_HIGH, low=0.0, most=many, n=n)
    events.frame("Dropouts and other events", 0, 2)
    _events(events, records)
    _dates(events, records)
    return svg.markup()


def _known(margins: Sequence[tuple[float | None, float | None]]) -> list[float]:
    return [v for pair in margins for v in pair if v is not None] or [0.0]


def distances(r: Record) -> tuple[float | None, float | None]:
    """Return how far [V] the lower end stands from ground, and the higher end from the supply."""
    ends = [v for v in (r.closed_v, r.open_v) if v is not None]
    if len(ends) < 2:
        return None, None
    return min(ends), None if r.supply_v is None else r.supply_v - max(ends)


def _ends(panel: _Panel, records: Sequence[Record]) -> None:
    for name in ("closed", "open"):
        seen = [(k, getattr(r, f"{name}_v"), getattr(r, f"{name}_u95")) for k, r in enumerate(records)]
        known = [(k, float(v), u) for k, v, u in seen if v is not None]
        points = "L".join(f"{panel.x(k):.1f} {panel.y(v):.1f}" for k, v, _ in known)
        if points:
            panel.svg.path(f"M{points}", class_="line")
            k, v, _ = known[-1]
            panel.svg.text(panel.x(k) - 4, panel.y(v) - 9, name, size=15.0, text_anchor="end", class_="words")
        for k, v, u in known:
            if u is not None:
                panel.svg.line(panel.x(k), panel.y(v - u), panel.x(k), panel.y(v + u), class_="line")
            panel.svg.circle(panel.x(k), panel.y(v), 4.0, class_="dot")
    for k, r in enumerate(records):
        if r.supply_v is not None:
            panel.svg.text(
                panel.x(k), panel.y(r.supply_v) + 5, "×", size=15.0, text_anchor="middle", class_="soft"
            )


def _margins(panel: _Panel, margins: Sequence[tuple[float | None, float | None]]) -> None:
    for k, (low, high) in enumerate(margins):
        if low is not None:
            panel.svg.circle(panel.x(k), panel.y(low), 4.5, class_="dot")
        if high is not None:
            panel.svg.circle(panel.x(k), panel.y(high), 4.5, class_="ring")


def _events(panel: _Panel, records: Sequence[Record]) -> None:
    wide = max(2.0, min(16.0, 0.6 * (WIDE - LEFT - RIGHT) / len(records)))
    for k, r in enumerate(records):
        y = panel.y(float(r.n_events))
        panel.svg.rect(panel.x(k) - wide / 2, y, wide, panel.top + panel.high - y, class_="dot")


def _dates(panel: _Panel, records: Sequence[Record]) -> None:
    y = panel.top + panel.high + 22
    for k, anchor in {0: "start", len(records) - 1: "end"}.items():
        x = LEFT if k == 0 else WIDE - RIGHT
        panel.svg.text(x, y, records[k].created[:10], size=15.0, text_anchor=anchor, class_="soft")
