"""The card that ends a sweep, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeprig.bench.review.card import EndLine, NamedFault


def end_words(end: EndLine) -> str:
    """Return one end: volts with their interval, the margin, and beside it the volts at nominal supply."""
    if end.value_v is None:
        return f"{end.name}: not measured, {end.reason}"
    spread = "± not known" if end.u95_v is None else f"± {end.u95_v:.3f}"
    text = f"{end.name:9}{end.value_v:z.3f} V {spread}"
    if end.margin_v is not None:
        text += f"   {end.margin_v:z.3f} V from {end.rail}"
    if end.nominal_v is not None:
        text += f"   ({end.nominal_v:z.3f} V at {end.at_supply_v:g} V supply)"
    return text


def fault_words(fault: NamedFault) -> str:
    """Return one finding by name and place."""
    place = f" {fault.place}" if fault.place else ""
    doubt = "" if fault.severity == "fault" else " (not certain)"
    cause = f", cause: {fault.cause}" if fault.cause else ""
    return f"{fault.name}{place}{cause}{doubt}"
