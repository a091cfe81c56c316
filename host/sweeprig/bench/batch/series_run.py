"""One sweep of a series with a rig: the capture runs, the trigger cuts it, and the outcome is an entry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from sweeprig.bench.batch.batch import entry_of
from sweeprig.bench.batch.series import Batch, Entry
from sweeprig.bench.hookup.cautions import Ask, JobBook, Unattended
from sweeprig.bench.hookup.lead_book import LeadBook
from sweeprig.bench.hookup.power_watch import PowerWatch
from sweeprig.bench.hookup.prepare import prepare_hookup, switch_off
from sweeprig.bench.readings.coach import Coach
from sweeprig.bench.readings.live import Volts
from sweeprig.bench.sweep.pace import plan_sweep
from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder, file_stem, finish, free_path, trim_for
from sweeprig.bench.sweep.trigger import Phase, Trigger
from sweeprig.capture.file import write_capture
from sweeprig.capture.live import LiveCapture, start_capture
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.frontend import front_end
from sweeprig.judge.profile import Profile, load_profile
from sweeprig.link.client import RigClient
from sweeprig.trim.model import Trim
from sweeprig.trim.store import trim_to_dict

# what the buzzer sounds [ms]; the terminal's bell sounds as often: told apart without looking
SOUNDS = {"pass": (80,), "fail": (500, 500, 500), "undecided": (200, 200)}


def sweep_one(
    client: RigClient,
    order: SweepOrder,
    batch: Batch,
    *,
    on_look: Callable[[Trigger], None],
    stop: Callable[[], bool],
    ask: Ask | None = None,
    books: tuple[JobBook, LeadBook] | None = None,
    now: Callable[[], datetime] = datetime.now,
) -> SweepDone | None:
    """Sweep the sensor on the bench; None where it was stopped before the lever moved.

    The supply is on only during the sweep, so that sensors are changed without it. Raises SafetyError, LinkError.
    """
    profile = load_profile(order.setup.profile)
    order = replace(order, setup=replace(order.setup, serial=batch.serial), batch=batch.name)
    order.folder.mkdir(parents=True, exist_ok=True)
    trim = trim_for(client, order.trims)
    jobs, leads = books if books is not None else (None, None)
    asked = ask or Unattended(order.setup.confirmed)
    setup = prepare_hookup(client, order.setup, profile, asked, trim=trim, book=jobs, leads=leads)
    try:
        if stop():
            return None
        capture, trigger, power = _capture(
            client, setup, profile, trim=trim, folder=order.folder, on_look=on_look, stop=stop
        )
    finally:
        switch_off(client)
    if not trigger.start_s and not power.overloaded:
        Path(capture.journal).unlink(missing_ok=True)
        return None
    path = free_path(order.folder, file_stem(order.setup, now()), ".sweep")
    capture = write_capture(path, replace(capture, trim=trim_to_dict(trim), setup=power.noted(capture.setup)))
    power.check(path)
    done = finish(capture, path, order)
    batch.add(entry_of_done(done, batch, trigger))
    return done


def entry_of_done(done: SweepDone, batch: Batch, trigger: Trigger) -> Entry:
    """Return the entry of a finished sweep."""
    return entry_of(
        done.outcome,
        serial=batch.serial,
        attempt=batch.attempt,
        ended=trigger.ended or "stopped",
        capture_file=str(done.capture_file),
    )


def _capture(
    client: RigClient,
    setup: SweepSetup,
    profile: Profile,
    *,
    trim: Trim,
    folder: Path,
    on_look: Callable[[Trigger], None],
    stop: Callable[[], bool],
) -> tuple[Capture, Trigger, PowerWatch]:
    end = front_end(str(client.hello().get("build", "plain")))
    volts = Volts(client, setup, trim, end, profile.supply.nominal_v)
    plan = plan_sweep(profile, shortest_dropout_s=end.shortest_dropout_s(str(setup.hookup)))
    trigger, power = Trigger(profile, plan), PowerWatch(volts)
    coach = Coach(profile, needed=plan.strokes)
    with start_capture(client, setup, folder=folder) as running:
        try:
            _follow(running, power, trigger, coach, on_look=on_look, stop=stop)
        except KeyboardInterrupt:
            running.stop()
        capture = running.finish(coaching=coach.done)
    if trigger.phase is Phase.OVER:
        capture = replace(capture, ended="complete")
    return cut_to(capture, trigger.keep_from_s), trigger, power


def _follow(
    running: LiveCapture,
    power: PowerWatch,
    trigger: Trigger,
    coach: Coach,
    *,
    on_look: Callable[[Trigger], None],
    stop: Callable[[], bool],
) -> None:
    for events in running.events():
        power.feed(events)
        trace = power.volts.chunk(events).trace
        if trace is not None:
            coach.feed(trace)
            trigger.feed(trace)
        on_look(trigger)
        if power.overloaded or trigger.phase is Phase.OVER or stop():
            running.stop()


def cut_to(capture: Capture, from_s: float) -> Capture:
    """Return the capture from a time [s] on; what came before, with its snapshots and gaps, is left out."""
    first = max(0, int(from_s / capture.window_s))
    records = capture.records[capture.records.index >= first]
    seconds = (records.index[-1] - records.index[0] + 1) * capture.window_s if len(records) else 0.0
    return replace(
        capture,
        records=records,
        first_index=max(first, capture.first_index),
        setup=replace(capture.setup, seconds=round(float(seconds), 3)),
        gaps=tuple(g for g in capture.gaps if g.index >= first),
        snapshots=tuple(s for s in capture.snapshots if s.index >= first),
        slow=tuple(s for s in capture.slow if s.index >= first),
        marks=tuple(m for m in capture.marks if m.index >= first),
    )
