"""A session with a rig and one sensor: ready before it begins, watched while it runs, off whatever way it ends.

Everything that measures a sensor goes through it: a capture of fixed length, or one that the caller's callback ends, a
live view, the tests of connection and lead. It knows no screen: an `Ask` answers what must be confirmed, and callbacks
get what is measured.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import cast

import numpy as np

from sweepboard import wire
from sweeprig.bench.hookup.cautions import Ask, JobBook, Unattended
from sweeprig.bench.hookup.engine_watch import EngineWatch
from sweeprig.bench.hookup.lead_book import LeadBook, LeadCheck
from sweeprig.bench.hookup.power_watch import PowerWatch
from sweeprig.bench.hookup.prepare import ask_slow, make_ready, power_sensor, prepare_hookup, switch_off
from sweeprig.bench.hookup.way_out import held_back, unwinding
from sweeprig.bench.readings import live
from sweeprig.bench.readings.limits import SNAPSHOT_SPREAD, limit
from sweeprig.bench.readings.live import Chunk, RigVolts, volts_of
from sweeprig.bench.review.choices import versions
from sweeprig.calibration.model import Calibration
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.store import calibration_to_dict, check_fits, load_calibration
from sweeprig.capture.file import write_capture
from sweeprig.capture.folder import file_stem, local_now
from sweeprig.capture.held import not_kept
from sweeprig.capture.locks import remove
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import Progress, run_sweep
from sweeprig.errors import CaptureFileError, CaptureNotKeptError, LinkError
from sweeprig.judge.profile import Profile, load_profile
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Message


@dataclass(frozen=True)
class Books:
    """What is remembered between sessions: confirmations of a job, checks of a lead. None: nothing is remembered."""

    jobs: JobBook | None = None
    leads: LeadBook | None = None


@dataclass
class Session:
    """A rig that is ready for one sensor."""

    volts: RigVolts
    profile: Profile
    ask: Ask
    books: Books
    now: Callable[[], datetime]
    power: PowerWatch = field(init=False)
    engine: EngineWatch = field(init=False)
    _is_off: bool = False
    _lost: CaptureNotKeptError | None = (
        None  # why the capture is in memory alone, where no journal could be written
    )
    _blind_s: float = 0.0  # [s] since the last usable record

    @property
    def client(self) -> RigClient:
        """The rig."""
        return self.volts.client

    @property
    def setup(self) -> SweepSetup:
        """What the operator gave as options, with what was confirmed and found since."""
        return self.volts.setup

    def prepare(self, *, switch_on: bool) -> None:
        """Ask for confirmations and check the hookup; with `switch_on` switch the supply on, or connect the tap.

        Raises SafetyError, InputError, LinkError.
        """
        if switch_on:
            made = prepare_hookup(
                self.volts, self.profile, self.ask, book=self.books.jobs, leads=self.books.leads, now=self.now
            )
        else:
            made = make_ready(self.volts, self.profile, self.ask, book=self.books.jobs, now=self.now)
        self.volts = replace(self.volts, setup=made)
        self.power, self.engine = (
            PowerWatch(self.volts, switched_on=switch_on and self._can_switch),
            EngineWatch.of(self.volts.front_end, made),
        )

    def poll(self, timeout_s: float = live.POLL_S) -> Chunk:
        """Return what a running stream has brought since the last call.

        Raises HookupError once the supply was overloaded and is off, InterlockError once the engine runs,
        BoardSilentError where nothing usable has come for too long.
        """
        chunk = self.follow(self.client.poll(timeout_s), waited_s=timeout_s)
        self.power.check()
        self.engine.check()
        if self.blind:
            raise live.no_data(n_came=len(chunk.records))
        return chunk

    def follow(self, messages: list[Message], *, waited_s: float = 0.0) -> Chunk:
        """Check supply and engine in these messages and return their volts; without records `waited_s` [s] went by."""
        self._watch(messages)
        chunk = self.volts.chunk(messages)
        went_by = len(chunk.records) * self.client.window_s or waited_s
        self._blind_s = 0.0 if chunk.trace is not None else self._blind_s + went_by
        return chunk

    @property
    def blind(self) -> bool:
        """Whether no usable record has come for too long."""
        return self._blind_s >= limit("blind.after_s")

    def _watch(self, messages: list[Message]) -> None:
        self.power.feed(messages)
        self.engine.feed(messages)

    def collect(self, *, seconds: float, settle_s: float = live.SETTLE_S) -> list[Message]:
        """Return the messages of `seconds` from now on, without the first `settle_s`, supply and engine watched.

        Raises InterlockError once the engine runs, LinkError.
        """
        messages = live.collect(self.client, seconds=seconds, settle_s=settle_s, seen=self._watch)
        self.engine.check()
        return messages

    def power_on(self) -> None:
        """Switch on supply and burden in a session that was begun with `switch_on=False`."""
        self._is_off = False
        power_sensor(self.client)

    def ask_for_snapshots(self) -> None:
        """Ask the board for the single conversions around sudden changes, where it can send them."""
        if live.has(self.client, "snapshots"):
            live.switch(self.client, "snapshots", spread=SNAPSHOT_SPREAD, jump=SNAPSHOT_SPREAD)

    def capture(
        self,
        folder: Path,
        *,
        on_chunk: Callable[[Chunk], None],
        stop: Callable[[], bool],
        progress: Callable[[Progress], None] | None = None,
        coaching: Callable[[], tuple[str, ...]] = tuple,
        endless: bool = False,
    ) -> Capture:
        """Capture for the setup's seconds, or with `endless` until `stop` returns True, and switch off.

        `on_chunk` gets what each poll of the stream brought. Ctrl-C, an overloaded supply, an engine that starts and a
        lost board end the capture too, and what was received is kept.
        Raises LinkError where no record came, HookupError where the board had switched the supply off before the first
        one, KeyboardInterrupt where `stop` returns True before the start.
        """
        if stop():
            raise KeyboardInterrupt
        self.ask_for_snapshots()
        try:
            capture = run_sweep(
                self.client,
                self.setup,
                folder=folder,
                progress=progress,
                stop=lambda: self._must_stop() or stop(),
                on_messages=self._following(on_chunk),
                coaching=coaching,
                endless=endless,
                calibration=calibration_to_dict(self.volts.calibration),
                versions=versions(),
            )
        except CaptureNotKeptError as lost:
            self._lost = lost
            capture = cast(Capture, lost.capture)
        finally:
            self.off()
        if self.power.let_go:
            capture = self._until_let_go(capture)
        if self.engine.stops:
            self.ask.say("The engine appears to run: the capture ends here and its data is kept.")
        return replace(capture, setup=self.power.noted(capture.setup))

    def _must_stop(self) -> bool:
        return self.power.stops or self.engine.stops or self.blind

    def _until_let_go(self, capture: Capture) -> Capture:
        """Return the part before the board switched the supply off. Raises HookupError where that is empty."""
        on = np.flatnonzero(capture.records.flags & wire.FLAG_SUPPLY_ON)
        if on.size:
            return replace(capture, records=capture.records[: int(on[-1]) + 1])
        if capture.journal:
            remove(Path(capture.journal))
        self.power.check()
        return capture

    @property
    def _can_switch(self) -> bool:
        return live.has(self.client, "supply-switch")

    def _following(self, on_chunk: Callable[[Chunk], None]) -> Callable[[list[Message]], None]:
        """Return the callback for the messages of a capture; its first call, in a stream, asks for slow readings."""
        polls = count()

        def follow(messages: list[Message]) -> None:
            if next(polls) == 0:
                with suppress(LinkError):  # a board that is gone ends the capture by itself
                    ask_slow(self.client)
            on_chunk(self.follow(messages))

        return follow

    def keep(self, capture: Capture, folder: Path, label: str = "") -> tuple[Capture, Path]:
        """Write a capture to a file named by `label`, else the sensor. Raises HookupError where an overload ended it.

        Raises CaptureNotKeptError, with the capture, where no file could be written: the disk is full.
        """
        name = label or self.setup.sensor_label or self.setup.serial or "sweep"
        try:  # also where the disk was full before: there may be room again
            capture = write_capture(
                folder / f"{file_stem(name, _taken_at(capture, self.now))}.sweep", capture
            )
        except CaptureFileError as exc:
            raise not_kept(self._lost or exc, capture) from exc
        path = Path(capture.path)
        self.power.check(path)
        return capture, path

    def keep_lead_check(self, check: LeadCheck) -> Path | None:
        """Store a check of this rig's lead and return its file; None where none is kept."""
        leads = self.books.leads
        return None if leads is None else leads.note(str(self.client.hello().get("uid", "")), check)

    def off(self) -> None:
        """Switch everything off; a signal such as SIGTERM is held back until it is done."""
        if not self._is_off:
            with held_back():
                switch_off(self.client)
                self._is_off = True


