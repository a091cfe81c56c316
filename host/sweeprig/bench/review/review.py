"""From a capture or a CSV to an outcome: the same way for a fresh sweep and for an old file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from sweeprig.analysis.wiggle import WIGGLES
from sweeprig.bench.hookup.rules import setup_remarks
from sweeprig.bench.review.choices import Choices as Choices
from sweeprig.bench.review.choices import versions as versions
from sweeprig.bench.review.csv_time import check_length, check_time
from sweeprig.bench.review.engine import engine_findings
from sweeprig.bench.review.evidence import evidence_findings
from sweeprig.bench.review.kept_profile import named_profile, profile_for
from sweeprig.bench.shop.captures import configured, keep
from sweeprig.calibration.model import Calibration
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.slow import impossible_temperatures
from sweeprig.calibration.store import calibration_from_dict, misfit
from sweeprig.calibration.volts import to_trace
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.file import read_capture
from sweeprig.capture.folder import local_now
from sweeprig.capture.model import Capture, SweepSetup, Trace
from sweeprig.capture.switched_off import until_switched_off
from sweeprig.capture.windows import fed, joined, supply_drawn, unrepeated
from sweeprig.errors import FileError
from sweeprig.frontend import front_end_of
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import Profile
from sweeprig.judge.rig import Rig
from sweeprig.judge.unseen import rig_marks
from sweeprig.judge.wiggle import as_wiggle
from sweeprig.link.clean import clean_text
from sweeprig.report.figures import count_of

if TYPE_CHECKING:
    from sweeprig.records.store import Store


REPEATS = "The table repeats each reading: judged as one every {:g} ms."
UNFED = "The first {:.2g} s, before the supply was there, are left out."
SWITCHED_OFF = "The last {:.2g} s, after the supply was switched off, are left out."
EMPTY = "The calibration in the capture is empty: judged by the tolerances of the rig's parts."


def _settle(setup: SweepSetup, choices: Choices) -> SweepSetup:
    return replace(
        setup,
        profile=named_profile(setup, choices.profile),
        starts=choices.starts or setup.starts,
        sense=choices.sense or setup.sense,
        track_ohm=choices.track_ohm if choices.track_ohm is not None else setup.track_ohm,
    )


def calibration_of(capture: Capture, choices: Choices) -> tuple[Calibration, tuple[str, ...]]:
    """Return the calibration chosen, else the one in the capture, else the nominal one of its build, with a remark.

    A calibration in the capture that is empty or of another rig is not used, and a remark says so. Raises
    CalibrationFileError for one that is damaged or impossible for such a rig: then it is not known which rig it was.
    """
    if choices.calibration is not None:
        return choices.calibration, ()
    if capture.calibration is not None and not capture.calibration:
        return nominal_calibration(capture.rig), (EMPTY,)
    kept = None
    if capture.calibration is not None:
        step = "use the original file, or capture again"
        kept = calibration_from_dict(
            capture.calibration, capture.path, part="The calibration in", next_step=step
        )
    seen, limit = ("", "") if kept is None else misfit(kept, capture.rig)
    if kept is not None and not seen:
        return kept, ()
    remarks = (
        (f"The calibration in the capture is not used: it belongs to {seen}, the capture to {limit}.",)
        if seen
        else ()
    )
    return nominal_calibration(capture.rig), remarks


def review_capture(
    capture: Capture, choices: Choices | None = None, *, made_at: str | None = None
) -> Outcome:
    """Analyse and judge one capture."""
    chosen = choices or Choices()
    setup = _settle(capture.setup, chosen)
    profile, remarks = profile_for(capture.setup, chosen.profile)
    calibration, refused = calibration_of(capture, chosen)
    rig = Rig(calibration, front_end_of(capture.rig))
    trace = to_trace(
        capture,
        calibration=rig.calibration,
        front_end=rig.front_end,
        nominal_supply_v=profile.supply.nominal_v,
        track_ohm=setup.track_ohm,
    )
    trace = replace(trace, hookup=setup.hookup).usable()
    outcome = _outcome(trace, setup, profile, chosen, capture=capture, rig=rig, made_at=made_at)
    outcome = replace(outcome, remarks=(*remarks, *refused, *outcome.remarks))
    return as_wiggle(outcome)[0] if setup.task in WIGGLES else outcome


def review_csv(path: Path, choices: Choices | None = None, *, made_at: str | None = None) -> Outcome:
    """Analyse and judge a CSV from any source; the instrument that measured it is not known."""
    chosen = choices or Choices()
    setup = _settle(SweepSetup(), chosen)
    profile, _ = profile_for(SweepSetup(), chosen.profile)
    read = read_csv(path, time_unit=chosen.time_unit)
    check_length(read)
    plain = unrepeated(read)
    said = (REPEATS.format(plain.window_s * 1e3),) if plain.t_s.size < read.t_s.size else ()
    live = fed(supply_drawn(plain))
    if late_s := float(live.t_s[0] - plain.t_s[0]):
        said = (*said, UNFED.format(late_s))
    whole, live = live, until_switched_off(live)
    if early_s := float(whole.t_s[-1] - live.t_s[-1]):
        said = (*said, SWITCHED_OFF.format(early_s))
    trace = replace(joined(live), nominal_supply_v=profile.supply.nominal_v, name=path.name)
    outcome = _outcome(trace, setup, profile, chosen, made_at=made_at)
    if chosen.time_unit is None:
        check_time(trace, outcome.analysis, profile)
    return replace(outcome, remarks=(*said, *outcome.remarks))


def review_file(path: Path, choices: Choices | None = None, *, made_at: str | None = None) -> Outcome:
    """Analyse and judge a capture file or a CSV; the ending of its name decides which."""
    try:
        there = path.exists()
    except (OSError, ValueError):  # a name that the file system does not take
        there = False
    if not there:
        raise FileError(
            f"File not found: {clean_text(str(path), 200)}.",
            next_step="check the name; captures end in .sweep",
        )
    if path.is_dir():
        raise FileError(
            f"{clean_text(str(path), 200)} is a folder.",
            limit="a capture (.sweep) or a CSV",
            next_step="name a file in it",
        )
    if path.suffix.lower() == ".csv":
        return review_csv(path, choices, made_at=made_at)
    return review_capture(read_capture(path), choices, made_at=made_at)


def take_in(store: Store, files: Sequence[Path], *, batch: str = "") -> list[int]:
    """Review capture files or CSVs and store their records, of this batch; return the records' numbers."""
    numbers = []
    for file in files:
        numbers.append(store.add(review_file(file), file, batch=batch))
        if problem := keep(store, file, configured()):
            raise FileError(problem)
    return numbers


