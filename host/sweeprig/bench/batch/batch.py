"""The results of a batch: a table, and for each end spread, outliers, performance and tolerance interval."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from sweeprig.bench.batch import statistics as st
from sweeprig.bench.batch.series import Entry, last_of_each, open_before
from sweeprig.judge.model import Check, Judgement, Quantity
from sweeprig.judge.outcome import Outcome
from sweeprig.records.rows import Record

ENDS = ("closed", "open")
LEAST_SD_V = 5e-5  # [V] less is no spread of sensors: no rig shows it; own choice, no source


@dataclass(frozen=True)
class EndSummary:
    """One end over the batch. Volts at `nominal_v` supply where that is given, else as measured; None: too few."""

    end: str
    missing: tuple[str, ...]  # serial numbers without this end
    spread: st.Spread | None
    outliers: tuple[str, ...]  # serial numbers
    performance: st.Performance | None
    tolerance: st.Tolerance | None
    largest_u95: float | None  # [V] of a single sensor
    nominal_v: float | None = None


@dataclass(frozen=True)
class Summary:
    """The whole batch; a sensor swept more than once counts with its last sweep."""

    name: str
    n_sensors: int
    n_sweeps: int
    verdicts: dict[str, int]
    ends: tuple[EndSummary, ...]
    simulated: int = 0  # sweeps of simulated sensors
    left_out: int = 0  # of these, because there are real ones beside them
    passed_later: int = 0  # sensors whose last sweep passes and an earlier one does not

    @property
    def counts(self) -> str:
        """How many of each verdict, in words; "" where nothing was swept."""
        said = ", ".join(f"{n} {word}" for word, n in self.verdicts.items() if n)
        return said + (f" ({self.passed_later} of them not in an earlier sweep)" if self.passed_later else "")


def entry_of(outcome: Outcome, *, serial: str, attempt: int, ended: str, capture_file: str) -> Entry:
    """Return one sweep as an entry: both ends as measured, and as the profile judges them."""
    judgement = outcome.judgement
    checks = {c.name: c for c in judgement.checks}
    closed, opened = (_pair(judgement.quantities.get(f"{e}_v")) for e in ENDS)
    judged = [_judged(e, checks.get(e), judgement) for e in ENDS]
    ratiometric = any(m.measured_v is not None for m in judgement.margins)
    return Entry(
        serial=serial,
        attempt=attempt,
        verdict=str(judgement.verdict),
        reason=judgement.reason,
        closed_v=closed[0],
        closed_u95=closed[1],
        open_v=opened[0],
        open_u95=opened[1],
        codes=tuple(str(f.code) for f in judgement.findings if f.severity == "fault"),
        closed_limits=_limits(checks.get("closed")),
        open_limits=_limits(checks.get("open")),
        ended=ended,
        capture_file=capture_file,
        nominal_v=outcome.trace.nominal_supply_v if ratiometric else None,
        closed_judged_v=judged[0][0],
        closed_judged_u95=judged[0][1],
        open_judged_v=judged[1][0],
        open_judged_u95=judged[1][1],
        simulated=outcome.simulated,
    )


def _pair(q: Quantity | None) -> tuple[float | None, float | None]:
    return (q.value, q.u95) if q is not None else (None, None)


def _judged(end: str, check: Check | None, judgement: Judgement) -> tuple[float | None, float | None]:
    """Return an end on the scale of the profile's limits: its own check, else its margin to a rail."""
    if check is not None and check.value is not None:
        return check.value, check.u95
    for m in judgement.margins:
        if m.end == end and m.level_v is not None:
            return m.level_v, m.u95
    return None, None


def _limits(check: Check | None) -> tuple[float | None, float | None]:
    return (None, None) if check is None else (check.low, check.high)


def entries_of_records(records: Sequence[Record]) -> list[Entry]:
    """Return records, oldest first, as entries; records do not contain the profile's limits, so these have none.

    Judged volts are taken from the margins, which only a record read in full has.
    """
    seen: dict[str, int] = {}
    out = []
    for r in records:
        serial = r.serial or r.label or f"record {r.id}"
        seen[serial] = seen.get(serial, 0) + 1
        out.append(
            Entry(
                serial, seen[serial], r.verdict, r.reason, r.closed_v, r.closed_u95, r.open_v, r.open_u95, r.codes,
                capture_file=r.capture_file, simulated=r.simulated, **_judged_of_record(r),
            )
        )  # fmt: skip
    return out


