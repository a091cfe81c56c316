"""One figure of a build, beside its limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hardware.compare_rows import shown


@dataclass(frozen=True)
class Figure:
    """One figure. `holds` is None where there is no limit to keep."""

    group: str
    name: str
    value: float
    unit: str
    limit: str = ""
    holds: bool | None = None

    @property
    def value_str(self) -> str:
        """The value with its unit; a time that never ends is said so."""
        if math.isinf(self.value):
            return "never"
        return shown(self.value, self.unit)


def most(group: str, name: str, value: float, unit: str, limit: float) -> Figure:
    """Return a figure that must not pass its limit."""
    return Figure(group, name, value, unit, f"at most {shown(limit, unit)}", abs(value) <= limit)


def least(group: str, name: str, value: float, unit: str, limit: float) -> Figure:
    """Return a figure that must reach its limit."""
    return Figure(group, name, value, unit, f"at least {shown(limit, unit)}", value >= limit)
