"""A session with a rig and one sensor: ready before it begins, watched while it runs, off whatever way it ends.

Everything that looks at a sensor goes through it: a capture of a fixed length, or one that a callback ends after one
of its looks (a poll of the stream), a live view, the tests of connection and lead. It knows no screen: who confirms
is an `Ask`, who watches is called back.
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
    """What is remembered between sessions: confirmations of a job, checks of a lead. None keeps none."""

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
    _lost: CaptureNotKeptError | None = None  # of the capture that was made: it is in memory alone
    _blind_s: float = 0.0  # [s] without a record that can be used

    @property
    def client(self) -> RigClient:
        """The rig."""
        return self.volts.client

    @property
    def setup(self) -> SweepSetup:
        """What the operator said, with what was confirmed and found."""
        return self.volts.setup

    def prepare(self, *, fed: bool) -> None:
        """Confirm, look, and with `fed` switch on or tap. Raises SafetyError, InputError, LinkError."""
        if fed:
            made = prepare_hookup(
                self.volts, self.profile, self.ask, book=self.books.jobs, leads=self.books.leads, now=self.now
            )
        else:
            made = make_ready(self.volts, self.profile, self.ask, book=self.books.jobs, now=self.now)
        self.volts = replace(self.volts, setup=made)
        self.power, self.engine = (
            PowerWatch(self.volts, fed=fed and self._can_switch),
            EngineWatch.of(self.volts.front_end, made),
        )

    def look(self, timeout_s: float = live.POLL_S) -> Chunk:
        """Return what a running stream brings.

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
        """Return the volts in what came, supply and engine watched; `waited_s` [s] went by where nothing came."""
        self._watch(messages)
        chunk = self.volts.chunk(messages)
        went_by = len(chunk.records) * self.client.window_s or waited_s
        self._blind_s = 0.0 if chunk.trace is not None else self._blind_s + went_by
        return chunk

    @property
    def blind(self) -> bool:
        """Whether nothing that can be used has come for too long."""
        return self._blind_s >= limit("blind.after_s")

    def _watch(self, messages: list[Message]) -> None:
        self.power.feed(messages)
        self.engine.feed(messages)

    def collect(self, *, seconds: float, settle_s: float = live.SETTLE_S) -> list[Message]:
        """Return `seconds` of a running stream from now on, the first `settle_s` left out, supply and engine watched.

        Raises InterlockError once the engine runs, LinkError.
        """
        messages = live.collect(self.client, seconds=seconds, settle_s=settle_s, seen=self._watch)
        self.engine.check()
        return messages

    def power_on(self) -> None:
        """Switch on supply and burden in a session that began without."""
        self._is_off = False
        power_sensor(self.client)

    def look_closely(self) -> None:
        """Ask for conversions around sudden changes, where the rig has them."""
        if live.has(self.client, "snapshots"):
            live.switch(self.client, "snapshots", spread=SNAPSHOT_SPREAD, jump=SNAPSHOT_SPREAD)

    def record(
        self,
        folder: Path,
        *,
        on_look: Callable[[Chunk], None],
        stop: Callable[[], bool],
        progress: Callable[[Progress], None] | None = None,
        coaching: Callable[[], tuple[str, ...]] = tuple,
        endless: bool = False,
    ) -> Capture:
        """Capture for the setup's seconds, or `endless` until `stop`, and switch off.

        `on_look` gets what each look brings. Ctrl-C, an overloaded supply, an engine that starts and a lost board end
        it; what came is kept.
        Raises LinkError where nothing came, HookupError where the rig had let go of the sensor before it began,
        KeyboardInterrupt where `stop` says so before.
        """
        if stop():
            raise KeyboardInterrupt
        self.look_closely()
        try:
            capture = run_sweep(
                self.client,
                self.setup,
                folder=folder,
                progress=progress,
                stop=lambda: self._must_stop() or stop(),
                on_messages=self._following(on_look),
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
            capture = self._while_fed(capture)
        if self.engine.stops:
            self.ask.say("The engine appears to run: the capture ends here and its data is kept.")
        return replace(capture, setup=self.power.noted(capture.setup))

    def _must_stop(self) -> bool:
        return self.power.stops or self.engine.stops or self.blind

    def _while_fed(self, capture: Capture) -> Capture:
        """Return what came before the board let go of the sensor. Raises HookupError where that is nothing."""
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

    def _following(self, on_look: Callable[[Chunk], None]) -> Callable[[list[Message]], None]:
        """Return what takes the messages of a capture; the first asks for the slow readings, in a stream that runs."""
        looks = count()

        def follow(messages: list[Message]) -> None:
            if next(looks) == 0:
                with suppress(LinkError):  # a board that is gone ends the capture by itself
                    ask_slow(self.client)
            on_look(self.follow(messages))

        return follow

    def keep(self, capture: Capture, folder: Path, label: str = "") -> tuple[Capture, Path]:
        """Write a capture under `label`, else the sensor's. Raises HookupError where an overload has ended it.

        Raises CaptureNotKeptError, with the capture, where no file could be written: the disk is full.
        """
        name = label or self.setup.sensor_label or self.setup.serial or "sweep"
        try:  # with a full disk behind it too: there may be room again
            capture = write_capture(folder / f"{file_stem(name, self.now())}.sweep", capture)
        except CaptureFileError as exc:
            raise not_kept(self._lost or exc, capture) from exc
        path = Path(capture.path)
        self.power.check(path)
        return capture, path

    def keep_lead_check(self, check: LeadCheck) -> Path | None:
        """Note a check of this rig's lead; None where no book is kept."""
        leads = self.books.leads
        return None if leads is None else leads.note(str(self.client.hello().get("uid", "")), check)

    def off(self) -> None:
        """Let go of the sensor; signals wait until it is done."""
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
    fed: bool = True,
) -> Iterator[Session]:
    """Make a rig ready for one sensor, and let go of the sensor on every way out, signals included.

    `ask` confirms what a job has not confirmed yet; None: only what `setup.confirmed` says counts. Without `fed`
    the sensor stays off: the caller makes its own checks in the `with` block and then switches it on. What was
    confirmed earlier is read before anything is switched on.
    Raises SafetyError, InputError, ProfileError, CalibrationFileError, LinkError.
    """
    profile = load_profile(setup.profile)
    volts = volts_of(client, setup, calibration_for(client, calibrations), profile.supply.nominal_v)
    made = Session(volts, profile, ask or Unattended(setup.confirmed), books or Books(), now)
    with unwinding():
        try:
            try:
                made.prepare(fed=fed)
                yield made
            finally:
                made.off()
        finally:
            made.off()  # a signal may have come just before the first


def calibration_for(client: RigClient, calibrations: Path) -> Calibration:
    """Return the stored calibration of this rig, or the nominal one of its build. Raises CalibrationFileError."""
    rig = client.hello()
    return check_fits(load_calibration(str(rig["uid"]), folder=calibrations) or nominal_calibration(rig), rig)
