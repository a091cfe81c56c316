"""Dropouts that come only while the lever rests at one end: the track is worn there, or plug and harness move there.

A contact that opens at any time opens at the other end as well. Own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.detection_power import CLUSTER_P
from sweeprig.analysis.model import Event, FloatArray, Span
from sweeprig.analysis.statistics import at_least_p
from sweeprig.analysis.track_map import encounters
from sweeprig.capture.model import BoolArray, Trace

NEAR_PERCENT = 2.0  # of travel: at the end
NEARLY_ALL = 0.9  # of the dropouts; own choice, no source
MOSTLY_AT_REST = 0.5  # of those at the end: what comes in passing is a place on the track
FEWEST_VISITS = 3  # to that end; a harness that is moved once makes many dropouts in one


@dataclass(frozen=True)
class OneEnd:
    """Dropouts at one end."""

    where: Span
    high: bool  # at 100 % of travel
    n_visits: int
    here_s: float  # time that the lever spent at that end
    there_s: float  # and at the other
    p: float  # chance, were they spread over the time


def kept_to_one_end(
    events: tuple[Event, ...], place: FloatArray, trace: Trace, *, channel: int
) -> OneEnd | None:
    """Return the end that the events of one signal keep to; None where they do not. `place`: shape (n,)."""
    met = encounters(tuple(e for e in events if e.channel == channel and not e.with_supply))
    if not met or any(e.at_percent is None for e in met):
        return None
    ends = (place <= NEAR_PERCENT, place >= 100 - NEAR_PERCENT)
    for high, near in enumerate(ends):
        at = [e for e in met if _is_near(e, bool(high))]
        other = any(_is_near(e, not high) for e in met)
        if other or len(at) < max(FEWEST_VISITS, NEARLY_ALL * len(met)):
            continue
        p = min(1.0, 2 * at_least_p(len(at), len(met), float(near.mean())))
        n_visits = _visits(at, near, trace.t_s)
        if p <= CLUSTER_P and n_visits >= FEWEST_VISITS and _mostly_at_rest(at):
            here_s, there_s = (float(np.count_nonzero(ends[k]) * trace.window_s) for k in (high, 1 - high))
            places = [float(e.at_percent or 0.0) for e in at]
            return OneEnd((min(places), max(places)), bool(high), n_visits, here_s, there_s, p)
    return None


def is_at(e: Event, end: OneEnd) -> bool:
    """Whether an event is at that end."""
    return _is_near(e, end.high)


def _is_near(e: Event, high: bool) -> bool:
    at = e.at_percent
    return at is not None and (at >= 100 - NEAR_PERCENT if high else at <= NEAR_PERCENT)


def _mostly_at_rest(at: list[Event]) -> bool:
    return sum(e.at_rest for e in at) >= MOSTLY_AT_REST * len(at)


def _visits(at: list[Event], near: BoolArray, t_s: FloatArray) -> int:
    """How many times the lever was there and met something."""
    number = np.cumsum(np.diff(near.astype(np.int8), prepend=0) > 0)
    index = np.clip(np.searchsorted(t_s, [e.start_s for e in at]), 0, t_s.size - 1)
    return int(np.unique(number[index]).size)
