"""How one sensor's ends move from sweep to sweep, and what can be said of it."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from sweeprig.records.rows import Record
from sweeprig.words import SIMULATED

LEAST_SWEEPS = 5  # fewer: no slope is told; own choice, no source
LEAST_DAYS = 1.0  # [d] from the first to the last; less: no slope is told; own choice, no source
NO_SLOPE = f", drift not computed (it needs {LEAST_SWEEPS} sweeps or more, over {LEAST_DAYS:g} day or more)"


@dataclass(frozen=True)
class Trend:
    """How one end moved over a sensor's records. Volts; None where fewer than two records measured it."""

    end: str  # closed | open
    n: int
    mean_v: float | None
    sd_v: float | None  # standard deviation from record to record
    change_v: float | None  # last minus first
    change_u95: float | None  # both uncertainties taken as independent
    e_n: float | None  # change over its uncertainty
    slope_v_per_day: float | None  # of the least-squares line over time; None where too little is known


def trend(records: Sequence[Record], end: str) -> Trend:
    """Return the trend of one end over records in the order of time.

    E_n = (x2 - x1)/sqrt(U1^2 + U2^2), beyond 1 in size a change (ISO/IEC 17043, ISO 13528; from memory).
    """
    seen = [r for r in records if getattr(r, f"{end}_v") is not None]
    values = [float(getattr(r, f"{end}_v")) for r in seen]
    if len(values) < 2:
        return Trend(end, len(values), values[0] if values else None, None, None, None, None, None)
    u95 = [getattr(r, f"{end}_u95") for r in (seen[0], seen[-1])]
    change = values[-1] - values[0]
    spread = math.hypot(*u95) if None not in u95 else None
    return Trend(
        end,
        len(values),
        statistics.fmean(values),
        statistics.stdev(values),
        change,
        spread,
        change / spread if spread else None,
        _slope_per_day([r.at_s for r in seen], values),
    )


def _slope_per_day(at_s: Sequence[float], values: Sequence[float]) -> float | None:
    days = [(t - at_s[0]) / 86400 for t in at_s]
    if len(days) < LEAST_SWEEPS or max(days) - min(days) < LEAST_DAYS:
        return None
    return statistics.linear_regression(days, values).slope


def trend_lines(trends: Sequence[Trend]) -> list[str]:
    """Return a line or two for each end."""
    lines = []
    for t in trends:
        if t.change_v is None or t.sd_v is None:
            few = "once" if t.n == 1 else f"{t.n} times"
            lines.append(f"  {t.end}: measured {few}, too few to show a trend")
            continue
        judged = ""
        if t.e_n is not None and t.change_u95 is not None:
            word = "a change" if abs(t.e_n) > 1 else "no change shown"
            judged = f" ± {1e3 * t.change_u95:z.1f} mV: {word} ({t.e_n:+z.2f} times the ±)"
        slope = NO_SLOPE if t.slope_v_per_day is None else f", {1e3 * t.slope_v_per_day:+z.3f} mV a day"
        lines.append(
            f"  {t.end}: {t.n} times, mean {t.mean_v:z.4f} V, standard deviation {1e3 * t.sd_v:z.1f} mV{slope};"
            f" last minus first {1e3 * t.change_v:+z.1f}{judged or ' mV'}"
        )
    return lines


def counted(records: Sequence[Record]) -> tuple[list[Record], str]:
    """Return the records that count, and what has to be said: simulated ones are left out beside real ones."""
    real = [r for r in records if not r.simulated]
    n = len(records) - len(real)
    if not n:
        return real, ""
    if not real:
        return list(records), SIMULATED
    return real, f"{n} SIMULATED sweep{'' if n == 1 else 's'} left out."
