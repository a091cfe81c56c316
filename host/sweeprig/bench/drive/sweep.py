"""A sweep that the rig's motor makes: confirmed, learnt with a small step, captured with its angles, let go."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path

from sweeprig.bench.drive.check import learn
from sweeprig.bench.drive.course import Course, DrivePlan, DriveState
from sweeprig.bench.drive.motor import MOST_DEG, Motor, check_fitted, check_place, confirm_clear
from sweeprig.bench.face import Face
from sweeprig.bench.hookup.cautions import Ask, Unattended
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.live import Chunk, no_data
from sweeprig.bench.session import Books, Session, session
from sweeprig.bench.sweep.more import load_analysis, strokes_that_would_tell
from sweeprig.bench.sweep.run import CHUNKS_KEPT, QUIT, cut_to, plan_of, trace_from
from sweeprig.bench.sweep.sweep import SweepOrder
from sweeprig.capture.folder import ready_folder
from sweeprig.capture.locks import remove
from sweeprig.capture.model import Capture
from sweeprig.errors import InputError
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Records

Watch = Callable[[Session], AbstractContextManager[Face[DriveState]]]


def check_travel(travel_deg: float | None) -> None:
    """Raise InputError for a travel that no drive goes."""
    if travel_deg is not None and not limit("driven.least_deg") <= travel_deg <= MOST_DEG:
        raise InputError(
            "The motor cannot go this travel.",
            seen=f"--travel {travel_deg:g}",
            limit=f"{limit('driven.least_deg'):g} to {MOST_DEG:g} degrees",
            next_step="correct it, or leave it out: the open stop is then looked for",
        )


def take_driven(
    client: RigClient,
    order: SweepOrder,
    *,
    watch: Watch,
    travel_deg: float | None = None,
    ask: Ask | None = None,
    books: Books | None = None,
) -> tuple[Capture, Path]:
    """Capture a sweep that the motor makes, into a file.

    Raises HookupError where no motor may move the lever, SafetyError where nobody confirmed, DriveError where it does
    not move as asked; LinkError; KeyboardInterrupt where it is ended before the first stroke.
    """
    check_travel(travel_deg)
    check_place(order.setup.hookup, order.setup.setting)
    check_fitted(client)
    ready_folder(order.folder)
    setup = confirm_clear(client, order.setup, ask or Unattended(order.setup.confirmed))
    learn(client)
    with session(client, setup, calibrations=order.calibrations, ask=ask, books=books) as s:
        plan = DrivePlan(plan_of(s, seconds=None, strokes=order.strokes).strokes, travel_deg)
        with watch(s) as face:
            capture = record_driven(s, order.folder, plan, face)
        return s.keep(capture, order.folder)


def record_driven(s: Session, folder: Path, plan: DrivePlan, face: Face[DriveState]) -> Capture:
    """Capture the strokes; what came before the rest at home is left out. Raises as take_driven does."""
    motor, quits = Motor(s.client), False
    taken: list[Records] = []

    def more() -> int:
        trace = trace_from(s, taken, course.keep_from_s or 0.0)
        return strokes_that_would_tell(trace, s.setup, s.profile)

    course = Course(motor, plan, more)
    load_analysis()

    def take(chunk: Chunk) -> None:
        nonlocal quits
        quits = quits or QUIT in face.pressed()
        if len(chunk.records):
            taken.append(chunk.records)
            if course.keep_from_s is None:
                del taken[:-CHUNKS_KEPT]
            course.tick(float(chunk.records.index[-1]) * s.client.window_s)
        face.show(course.state)

    def stop() -> bool:
        over = course.over or quits or face.ended()
        if over:
            motor.let_go()  # at once: what follows reads the journal first
        return over

    capture = s.capture(folder, on_chunk=take, stop=stop, coaching=lambda: course.seen, endless=True)
    if course.problem is not None or course.keep_from_s is None:
        remove(Path(capture.journal))
        if s.blind:
            raise no_data()
        raise course.problem or KeyboardInterrupt
    if course.over:
        capture = replace(capture, ended="complete")
    return cut_to(capture, course.keep_from_s)
