"""Makes the rig ready for a capture: confirmations, interlock, first power or tap. The rules are in rules.py."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from datetime import datetime

from sweeprig.bench.hookup.cautions import (
    Ask,
    Confirmation,
    JobBook,
    cautions_for,
    confirm_all,
    confirmations_for,
    keys_of,
)
from sweeprig.bench.hookup.interlock import Evidence, check_drive_known, pass_interlock, settled_system
from sweeprig.bench.hookup.lead_book import LeadBook
from sweeprig.bench.hookup.rules import (
    check_dead,
    check_hello,
    check_power,
    check_released,
    check_tap_load,
    feed_line,
    loading,
    tapped_lines,
    voltage_there,
)
from sweeprig.bench.readings import live
from sweeprig.bench.readings.engine import looks_at_a_vehicle
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.live import Levels, RigVolts
from sweeprig.capture.folder import local_now
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import BoardRefusedError, LinkError
from sweeprig.frontend import FrontEnd
from sweeprig.judge.profile import Profile
from sweeprig.link.client import RigClient
from sweeprig.words import Hookup, Setting

SLOW_EVERY_MS = 100
FEED_TRIES = 20  # of 50 ms each, in which a conversion must come; own choice
NOT_NOW = "not-now"  # what the board says where it may be asked again


REAL_ONLY = ("plug-off", "laptop-battery", "usb-first")  # what only a real rig can get wrong


def is_simulated(client: RigClient) -> bool:
    """Return whether the rig is a simulated one that needs no confirmation; a rehearsal asks as a real one does."""
    return client.name.startswith("sim:") and not client.hello().get("rehearsal")


def prepare_hookup(
    volts: RigVolts,
    profile: Profile,
    ask: Ask,
    *,
    book: JobBook | None = None,
    leads: LeadBook | None = None,
    now: Callable[[], datetime] = local_now,
) -> SweepSetup:
    """Make everything ready for one capture; return the setup with what was confirmed, found and the profile.

    Leaves the supply on where the rig powers the sensor, and everything off where it taps. Raises HookupError,
    InterlockError, SafetyError, InputError, LinkError; then the caller has to switch off what is on.
    """
    date = "" if leads is None else leads.line(str(volts.client.hello().get("uid", "")))
    ready = make_ready(volts, profile, ask, book=book, now=now)
    more = _tap(volts) if ready.hookup == Hookup.TAPPED else _power(volts)
    for line in more:
        ask.say(line)
    return replace(ready, prepared=(*ready.prepared, *more), lead_checked=date or ready.lead_checked)


def make_ready(
    volts: RigVolts,
    profile: Profile,
    ask: Ask,
    *,
    book: JobBook | None = None,
    now: Callable[[], datetime] = local_now,
) -> SweepSetup:
    """Check what the rig may do, ask for confirmations, switch all off, check load and engine; power nothing."""
    setup, client = volts.setup, volts.client
    if setup.setting == Setting.VEHICLE:
        check_drive_known(setup.vehicle_drive)
    check_hello(client.hello(), volts.front_end, setup.hookup)
    confirmed = _confirm(setup, ask, book, now(), simulated=is_simulated(client))
    client.quiet()
    live.release(client)
    end = volts.front_end
    lines = _feed_lines(end, setup, profile) + _load_lines(end, setup, profile) + _two_supplies(profile)
    system = setup.vehicle_system
    if looks_at_a_vehicle(setup):
        more, system = _interlock(volts, ask, book, now())
        lines += more
    for line in lines:
        ask.say(line)
    return replace(
        setup,
        confirmed=tuple(dict.fromkeys((*setup.confirmed, *confirmed))),
        prepared=lines,
        vehicle_system=system,
        profile_text=profile.text,
        profile_sha256=profile.sha256,
    )


def _confirm(
    setup: SweepSetup, ask: Ask, book: JobBook | None, when: datetime, *, simulated: bool
) -> tuple[str, ...]:
    wanted = _not_confirmed(setup)
    taken = [i for i in wanted if simulated and i.key in REAL_ONLY]
    asked = [i for i in wanted if i not in taken]
    if not wanted or _is_new(asked or wanted, setup.job, book, when):
        for text in cautions_for(setup.setting, setup.hookup):
            ask.say(f"CAUTION: {text}")
    _say_taken(taken, ask)
    return confirm_all(asked, job=setup.job, book=book, ask=ask, when=when)


def _say_taken(taken: Iterable[Confirmation], ask: Ask) -> None:
    for item in taken:
        ask.say(f"Simulated rig, confirmed automatically: {item.text}")


def _not_confirmed(setup: SweepSetup) -> list[Confirmation]:
    given = keys_of(setup.confirmed)
    return [i for i in confirmations_for(setup.setting, setup.hookup) if i.key not in given]


def _is_new(items: Iterable[Confirmation], job: str, book: JobBook | None, when: datetime) -> bool:
    """Return whether the job has yet to confirm any of these; those that are asked every time do not count."""
    known = {} if book is None else book.in_force(job, when)
    return any(i.key not in known for i in items if not i.each_time)


def _feed_lines(end: FrontEnd, setup: SweepSetup, profile: Profile) -> tuple[str, ...]:
    line = feed_line(end, profile) if setup.hookup == Hookup.POWERED else ""
    return (line,) if line else ()


def _load_lines(end: FrontEnd, setup: SweepSetup, profile: Profile) -> tuple[str, ...]:
    load = loading(end, hookup=setup.hookup, profile=profile, track_ohm=setup.track_ohm)
    if not load.track_ohm:
        return ()
    return (check_tap_load(load) if setup.hookup == Hookup.TAPPED else load.powered_line,)


def _two_supplies(profile: Profile) -> tuple[str, ...]:
    if profile.sensor.supplies < 2:
        return ()
    return (
        "WARNING: this sensor has two supplies: connect ONE track in this capture, never join supplies or"
        " grounds; the tracks are not compared unless both supplies are measured.",
    )


def ask_slow(client: RigClient) -> None:
    """Ask for the slow readings, where the rig has them."""
    if live.has(client, "monitor"):
        live.switch(client, "slow", every_ms=SLOW_EVERY_MS)


def _tap(volts: RigVolts) -> tuple[str, ...]:
    client = volts.client
    ask_slow(client)
    with live.streaming(client, Hookup.TAPPED):
        seen = live.levels_now(volts, seconds=0.5)
    return (check_released(seen), *tapped_lines(seen))


def _power(volts: RigVolts) -> tuple[str, ...]:
    client = volts.client
    with live.streaming(client, Hookup.POWERED):
        dead = check_dead(wait_until_dead(volts))
        power_sensor(client)
        seen = live.levels_now(volts, settle_s=limit("first_power.settle_s"))
        if seen.overloaded:
            switch_off(client)
    power = check_power(seen, end=volts.front_end)
    ask_slow(client)
    return (dead, power)


def wait_until_dead(volts: RigVolts) -> Levels:
    """Return the levels with the rig's supply off, once any charge left on the leads has run off."""
    seen = live.levels_now(volts)
    for _ in range(round(limit("before_power.fall_s") / 0.3)):
        if not voltage_there(seen):
            break
        seen = live.levels_now(volts)
    return seen