def _rig_remarks(capture: Capture | None, rig: Rig | None) -> tuple[str, ...]:
    if capture is None:
        return ()
    wrong = impossible_temperatures(capture)
    said = f"{count_of(wrong, 'reading')} of the board's temperature impossible for a chip: left out."
    marks = rig_marks(None if rig is None else rig.calibration, taken_at=capture.created)
    return (*marks, said) if wrong else marks


def _outcome(
    trace: Trace,
    setup: SweepSetup,
    profile: Profile,
    choices: Choices,
    *,
    capture: Capture | None = None,
    rig: Rig | None = None,
    made_at: str | None = None,
) -> Outcome:
    from sweeprig.analysis.analyse import analyse  # a fifth of a second that a refused port need not wait for
    from sweeprig.judge.judge import judge

    analysis = analyse(
        trace,
        starts=setup.starts,
        given_sense=setup.sense,
        sensor_kind=setup.sensor_kind or profile.sensor.kind,
    )
    if capture is not None and rig is not None:
        more = (*engine_findings(capture, setup, rig.front_end), *evidence_findings(capture))
        analysis = replace(analysis, findings=(*analysis.findings, *more))
    judgement = judge(
        analysis=analysis,
        trace=trace,
        setup=setup,
        profile=profile,
        rig=rig,
        guard_factor=choices.guard_factor,
    )
    return Outcome(
        setup=setup,
        trace=trace,
        analysis=analysis,
        judgement=judgement,
        profile=profile,
        capture=capture,
        calibration=None if rig is None else rig.calibration,
        made_at=made_at or local_now().isoformat(timespec="seconds"),
        versions=versions(),
        remarks=(*setup_remarks(setup), *_rig_remarks(capture, rig)),
    )
