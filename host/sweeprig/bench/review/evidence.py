"""Whether a capture is evidence at all: what contradicts itself in it, and a supply that the rig's limiter held."""

from __future__ import annotations

from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.capture.contradictions import contradictions, limited, too_many
from sweeprig.capture.model import Capture, Hookup

AGAIN = "Use the original file, or sweep again"


def evidence_findings(capture: Capture) -> tuple[Finding, ...]:
    """Return what keeps a capture from any verdict, and a doubt where the rig cut the supply; () for good ones."""
    odd = contradictions(capture)
    out = [_contradictory(odd)] if odd else []
    n = limited(capture)
    if capture.setup.hookup is Hookup.POWERED and too_many(n, capture):
        out.append(_limited(n, len(capture.records)))
    return tuple(out)


def _contradictory(odd: tuple[str, ...]) -> Finding:
    step = f"{AGAIN}; if a new capture says the same, test the rig with a sensor known to be good."
    return Finding(Code.CONTRADICTORY_DATA, Cause.RIG, None, None, "; ".join(odd), step)


def _limited(n: int, whole: int) -> Finding:
    text = f"the rig's limiter cuts the sensor's supply in {n} of {whole} records"
    step = "Look for a short or an overload in every lever position, and sweep again."
    return Finding(Code.SUPPLY_CUT, Cause.SUPPLY, 2, None, text, step, "doubt", {"n_limited": float(n)})
