"""`guide`: the whole job for an unknown sensor, step by step, each by the command that does it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import typer

from sweeprig.cli import guiding, sweeping
from sweeprig.cli import options as opt
from sweeprig.cli.console import StoppedError, console
from sweeprig.cli.guided_job import Job, closing_words, kept_words
from sweeprig.cli.rehearsing import close_lever, is_rehearsal
from sweeprig.cli.session import with_options
from sweeprig.cli.typed import unseen_keys
from sweeprig.cli.web_page import PageOptions, around

if TYPE_CHECKING:
    from sweeprig.bench.sweep.sweep import SweepDone
    from sweeprig.errors import SweeprigError


@dataclass(frozen=True)
class GuideOptions(PageOptions):
    """What `guide` takes."""

    port: opt.Port = ""


CONNECTED, FAULT, NOT_EXPLAINED = 0, 10, 11
VOLTS = {"12": "1", "24": "2", "12 v": "1", "24 v": "2"}
REHEARSAL = "sim://good?rehearse=yes"
BACK = "Move the lever back to CLOSED throttle and leave it there. Is it there?"
REHEARSED_BACK = "The lever has to be back at CLOSED throttle. Answer y and the rehearsal's lever goes there."


def lead(job: Job) -> None:
    """Lead through the job to the end."""
    guiding.heading(1, "Where the sensor is")
    _what(job)
    guiding.heading(2, "Which pin is which")
    if job.simulated:
        console.say("A simulated sensor has no pins to measure: answer y.")
    if not guiding.yes("Do you know which pin is supply, which is ground and which is signal?"):
        _pins(job)
    guiding.heading(3, "Hookup")
    _hookup(job)
    guiding.heading(4, "Connection")
    _check(job)
    guiding.heading(5, "What kind of sensor")
    job.profile = _profile()
    guiding.heading(6, "Sweep")
    done = _sweep(job)
    guiding.heading(7, "What the result asks for")
    _then(job, done)
    _sum_up(job)


def _what(job: Job) -> None:
    asked = "Is the sensor on the bench (b) or in a vehicle (v)?"
    where = guiding.asked(asked, "bv", {"bench": "b", "vehicle": "v"})
    job.setting = "vehicle" if where == "v" else "bench"
    if job.setting == "vehicle":
        from sweeprig.bench.guide import DRIVES

        asked = "What drives the vehicle: combustion (c), stop-start (s), hybrid (h) or electric (e)?"
        job.drive = DRIVES[guiding.asked(asked, "".join(DRIVES), {name: key for key, name in DRIVES.items()})]
        asked = "Its supply: 12 V (1), 24 V (2), or not known (?)?"
        job.system = {"1": "12", "2": "24"}.get(guiding.asked(asked, "12?", VOLTS), "")
    job.label = guiding.typed("A label for the sensor, for example shelf 3")
    job.job = guiding.typed("Job or order")


def _pins(job: Job) -> None:
    from sweeprig.bench.connection.pin_readings import MAYBE_HALL

    asked = (
        "Is it a potentiometer for certain, by its part number or wiring diagram (? where you do not know)?"
    )
    if guiding.asked(asked, "yn?") != "y":
        console.say(MAYBE_HALL)
        raise typer.Exit(NOT_EXPLAINED)
    console.say(
        "Plug off the harness, an ohmmeter between each pair of pins, at closed and at open throttle."
    )
    while job.do(["pins"]) != 0:
        if not guiding.yes(
            "The readings do not identify all pins safely. Measure again (y) or end here (n)?"
        ):
            raise typer.Exit(FAULT)
    if len(guiding.tracks_ohm) == 1:  # of two tracks neither is the one that a command takes
        job.track_ohm = f"{guiding.tracks_ohm[0]:.0f}"


def _hookup(job: Job) -> None:
    from sweeprig.bench.guide import items_for

    guiding.confirmed(items_for(job.setting, job.hookup, job.drive))


def _check(job: Job) -> None:
    """Test the connection until it is good or the operator goes on; a plug that was moved is confirmed anew."""
    while job.do(["check", *job.options(named=False)]) != CONNECTED:
        if job.refused is not None:
            _refused(job, job.refused)
        elif not guiding.yes("The connection test does not pass. Repair it and test again (y) or go on (n)?"):
            return
        _hookup(job)


def _refused(job: Job, error: SweeprigError) -> None:
    """Ask whether a step that did not run is tried again; n ends the guide with the error's status."""
    from sweeprig.errors import LinkError

    no_link = isinstance(error, LinkError)
    said = "The rig does not answer: nothing was tested." if no_link else "The step did not run."
    if not guiding.yes(f"{said} Do what follows next, then try again (y) or end here (n)?"):
        raise typer.Exit(error.exit_code)


