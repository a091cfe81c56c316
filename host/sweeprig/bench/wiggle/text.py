"""Marks as they are typed, and what a wiggle test comes to as text and JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis.wiggle import Origin, Wiggled
from sweeprig.capture.marks import MarkAt
from sweeprig.errors import InputError

MOST_SHOWN = 5  # events that are listed at the end: the deepest
REST_HALF_WAY = (
    "Hold the lever about half way with a wedge or a clamp, not by hand: a drop to ground or to the supply is clear"
    " to see there."
)


def parse_marks(text: str) -> list[MarkAt]:
    """Return marks typed beforehand, as "0:plug,10:bulkhead". Raises InputError."""
    out = []
    for part in filter(None, (p.strip() for p in text.split(","))):
        at, _, place = part.partition(":")
        try:
            at_s = float(at)
        except ValueError:
            at_s = math.nan
        if not place.strip() or not math.isfinite(at_s) or at_s < 0:
            raise InputError(
                "The mark is not valid.",
                seen=part,
                limit="SECONDS:PLACE, for example 0:plug,10:bulkhead,20:controller end",
                next_step="correct --marks",
            )
        out.append(MarkAt(at_s, place.strip()))
    return out


def within(marks: Sequence[MarkAt], seconds: float) -> tuple[list[MarkAt], str]:
    """Return the marks that a capture of `seconds` reaches, and what must be said of the others; "" without any."""
    late = [m for m in marks if m.at_s >= seconds]
    names = ", ".join(f"{m.at_s:g}:{m.place}" for m in late)
    said = f"NOT REACHED: the capture ends at {seconds:g} s, before {names}: no event can be located there."
    said += " Make --seconds longer, or the times in --marks shorter."
    return [m for m in marks if m.at_s < seconds], said if late else ""


def early_lines(ended: str) -> list[str]:
    """Return that the test ended before its time without the operator's wish; nothing where it did not."""
    if ended in ("complete", "stopped"):
        return []
    return [f"The test ended early ({ended}): nothing was watched after that."]


def summary_lines(w: Wiggled, ended: str = "complete") -> list[str]:
    """Return the result in plain lines; `ended`: why the capture ended."""
    n = len(w.happenings)
    if not w.reproduced:
        return [
            f"NOT REPRODUCED: no event in {w.seconds:.0f} s. This is not a pass: heat, vibration or"
            " another movement may still show a fault.",
            *early_lines(ended),
            *_place_lines(w),
        ]
    first = f"{n} event{'s' if n != 1 else ''} in {w.seconds:.0f} s."
    deepest = sorted(w.happenings, key=lambda h: -h.depth_percent)[:MOST_SHOWN]
    shown = [h.brief for h in sorted(deepest, key=lambda h: h.start_s)]
    head = ["The deepest:"] if n > MOST_SHOWN else []
    more = [f"  All {n} are on the sheet; --json lists them too."] if n > MOST_SHOWN else []
    return [first, *early_lines(ended), *_place_lines(w), *_far_lines(w), *head, *shown, *more]


def _place_lines(w: Wiggled) -> list[str]:
    return [_place_line(w, name, spent) for name, spent in w.seconds_per_place.items()]


def _place_line(w: Wiggled, name: str, spent: float) -> str:
    n = w.per_place.get(name, 0)
    rate = f", {w.per_second(n, name):.1f} a second" if n else ""
    return f"  {name:16} {n} in {spent:.1f} s{rate}"


def _far_lines(w: Wiggled) -> list[str]:
    if not w.far_end:
        return []
    counts = {o: sum(h.origin is o for h in w.happenings) for o in Origin if o}
    return ["By both ends of the wire:", *(f"  {n:3d}  {o}" for o, n in counts.items() if n)]


def wiggle_json(w: Wiggled) -> dict[str, Any]:
    """Return the result as a JSON object."""
    return {
        "result": "reproduced" if w.reproduced else "not reproduced",
        "seconds": round(w.seconds, 3),
        "n_events": len(w.happenings),
        "per_place": w.per_place,
        "seconds_per_place": {k: round(v, 3) for k, v in w.seconds_per_place.items()},
        "far_end": w.far_end,
        "events": [
            {
                "start_s": round(h.start_s, 4),
                "duration_s": round(h.duration_s, 6),
                "channels": [CHANNEL_NAMES[c] for c in h.channels],
                "depth_percent": round(h.depth_percent, 2),
                "touched": str(h.touched),
                "place": h.place,
                "origin": str(h.origin) or None,
            }
            for h in w.happenings
        ],
    }