def _judged_of_record(record: Record) -> dict[str, Any]:
    """Return the ends at nominal supply, by the names of an entry; {} where they are judged as measured."""
    found: dict[str, Any] = {}
    for m in record.margins:
        end, value = m["end"], m.get("value_v")
        ratio = record.quantities.get(f"{end}_ratio", {}).get("value")
        if end in ENDS and m.get("measured_v") is not None and value is not None and ratio:
            found |= {f"{end}_judged_v": value, f"{end}_judged_u95": m.get("u95")}
            found["nominal_v"] = round(value / ratio, 3)  # judged = ratio x nominal
    return found


def summarise(name: str, entries: Sequence[Entry]) -> Summary:
    """Return the results of a batch. Simulated sweeps are left out where there are real ones."""
    seen = counted(entries)
    latest, earlier = last_of_each(seen), open_before(seen)
    simulated = sum(e.simulated for e in entries)
    words = ("pass", "fail", "undecided")
    return Summary(
        name,
        len(latest),
        len(entries),
        {w: sum(e.verdict == w for e in latest) for w in words},
        tuple(_end_summary(end, latest) for end in ENDS),
        simulated,
        simulated if simulated < len(entries) else 0,
        sum(e.verdict == "pass" and e.serial in earlier for e in latest),
    )


def counted(entries: Sequence[Entry]) -> list[Entry]:
    """Return the real sweeps; all of them where none is real."""
    return [e for e in entries if not e.simulated] or list(entries)


def _chosen(
    end: str, latest: Sequence[Entry]
) -> tuple[list[tuple[float | None, float | None]], float | None]:
    """Return each sensor's volts with U95 as judged, and the supply they hold for; as measured where scales differ."""
    scales = {e.nominal_v for e in latest if e.measured(end)[0] is not None}
    judged = [e.judged(end) for e in latest]
    if len(scales) == 1 and any(v is not None for v, _ in judged):
        return judged, scales.pop()
    return [e.measured(end) for e in latest], None


def _end_summary(end: str, latest: Sequence[Entry]) -> EndSummary:
    pairs, nominal_v = _chosen(end, latest)
    having = [(e, v, u95) for e, (v, u95) in zip(latest, pairs, strict=True) if v is not None]
    missing = tuple(e.serial for e, (v, _) in zip(latest, pairs, strict=True) if v is None)
    if not having:
        return EndSummary(end, missing, None, (), None, None, None)
    values = [v for _, v, _ in having]
    low, high = _common_limits(end, [e for e, _, _ in having])
    s = st.spread(values)
    return EndSummary(
        end,
        missing,
        s,
        tuple(having[i][0].serial for i in st.outliers(values).indices),
        st.performance(s if has_spread(s) else replace(s, sd=None), low=low, high=high),
        st.tolerance(s) if has_spread(s) else None,
        _largest(u95 for _, _, u95 in having),
        nominal_v,
    )


def has_spread(s: st.Spread) -> bool:
    """Whether the sensors differ by more than any rig can show."""
    return s.sd is not None and s.sd >= LEAST_SD_V


def _common_limits(end: str, entries: Sequence[Entry]) -> tuple[float | None, float | None]:
    """Return the limits of an end [V]; none where they differ from sensor to sensor."""
    limits = {getattr(e, f"{end}_limits") for e in entries}
    return limits.pop() if len(limits) == 1 else (None, None)


def _largest(values: Iterable[float | None]) -> float | None:
    return max((v for v in values if v is not None), default=None)


def batch_json(name: str, entries: Sequence[Entry]) -> dict[str, Any]:
    """Return entries and summary as a JSON object."""
    return {
        "batch": name,
        "entries": [{**asdict(e), "codes": list(e.codes)} for e in entries],
        "summary": asdict(summarise(name, entries)),
    }