def _profile() -> str:
    from sweeprig.bench.guide import FIRST_QUESTION, Answer

    here = FIRST_QUESTION
    while True:
        after = here.after(Answer(guiding.asked(f"{here.text} (? where you do not know)", "yn?")))
        if isinstance(after, str):
            console.say(f"Profile: {after}")
            return after
        here = after


def _back_to_closed(job: Job) -> None:
    """Have the lever where a sweep begins: the connection test has left it open. A rehearsal's goes there with y."""
    rehearsal = is_rehearsal(job.port)
    if job.simulated and not rehearsal:
        return
    while not guiding.yes(REHEARSED_BACK if rehearsal else BACK):
        console.say("  A sweep begins at closed throttle.")
    if rehearsal:
        close_lever()


def _sweep(job: Job) -> SweepDone:
    while True:
        _back_to_closed(job)
        sweeping.finished.clear()
        job.do(["sweep", *job.options()])
        if sweeping.finished:
            return sweeping.finished[-1]
        if job.refused is not None:
            _refused(job, job.refused)
        elif not guiding.yes("No sweep was judged. Sweep again (y) or end here (n)?"):
            raise typer.Exit(FAULT)
        _hookup(job)


def _then(job: Job, done: SweepDone) -> None:
    from sweeprig.bench.guide import Then, said_of, then_of

    then = then_of(done.outcome)
    console.say(
        sweeping.without_sheet(done) if then is Then.HAND_OVER and not done.sheets else said_of(done.outcome)
    )
    following = {
        Then.AIM: ["aim", "--mount", "slotted", *_from(done), *job.options()],
        Then.WIGGLE: ["wiggle", *job.options()],
        Then.SWEEP: ["sweep", *job.options()],
        Then.BOTH_TRACKS: ["review", _capture(done), "--profile", _both(done)],
    }.get(then)
    if then is Then.KIND and guiding.yes("Answer them again, or connect it, and sweep again now?"):
        _other_kind(job)
    if following is not None and guiding.yes(f"Go on with {following[0]} now?"):
        if then is Then.SWEEP:
            _back_to_closed(job)
        _follow(job, following)


def _follow(job: Job, following: list[str]) -> None:
    """Do what the result asks for; one that is refused is tried again as often as the operator likes."""
    while job.do(following) is None and guiding.yes(
        f"{following[0]} did not run. Do what follows `next`, then try again (y) or go on without it (n)?"
    ):
        pass


def _other_kind(job: Job) -> None:
    """Sweep again by the profile that the questions come to now; a plug may have been moved for it."""
    job.profile = _profile()
    _hookup(job)
    _then(job, _sweep(job))


def _capture(done: SweepDone) -> str:
    return str(done.capture_file or "")


def _both(done: SweepDone) -> str:
    from sweeprig.judge.track_b import profiles_for

    return profiles_for(done.outcome.analysis.two_tracks)[0]


def _from(done: SweepDone) -> list[str]:
    return ["--from", str(done.capture_file)] if done.capture_file else []


def _sum_up(job: Job) -> None:
    from sweeprig.bench.guide import command_line

    console.say()
    console.say("The same job without the guide:")
    for arguments in job.commands:
        console.say(f"  {command_line(arguments)}")
    console.say()
    console.say(closing_words(sweeping.finished[-1]))


def _look_for(port: str) -> None:
    """See before the first question that the rig answers; with none attached name the rehearsal too."""
    from sweeprig.bench.board.rig import look_for
    from sweeprig.errors import NoRigError

    try:
        look_for(port)
    except NoRigError as none:
        learn = f'{none.next_step}; to learn the guide: sweeprig guide --port "{REHEARSAL}"'
        raise NoRigError(none.what, seen=none.seen, limit=none.limit, next_step=learn) from None


def add_to(app: typer.Typer) -> None:
    """Add the command; it runs the others."""

    def run(arguments: list[str]) -> int:
        status = app(args=arguments, standalone_mode=False)
        return status if isinstance(status, int) else 0

    @with_options(GuideOptions)
    def guide(asked: GuideOptions) -> None:
        """Do the whole job with an unknown sensor, one question at a time; each step shows its command."""
        from sweeprig.cli.session import settings
        from sweeprig.errors import NoAnswerError

        named = asked.port or settings()[0].port
        _look_for(named)
        sweeping.finished.clear()
        try:
            with unseen_keys(), around(asked), guiding.leading():
                lead(Job(run, named))
        except (KeyboardInterrupt, StoppedError):
            raise KeyboardInterrupt(kept_words(sweeping.finished)) from None
        except NoAnswerError:
            console.warn(f"stopped; {kept_words(sweeping.finished)}.")
            raise

    app.command()(guide)
