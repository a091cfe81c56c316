"""One figure, computed and simulated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

SCALES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
NOTHING = 1e-10  # a percentage of less than this says nothing


def shown(value: float, unit: str) -> str:
    """Return a value with its unit, four digits, as 14.2 uA."""
    if unit in ("%", ""):
        return f"{value:.4g} {unit}".strip()
    for scale, sign in SCALES:
        if abs(value) >= scale:
            return f"{value / scale:.4g} {sign}{unit}"
    return f"0 {unit}" if abs(value) < 1e-15 else f"{value:.3g} {unit}"


@dataclass(frozen=True)
class Compared:
    """`rule` is "within" (the two are the same within `tol`, relative) or "bound" (simulated is not beyond)."""

    build: str
    name: str
    computed: float
    simulated: float
    unit: str
    rule: str
    tol: float
    limit: float | None = None  # what must not be passed, of the same sign; None: no limit on this figure
    limit_is: str = "most"  # most | least
    floor: float = 0.0  # a bound is not passed by less than this

    HEAD: ClassVar[tuple[str, ...]] = (
        "build", "figure", "computed", "simulated", "difference", "rule", "agrees", "limit", "kept",
    )  # fmt: skip

    @property
    def difference(self) -> float:
        """Simulated less computed, relative to the computed value (absolute where that is zero)."""
        gap = self.simulated - self.computed
        return gap / abs(self.computed) if self.computed else gap

    @property
    def agrees(self) -> bool:
        """Whether the two agree by the row's rule."""
        if self.rule == "bound":
            return abs(self.simulated) <= abs(self.computed) * (1 + self.tol) + self.floor
        return abs(self.difference) <= self.tol

    @property
    def kept(self) -> bool | None:
        """Whether computed AND simulated keep the limit; None without one."""
        if self.limit is None:
            return None
        worst = (max if self.limit_is == "most" else min)(abs(self.computed), abs(self.simulated))
        return worst <= abs(self.limit) if self.limit_is == "most" else worst >= abs(self.limit)

    def cells(self) -> tuple[str, ...]:
        """Return the row as text."""
        rule = f"within {100 * self.tol:g} %" if self.rule == "within" else "at most"
        limit = "" if self.limit is None else f"at {self.limit_is} {shown(self.limit, self.unit)}"
        kept = {None: "", True: "yes", False: "NO"}[self.kept]
        return (
            self.build,
            self.name,
            shown(self.computed, self.unit),
            shown(self.simulated, self.unit),
            f"{100 * self.difference:+.2f} %" if abs(self.computed) > NOTHING else "",
            rule,
            "yes" if self.agrees else "NO",
            limit,
            kept,
        )