def power_sensor(client: RigClient) -> None:
    """Switch on supply and burden, whichever are fitted."""
    if live.has(client, "supply-switch"):
        _feed(client)
    if live.has(client, "burden"):
        live.switch(client, "burden", on=True)


def _feed(client: RigClient) -> None:
    """Switch on the supply; try again where the board had no conversion to check yet.

    The board measures anew at each try. On a busy machine a simulated rig gets its conversions late.
    """
    for left in reversed(range(FEED_TRIES)):
        try:
            live.switch(client, "supply", on=True)
            return
        except BoardRefusedError as exc:
            if exc.seen != NOT_NOW or not left:
                raise


def _interlock(
    volts: RigVolts, ask: Ask, book: JobBook | None, when: datetime
) -> tuple[tuple[str, ...], str]:
    """Run the interlock; return its lines and the system voltage, "" where it was not given and does not matter."""
    setup = volts.setup
    evidence = Evidence()
    if live.has(volts.client, "battery"):
        ask_slow(volts.client)
        with live.streaming(volts.client, setup.hookup):
            seen = live.levels_now(volts, seconds=1.0)
        evidence = _evidence(seen, volts.front_end)
    system = settled_system(evidence, setup.vehicle_system, ask)
    lines = pass_interlock(
        drive=setup.vehicle_drive,
        evidence=evidence,
        override=setup.override,
        job=setup.job,
        book=book,
        ask=ask,
        when=when,
        vehicle=setup.setting == Setting.VEHICLE,
        system=system,
    )
    return lines, system


def _evidence(seen: Levels, end: FrontEnd) -> Evidence:
    from sweeprig.calibration.slow import most_battery_v

    if seen.battery_v is None:
        return Evidence()
    return Evidence(seen.battery_v, seen.n_battery, most_v=most_battery_v(end))


def switch_off(client: RigClient) -> None:
    """Switch everything off; a board that is gone does so by itself."""
    with suppress(LinkError):
        live.release(client)
