"""The table of a batch and its results, as lines of text."""

from __future__ import annotations

from collections.abc import Sequence

from sweeprig.bench.batch import statistics as st
from sweeprig.bench.batch.batch import ENDS, EndSummary, Summary, counted, has_spread, summarise
from sweeprig.bench.batch.series import Entry, at_supply, last_of_each, open_before
from sweeprig.lines import Column, fitted, table
from sweeprig.report.figures import count_of, on_screen
from sweeprig.words import SIMULATED


def batch_lines(name: str, entries: Sequence[Entry], width: int = 120) -> list[str]:
    """Return table and summary as text, no line wider than `width`."""
    s = summarise(name, entries)
    seen = counted(entries)
    lines = [
        *simulated_lines(s),
        f"Batch {name}: {count_of(s.n_sensors, 'sensor')}, {count_of(s.n_sweeps, 'sweep')}",
        "",
        *_table(s, seen, width),
        "",
        f"  {s.counts or 'nothing swept'}",
    ]
    for end in s.ends:
        lines += [part for line in _end_lines(end) for part in fitted(line, width)]
    return lines


def common_lines(end: EndSummary) -> list[str]:
    """Return lines on one end over all sensors, for paper."""
    return [line.strip() for line in _end_lines(end)]


def simulated_lines(s: Summary) -> list[str]:
    """Return that sensors are simulated, or how many simulated ones are left out."""
    if s.left_out:
        return [f"{count_of(s.left_out, 'SIMULATED sweep')} left out."]
    return [SIMULATED] if s.simulated else []


def _table(s: Summary, entries: Sequence[Entry], width: int) -> list[str]:
    latest, earlier = last_of_each(entries), open_before(entries)
    odd = {serial for end in s.ends for serial in end.outliers}
    nominal_v = next((e.nominal_v for e in latest if e.nominal_v is not None), None)
    columns = [Column("serial", [e.serial for e in latest]), Column("verdict", [e.verdict for e in latest])]
    columns += [Column(f"{end} [V]", [on_screen(*e.measured(end)) for e in latest], goes=1) for end in ENDS]
    if nominal_v is not None:
        for end in ENDS:
            cells = [on_screen(*e.judged(end)) if e.nominal_v == nominal_v else "-" for e in latest]
            columns.append(Column(f"{end} [V] {at_supply(nominal_v)}", cells, goes=2))
    notes = [_notes(e, earlier.get(e.serial, []), odd=e.serial in odd) for e in latest]
    return table([*columns, Column("findings", notes)], width, "  ")


def _notes(e: Entry, earlier: Sequence[Entry], *, odd: bool) -> str:
    notes = [*e.codes, *(["outlier"] if odd else [])]
    notes += [f"sweep {e.attempt}"] if e.attempt > 1 else []
    notes += [" ".join((f"sweep {b.attempt}: {b.verdict.upper()}", *b.codes)) for b in earlier]
    notes += ["ended after its longest time"] if e.ended == "longest" else []
    return ", ".join(notes)


def _end_lines(end: EndSummary) -> list[str]:
    s, name = end.spread, f"{end.end} {at_supply(end.nominal_v)}".strip()
    if s is None:
        return [f"  {end.end}: not measured on any"]
    if s.sd is None:
        return [f"  {name}: one sensor, {s.mean:z.4f} V"]
    lines = [
        f"  {name}: mean {s.mean:z.4f} V, standard deviation {1e3 * s.sd:z.1f} mV (robust {1e3 * s.robust_sd:.1f}),"
        f" {s.low:z.4f} to {s.high:z.4f} V, n = {s.n}"
    ]
    if not has_spread(s):
        return [
            *lines,
            "    the sensors do not differ by more than the uncertainty: no spread is given",
        ]
    few = s.n < st.LEAST_FOR_OUTLIERS
    found = "too few to test" if few else ", ".join(end.outliers) or "none"
    lines.append(f"    outliers (generalised ESD, 5 %): {found}")
    if s.n < st.LEAST_FOR_INTERVALS:
        return [
            *lines,
            f"    too few for performance and tolerance interval (at least {st.LEAST_FOR_INTERVALS})",
        ]
    lines += _performance_lines(end.performance, s.n)
    t = end.tolerance
    if t is not None:
        lines.append(
            f"    95 % of such sensors lie between {t.low:z.4f} and {t.high:z.4f} V with 95 % confidence"
            f" (k = {t.k:.3f}, assuming a normal distribution)"
        )
    if end.largest_u95 is not None and end.largest_u95 > s.sd:
        lines.append(
            "    the uncertainty of one sweep exceeds the spread: the sensors' own spread is not visible"
        )
    return lines


def _performance_lines(found: st.Performance | None, n: int) -> list[str]:
    if found is None or found.ppk is None:
        return []
    pp = "" if found.pp is None else f"Pp {found.pp:.2f}, "
    small = f"; {n} sensors are few for this" if n < st.LEAST_FOR_PERFORMANCE else ""
    return [
        f"    {pp}Ppk {found.ppk:.2f}, with 95 % confidence at least {found.ppk_low:.2f}{small}",
        "    (performance, from the spread of the whole batch, ISO 22514-2; in workshops also called Cp and Cpk)",
    ]
