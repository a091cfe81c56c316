"""A sweep with prompts: armed at rest, started by a movement, the button or a key, ended by strokes or time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from sweepboard.wire import CHANNELS
from sweeprig.bench.face import Face
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.live import Chunk, no_data
from sweeprig.bench.session import Session
from sweeprig.bench.sweep.more import load_analysis, strokes_that_would_tell
from sweeprig.bench.sweep.pace import SweepPlan, plan_sweep
from sweeprig.bench.sweep.prompts import SweepPrompts, SweepState
from sweeprig.bench.sweep.trigger import SETTLED_S, Phase
from sweeprig.capture.locks import remove
from sweeprig.capture.model import Capture, Trace
from sweeprig.errors import BoardSilentError, InputError, PortLostError
from sweeprig.link.messages import Records
from sweeprig.words import Hookup

QUIT = "q"
START = frozenset("\r\n")
CHUNKS_KEPT = (
    100  # polls of the rig, of a tenth of a second or less, that are kept while a sweep has not begun
)


def plan_of(s: Session, *, seconds: float | None, strokes: int | None = None) -> SweepPlan:
    """Return the plan of a sweep for this rig, hookup and profile.

    `seconds` None: it ends after so many `strokes`, or as many as the profile asks for.
    """
    shortest = s.volts.front_end.shortest_dropout_s(str(s.setup.hookup))
    return plan_sweep(s.profile, shortest_dropout_s=shortest, seconds=seconds, strokes=strokes)


def record_guided(
    s: Session, folder: Path, plan: SweepPlan, face: Face[SweepState]
) -> tuple[Capture | None, SweepPrompts]:
    """Capture one sweep, guided; None where it was ended before it began.

    Enter and the rig's button start it, q or the face ends it. A timed plan keeps exactly its seconds; else what came
    before the rest at the start is left out.
    Raises InputError where nothing moved for `sweep.wait_s`, at a rail for `sweep.at_rail_wait_s`, or nothing rested
    for the plan's longest time; else as `Session.capture`.
    """
    taken: list[Records] = []

    def more() -> int:
        return strokes_that_would_tell(trace_from(s, taken, prompts.trigger.keep_from_s), s.setup, s.profile)

    prompts = SweepPrompts(s.profile, plan, s.setup.starts, more)
    keys: set[str] = set()
    load_analysis()

    def take(chunk: Chunk) -> None:
        keys.update(face.pressed())
        if chunk.marks or keys & START:
            prompts.trigger.start()
        taken.append(chunk.records)
        if prompts.trigger.waiting:
            del taken[:-CHUNKS_KEPT]
        if chunk.trace is not None:
            prompts.feed(chunk.trace)
        face.show(prompts.state())

    capture = s.capture(
        folder,
        on_chunk=take,
        stop=lambda: _is_over(prompts) or QUIT in keys or face.ended(),
        coaching=lambda: prompts.seen,
        endless=not plan.timed,
    )
    if plan.timed:
        return capture, prompts
    if prompts.trigger.waiting and not s.power.stops and not s.engine.stops:
        remove(Path(capture.journal))
        if s.blind:
            raise no_data()
        _must_be_there(capture.ended)
        _must_have_moved(prompts, was_on=s.setup.hookup == Hookup.POWERED)
        return None, prompts
    if prompts.trigger.phase is Phase.OVER:
        capture = replace(capture, ended="complete")
    return cut_to(capture, prompts.trigger.keep_from_s), prompts


def trace_from(s: Session, taken: list[Records], from_s: float) -> Trace:
    """Return the volts of these records from a time [s] on."""
    records = Records.concatenate(taken)
    rig = s.client.hello()
    first = int(from_s * float(rig["conversion_hz"]) / (int(rig["window"]) * CHANNELS))
    return s.volts.trace(records[records.index >= first]).usable()


def _is_over(prompts: SweepPrompts) -> bool:
    trigger = prompts.trigger
    waited = trigger.waiting and trigger.lever.now_s >= limit("sweep.wait_s")
    given_up = waited or _never_rests(prompts) or _stays_at_rail(prompts)
    return not prompts.plan.timed and (given_up or trigger.phase is Phase.OVER)


def _stays_at_rail(prompts: SweepPrompts) -> bool:
    """Whether the signal has lain at a rail for so long that nobody will move it."""
    return prompts.trigger.at_rail_s >= limit("sweep.at_rail_wait_s")


def _never_rests(prompts: SweepPrompts) -> bool:
    """Whether the signal has not rested for the longest time that the profile gives a sweep."""
    return prompts.trigger.unrest_s >= prompts.plan.longest_s


def _must_be_there(ended: str) -> None:
    """Raise LinkError where the rig was lost before the sweep began."""
    lost = {"unplugged": PortLostError, "silent": BoardSilentError, "restarted": BoardSilentError}.get(ended)
    if lost is not None:
        raise lost(
            "The rig was lost before the sweep began.",
            seen=ended,
            next_step="look at the cable, plug the rig in again and repeat",
        )


def _must_have_moved(prompts: SweepPrompts, *, was_on: bool) -> None:
    """Raise InputError where the sweep was given up because nothing moved, or nothing rested."""
    trigger, off = prompts.trigger, " The sensor is switched off." if was_on else ""
    if _never_rests(prompts):
        raise InputError(
            f"The sweep does not begin: the signal never rests.{off}",
            seen=f"{trigger.unrest_s:.0f} s without a rest",
            limit=f"a rest of {SETTLED_S:.1f} s within {prompts.plan.longest_s:.0f} s",
            next_step="hold the lever still and run it again; a signal that moves all the same: sweeprig check",
        )
    if _stays_at_rail(prompts):
        raise InputError(
            f"The sweep does not begin: the signal stays at {trigger.rail.name}.{off}",
            seen=f"{trigger.lever.level_v:z.2f} V for {trigger.at_rail_s:.0f} s",
            limit=f"movement within {limit('sweep.at_rail_wait_s'):.0f} s",
            next_step="an open or shorted wire looks so: sweeprig check; if the lever was not moved, run it again",
        )
    if trigger.lever.now_s >= limit("sweep.wait_s"):
        raise InputError(
            f"The sweep does not begin: the lever does not move.{off}",
            seen=f"{trigger.lever.now_s:.0f} s at rest",
            limit=f"movement within {limit('sweep.wait_s'):.0f} s",
            next_step="run it again and move the lever; a signal that does not follow: sweeprig check",
        )


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