@contextmanager
def session(
    client: RigClient,
    setup: SweepSetup,
    *,
    calibrations: Path,
    ask: Ask | None = None,
    books: Books | None = None,
    now: Callable[[], datetime] = local_now,
    switch_on: bool = True,
) -> Iterator[Session]:
    """Make a rig ready for one sensor, and switch everything off on every way out, signals included.

    `ask` confirms what a job has not confirmed yet; None: only what `setup.confirmed` says counts. With
    `switch_on=False` the sensor stays without power: the body of the `with` makes its own checks first and then calls
    `power_on`. The stored confirmations are read before anything is switched on.
    Raises SafetyError, InputError, ProfileError, CalibrationFileError, LinkError.
    """
    profile = load_profile(setup.profile)
    volts = volts_of(client, setup, calibration_for(client, calibrations), profile.supply.nominal_v)
    made = Session(volts, profile, ask or Unattended(setup.confirmed), books or Books(), now)
    with unwinding():
        try:
            try:
                made.prepare(switch_on=switch_on)
                yield made
            finally:
                made.off()
        finally:
            made.off()  # a signal may have come just before the first


def _taken_at(capture: Capture, now: Callable[[], datetime]) -> datetime:
    """Return when a capture began, as it says itself; the time of now where that is no date."""
    try:
        return datetime.fromisoformat(capture.created)
    except ValueError:
        return now()


def calibration_for(client: RigClient, calibrations: Path) -> Calibration:
    """Return the stored calibration of this rig, or the nominal one of its build. Raises CalibrationFileError."""
    rig = client.hello()
    return check_fits(load_calibration(str(rig["uid"]), folder=calibrations) or nominal_calibration(rig), rig)
