"""Contradictions within a capture: between records, between flags and set-up, between gaps and records.

A rig and this program never write such a capture: it was changed later, or the board is not what it claims to be. Then
it proves nothing, good or bad.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from sweepboard import wire
from sweeprig.capture.model import BoolArray, Capture, Hookup
from sweeprig.capture.plausible import AGAINST_THEMSELVES
from sweeprig.frontend import front_end_of

MOST_UNFED_PERCENT = 0.1  # % of the records: as for conversions that the converter marks as bad
KNOWN = sum(
    (
        wire.FLAG_CONVERSIONS_LOST,
        wire.FLAG_CONVERSION_ERROR,
        wire.FLAG_SPLICE,
        wire.FLAG_SUPPLY_ON,
        wire.FLAG_SUPPLY_FAULT,
        wire.FLAG_BURDEN_ON,
        wire.FLAG_BIAS_ON,
        wire.FLAG_BUTTON,
    )
)
FEWEST_SLOW = 5  # readings whose median is a supply
MOST_APART_V, MOST_APART = (
    0.1,
    0.05,
)  # [V] and share: well above what parts at their worst do. Own choice, no source
OUTPUTS = wire.FLAG_SUPPLY_ON | wire.FLAG_BURDEN_ON | wire.FLAG_BIAS_ON | wire.FLAG_SUPPLY_FAULT


def contradictions(capture: Capture) -> tuple[str, ...]:
    """Return a text for each contradiction in a capture; () where there is none."""
    return (
        *_of_records(capture),
        *_of_the_setup(capture),
        *_of_the_rig(capture),
        *_of_gaps(capture),
        *_of_slow(capture),
    )


def limited(capture: Capture) -> int:
    """Return the records in which the rig's own limiter limits or cuts the supply of the sensor."""
    return int(np.count_nonzero(capture.records.flags & wire.FLAG_SUPPLY_FAULT))


def too_many(n: int, capture: Capture) -> bool:
    """Return whether so many records without a good supply are more than those at switching on and off."""
    return n > MOST_UNFED_PERCENT / 100 * len(capture.records)


def _of_records(capture: Capture) -> Iterator[str]:
    n = capture.set_aside.get(AGAINST_THEMSELVES, 0)
    if n:
        whole = len(capture.records) + n
        yield f"in {n} of {whole} records the mean is not between the lowest and the highest code; they are left out"
    jumped = np.diff(capture.records.index, prepend=capture.records.index[:1] - 2) != 1
    splices = _count(_flagged(capture, wire.FLAG_SPLICE) & ~jumped)
    if splices:
        yield f"{_records(splices)} marked as the first after a restart of the sampling, and none is missing before"


def _of_the_setup(capture: Capture) -> Iterator[str]:
    n, offered = len(capture.records), capture.rig.get("hookups")
    if isinstance(offered, list | tuple) and str(capture.setup.hookup) not in offered:
        yield f"the set-up says {capture.setup.hookup}, and the rig does not offer that"
    if capture.setup.hookup is Hookup.TAPPED:
        on = _count(_flagged(capture, OUTPUTS))
        if on:
            yield f"the set-up says tapped, and in {on} of {n} records the rig powers the sensor or loads it"
        return
    off = _count(~_flagged(capture, wire.FLAG_SUPPLY_ON | wire.FLAG_SUPPLY_FAULT))
    if too_many(off, capture) and "supply-switch" in front_end_of(capture.rig).capabilities:
        yield f"the set-up says powered, and in {off} of {n} records the rig's supply is off"


def _of_the_rig(capture: Capture) -> Iterator[str]:
    """Yield a text where the time base differs from the rig's hello, and where a flag is set that no rig sets."""
    for key, own, unit in (("window", capture.window, ""), ("conversion_hz", capture.conversion_hz, " Hz")):
        told = capture.rig.get(key, own)
        if told != own:
            yield f"the capture has a {key} of {own:g}{unit}, its rig one of {told!r:.20}{unit}"
    odd = _count(_flagged(capture, 0xFFFF & ~KNOWN))
    if odd:
        yield f"in {odd} of {len(capture.records)} records flags are set that no rig sets"


def _of_gaps(capture: Capture) -> Iterator[str]:
    """Yield a text where a gap is reported although the record at one of its ends is there.

    A board joins gaps that it has not reported yet, so records between the two ends of one may be there.
    """
    ends = [(g.index, g.index + g.n_lost - 1) for g in capture.gaps]
    there = np.isin(np.array(ends, np.float64).reshape(-1, 2), capture.records.index).any(axis=1)
    odd = [g.n_lost < 1 or g.index < 0 for g in capture.gaps]
    bad = _count(there | np.array(odd, bool))
    if bad:
        yield f"{bad} of {len(ends)} reported gaps are none: the records are there"


def _of_slow(capture: Capture) -> Iterator[str]:
    """Yield a text where slow converter and records differ in the supply: both read the same divider."""
    end, r = front_end_of(capture.rig), capture.records
    slow = [s.value / 1e6 for s in capture.slow if s.quantity == wire.SLOW_SUPPLY and s.status == 0]
    if not end.has_monitor or len(slow) < FEWEST_SLOW or not len(r):
        return
    fast = r.sums[:, wire.SUPPLY] / capture.window * end.lsb_v
    low_v, fast_v, high_v = (float(q) for q in np.quantile(fast, (0.05, 0.5, 0.95)))
    slow_v = float(np.median(slow)) / end.divider_ratio
    apart_v = MOST_APART_V + MOST_APART * fast_v
    if high_v - low_v < apart_v and abs(slow_v - fast_v) > apart_v:
        yield f"the second converter reads a supply of {slow_v:z.2f} V, the records {fast_v:z.2f} V"


def _flagged(capture: Capture, flags: int) -> BoolArray:
    found: BoolArray = capture.records.flags & np.uint16(flags) != 0
    return found


def _count(found: BoolArray) -> int:
    return int(np.count_nonzero(found))


def _records(n: int) -> str:
    return f"{n} record is" if n == 1 else f"{n} records are"
