"""Hookups: what is refused before anything is fed, what is switched off again, what the load comes to."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from support.scripted_rig import PLAIN, Outputs, ScriptedRig, client_of, sensor, volts_of_rig
from sweepboard import wire
from sweeprig.bench.hookup.cautions import Confirmation, JobBook, Unattended, check_keys, confirm_all, keys_of
from sweeprig.bench.hookup.lead_book import LeadBook, LeadCheck
from sweeprig.bench.hookup.prepare import prepare_hookup
from sweeprig.bench.hookup.rules import (
    check_power,
    check_tap_load,
    feed_line,
    loading,
    setup_remarks,
    voltage_there,
)
from sweeprig.bench.readings.live import Levels
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import HookupError, InputError, InterlockError, SafetyError
from sweeprig.frontend import front_end
from sweeprig.judge.profile import load_profile
from sweeprig.link.messages import Records
from sweeprig.words import Hookup

PROFILE = load_profile("adjustable-potentiometer")
BENCH = SweepSetup()
TAPPED = SweepSetup(hookup=Hookup.TAPPED)
CAR = SweepSetup(setting="vehicle", vehicle_drive="combustion", job="J-7")
WHEN = datetime(2031, 3, 4, 10, 15, tzinfo=UTC)
PLUG, TAP = ("plug-off",), ("laptop-battery", "usb-first")


def prepare(rig: ScriptedRig, setup: SweepSetup, keys: tuple[str, ...] = PLUG, **more):
    client = client_of(rig)
    ask = Unattended(keys)
    made = prepare_hookup(volts_of_rig(client, setup, PROFILE), PROFILE, ask, now=lambda: WHEN, **more)
    return made, ask


def node_uv(quantity: int, lead_v: float) -> int:
    """What the precise converter reads [uV] for volts on a lead; resistors as in the full build's schematic.

    Battery: 950 kohm over 91 kohm. Ground: 330 kohm to the lead, 330 kohm up to 3.3 V.
    """
    node = lead_v * 91 / 1041 if quantity == wire.SLOW_BATTERY else (lead_v + 3.3) / 2
    return round(1e6 * node)


def all_off(rig: ScriptedRig) -> bool:
    return not rig.out.supply and not rig.out.burden and rig.out.bias == "off"


def test_powered_looks_before_it_feeds_and_leaves_the_sensor_fed() -> None:
    rig = ScriptedRig(sensor())
    made, ask = prepare(rig, BENCH)
    switched = [c["on"] for c in rig.did("supply")]
    assert switched[0] is False
    assert switched[-1] is True
    names = [c["cmd"] for c in rig.commands]
    on_at = next(i for i, c in enumerate(rig.commands) if c["cmd"] == "supply" and c["on"])
    assert names.index("start") < on_at, "the leads are measured before the supply is switched on"
    assert rig.out.burden
    assert any("Sensor supply still off: supply 0.0" in line for line in made.prepared)
    assert any("no overload" in line for line in made.prepared)
    assert keys_of(made.confirmed) == PLUG
    assert any(line.startswith("Confirmed:") for line in ask.said)


def test_nothing_is_fed_before_the_plug_is_confirmed_off() -> None:
    rig = ScriptedRig(sensor())
    with pytest.raises(SafetyError, match="plug is OFF the harness") as caught:
        prepare(rig, BENCH, ())
    assert "--confirm plug-off" in caught.value.next_step
    assert not any(c["on"] for c in rig.did("supply"))


@pytest.mark.parametrize("there", [(0.0, 0.0, 5.0), (0.8, 0.0, 0.0), (0.0, 1.2, 0.0)])
def test_voltage_already_there_is_refused(there: tuple[float, float, float]) -> None:
    rig = ScriptedRig(lambda _o: there)
    with pytest.raises(HookupError, match="leads carry voltage"):
        prepare(rig, BENCH)
    assert not any(c["on"] for c in rig.did("supply"))
    assert all_off(rig)


def test_a_reading_at_the_end_of_the_range_says_only_that_it_is_no_less() -> None:
    seen = Levels(1, 1.0, 0.0, 0.0, 0.0, supply_v=5.52, most_v=5.52)
    assert voltage_there(seen) == "supply above range, 5.5 V or more, signal 1.00 V"
    assert voltage_there(replace(seen, supply_v=5.1)) == "supply 5.10 V, signal 1.00 V"


def test_charge_that_only_runs_off_is_waited_for() -> None:
    """1 uF into 770 kohm: 0.77 s, from 5 V to 0.3 V in 2.2 s."""

    def falling(o: Outputs) -> tuple[float, float, float]:
        if o.supply:
            return (0.45, 0.0, 4.7)
        return (0.0, 0.0, 5.0 * 2.718281828 ** (-o.index * 1e-3 / 0.77))

    rig = ScriptedRig(falling)
    made, _ = prepare(rig, BENCH)
    assert any("no overload" in line for line in made.prepared)


@pytest.mark.parametrize(("supply", "word"), [(0.2, "short"), (2.6, "overload")])
def test_overload_is_cut_and_named(supply: float, word: str) -> None:
    rig = ScriptedRig(sensor(0.1, supply))
    rig.fault = lambda o: o.supply
    with pytest.raises(HookupError, match=f"supply is switched off: {word}") as caught:
        prepare(rig, BENCH)
    assert f"{supply:.1f}"[:3] in caught.value.seen
    assert all_off(rig)


def test_low_supply_is_said_and_becomes_a_remark() -> None:
    made, _ = prepare(ScriptedRig(sensor(0.4, 3.9)), BENCH)
    assert any("LOW" in r for r in setup_remarks(made))


def test_plain_build_cannot_tap() -> None:
    with pytest.raises(HookupError, match="plain build must not"):
        prepare(ScriptedRig(sensor(), build="plain"), TAPPED, TAP)


def test_hello_without_a_guaranteed_tap_is_refused() -> None:
    with pytest.raises(HookupError, match="does not offer"):
        prepare(ScriptedRig(sensor(), hookups=["powered"]), TAPPED, TAP)
    with pytest.raises(HookupError, match="cannot guarantee"):
        prepare(ScriptedRig(sensor(), capabilities=PLAIN), TAPPED, TAP)


def test_tap_feeds_nothing_in_and_says_what_it_does_not_see() -> None:
    rig = ScriptedRig(lambda _o: (0.8, 0.0, 0.0))
    made, ask = prepare(rig, TAPPED, TAP)
    assert all_off(rig)
    assert not any(c["on"] for c in rig.did("supply") + rig.did("burden"))
    text = "\n".join(made.prepared)
    assert "Supply not measured" in text
    assert "Ground not measured" in text
    assert any("neither supply nor ground" in line for line in ask.said)


def test_tap_with_sense_leads_observes_supply_and_ground() -> None:
    rig = ScriptedRig(lambda _o: (0.8, 0.0, 5.0))
    rig.slow = {q: node_uv(q, v) for q, v in ((wire.SLOW_GROUND, 0.042), (wire.SLOW_BATTERY, 12.5))}
    made, _ = prepare(rig, TAPPED, TAP)
    text = "\n".join(made.prepared)
    assert "Supply observed: 5.0" in text
    assert "+42 mV" in text
    assert not setup_remarks(made)


def test_ground_lead_that_hangs_free_is_not_observed() -> None:
    rig = ScriptedRig(lambda _o: (0.8, 0.0, 5.0))
    rig.slow = {wire.SLOW_GROUND: 3_300_000}
    made, _ = prepare(rig, TAPPED, TAP)
    text = "\n".join(made.prepared)
    assert "Ground not measured" in text
    assert "Ground offset" not in text


def test_battery_lead_that_hangs_free_is_no_engine_at_rest() -> None:
    rig = ScriptedRig(sensor())
    rig.slow = {wire.SLOW_BATTERY: node_uv(wire.SLOW_BATTERY, 0.03)}
    made, _ = prepare(rig, CAR, (*PLUG, "cautions"))
    text = "\n".join(made.prepared)
    assert "Engine state NOT measured: the battery lead shows 0.03 V" in text
    assert "rests" not in text
    assert any("NOT measured" in line for line in setup_remarks(made))


def test_supply_that_moves_by_itself_is_warned_of() -> None:
    rig = ScriptedRig(lambda o: (0.8, 0.0, 5.0 + 0.1 * ((o.index // 50) % 2)))
    made, _ = prepare(rig, TAPPED, TAP)
    assert any("WARNING" in r for r in setup_remarks(made))


def test_rig_that_does_not_let_go_of_a_tap_is_refused() -> None:
    rig = ScriptedRig(lambda _o: (0.8, 0.0, 5.0))
    rig.stuck_on = True
    with pytest.raises(HookupError, match="does not release"):
        prepare(rig, TAPPED, TAP)


def test_tap_needs_its_two_confirmations() -> None:
    for given in (("laptop-battery",), ("usb-first",)):
        with pytest.raises(SafetyError, match="Not confirmed"):
            prepare(ScriptedRig(lambda _o: (0.8, 0.0, 5.0)), TAPPED, given)


def test_load_by_the_loaded_divider() -> None:
    """1.44933 % at R_load = 10 R_track: computed with an independent library (references, potentiometers)."""
    end = replace(front_end("full"), input_ohm=50_000.0, burden_ohm=None, burden_at_sensor_ohm=50_000.0)
    load = loading(end, hookup="powered", profile=PROFILE, track_ohm=5000.0)
    assert load.percent == pytest.approx(1.44933, abs=1e-4)
    assert not load.fits
    with pytest.raises(HookupError, match="exceeds the profile's limit"):
        check_tap_load(load)


def test_buffered_build_keeps_the_limit_at_the_largest_track() -> None:
    load = loading(front_end("full"), hookup="tapped", profile=PROFILE, track_ohm=None)
    assert load.fits
    assert not load.measured
    assert load.percent == pytest.approx(
        100 * 4 / 27 * 10_000 / 770_000, rel=0.02
    )  # small-error maximum 4/(27k)


def test_a_job_confirms_once(tmp_path: Path) -> None:
    book = JobBook(tmp_path)
    car, keys = replace(CAR, job="J-9"), (*PLUG, "cautions")
    _, first = prepare(ScriptedRig(sensor()), car, keys, book=book)
    _, again = prepare(ScriptedRig(sensor()), car, PLUG, book=book)
    assert any("Confirmed for this job on 2031-03-04" in line for line in again.said)
    assert any(line.startswith("CAUTION") for line in first.said)
    assert not any(line.startswith("CAUTION") for line in again.said), "shown once per job"
    with pytest.raises(SafetyError):
        prepare(ScriptedRig(sensor()), replace(car, job="J-8"), PLUG, book=book)
    with pytest.raises(SafetyError):
        prepare(ScriptedRig(sensor()), replace(car, job=""), PLUG, book=book)


def test_plug_off_is_confirmed_with_each_plugging(tmp_path: Path) -> None:
    book, setup = JobBook(tmp_path), replace(BENCH, job="J-7")
    prepare(ScriptedRig(sensor()), setup, PLUG, book=book)
    rig = ScriptedRig(sensor())
    with pytest.raises(SafetyError) as caught:
        prepare(rig, setup, (), book=book)
    assert caught.value.limit == "a confirmation after each move of the plug"
    assert not rig.out.supply


@pytest.mark.parametrize(
    ("age", "asked"),
    [
        (timedelta(0), False),
        (timedelta(hours=12), False),
        (timedelta(hours=12, seconds=1), True),
        (timedelta(days=365), True),
        (timedelta(seconds=-1), True),  # from tomorrow: one of the clocks was wrong
    ],
)
def test_a_confirmation_holds_for_twelve_hours(tmp_path: Path, age: timedelta, asked: bool) -> None:
    book = JobBook(tmp_path)
    item = Confirmation("laptop-battery", "The laptop runs on its battery.")
    book.note("J-7", [item.key], when=WHEN - age)
    ask = Unattended((item.line,))
    confirm_all([item], job="J-7", book=book, ask=ask, when=WHEN)
    assert any(line.startswith("Confirmed: ") for line in ask.said) is asked
    confirm_all(
        [item], job="J-7", book=book, ask=Unattended(), when=WHEN
    )  # the new one is kept in place of the old


@pytest.mark.parametrize("text", ["", "yesterday", "2031-03-04T10:00:00", "9999-99-99"])
def test_a_confirmation_without_a_time_does_not_hold(tmp_path: Path, text: str) -> None:
    book = JobBook(tmp_path)
    book.note("J-7", ["laptop-battery"], when=WHEN)
    for path in tmp_path.iterdir():
        path.write_text(json.dumps({"job": "J-7", "confirmed": {"laptop-battery": text}}))
    assert book.in_force("J-7", WHEN) == {}


def test_two_supplies_are_one_track_at_a_time() -> None:
    client = client_of(rig := ScriptedRig(sensor()))
    two = replace(PROFILE, sensor=replace(PROFILE.sensor, supplies=2))
    made = prepare_hookup(volts_of_rig(client, BENCH, two), two, Unattended(PLUG), now=lambda: WHEN)
    assert rig.out.supply
    assert any("ONE track" in r for r in setup_remarks(made))


def test_damaged_job_file_has_confirmed_nothing(tmp_path: Path) -> None:
    book = JobBook(tmp_path)
    book.note("J-7", PLUG, when=WHEN)
    for path in tmp_path.iterdir():
        path.write_text("{", encoding="utf-8")
    assert book.confirmed("J-7") == {}


def test_jobs_of_like_names_do_not_share_a_file(tmp_path: Path) -> None:
    book = JobBook(tmp_path)
    book.note("J/7", PLUG, when=WHEN)
    assert book.confirmed("J 7") == {}


def test_vehicle_shows_every_caution_and_needs_them_confirmed() -> None:
    with pytest.raises(SafetyError, match="cautions above"):
        prepare(ScriptedRig(sensor()), CAR, PLUG)
    rig = ScriptedRig(sensor())
    rig.slow = {wire.SLOW_BATTERY: node_uv(wire.SLOW_BATTERY, 12.6)}
    made, ask = prepare(rig, CAR, (*PLUG, "cautions"))
    said = "\n".join(ask.said)
    for words in ("wheels chocked", "never push it by hand", "stored fault codes", "relearn", "airbag"):
        assert words in said
    assert "Battery 12.60 V" in "\n".join(made.prepared)


def test_running_engine_is_refused_and_overridden_once() -> None:
    def rig() -> ScriptedRig:
        made = ScriptedRig(sensor())
        made.slow = {wire.SLOW_BATTERY: node_uv(wire.SLOW_BATTERY, 14.1)}
        return made

    keys = (*PLUG, "cautions")
    first = rig()
    with pytest.raises(InterlockError, match="engine appears to run") as caught:
        prepare(first, CAR, keys)
    assert "14.10 V" in caught.value.seen
    assert not any(c["on"] for c in first.did("supply"))
    made, _ = prepare(rig(), replace(CAR, override="cranking test, wheels off the ground"), keys)
    assert any("OVERRIDDEN" in line and "wheels off" in line for line in made.prepared)
    with pytest.raises(InterlockError):
        prepare(rig(), CAR, keys)


def test_without_a_battery_reading_the_engine_is_not_measured() -> None:
    made, _ = prepare(ScriptedRig(sensor(), build="plain"), CAR, (*PLUG, "cautions"))
    assert any("Engine state NOT measured" in r for r in setup_remarks(made))


def test_last_check_of_the_lead_goes_with_the_capture(tmp_path: Path) -> None:
    leads = LeadBook(tmp_path)
    made, _ = prepare(ScriptedRig(sensor()), BENCH, leads=leads)
    assert made.lead_checked == ""
    leads.note(
        "00ff", LeadCheck("2031-03-04T08:00:00+00:00", False, 0.41, 0.5, 0.001, 0, 20.0, reason="ratio")
    )
    made, _ = prepare(ScriptedRig(sensor()), BENCH, leads=leads)
    assert made.lead_checked.startswith("2031-03-04 FAILED (ratio)")
    assert any("failed its last test" in r for r in setup_remarks(made))


def test_keys_that_do_not_exist_are_named() -> None:
    assert check_keys(["plug-off, cautions"]) == ("plug-off", "cautions")
    with pytest.raises(InputError, match="confirmation is not known"):
        check_keys(["plugoff"])


def test_records_behind_a_reply_are_not_lost() -> None:
    rig = ScriptedRig(sensor())
    client = client_of(rig)
    client.start("powered")
    client.poll(0.1)
    rig._next_packet()
    first = rig._index - wire.RECORDS_PER_PACKET
    reply, rig._out = bytes(rig._out), bytearray()
    original = rig._obey

    def obey(name: str, command: dict) -> None:
        original(name, command)
        rig._out += reply

    rig._obey = obey  # type: ignore[method-assign]
    client.command("burden", on=True)
    seen = [e for e in client.poll(0.0) if isinstance(e, Records)]
    assert any(first in e.index for e in seen)


@pytest.mark.parametrize("drive", ["", "steam"])
def test_unknown_drive_is_refused_before_anything(drive: str) -> None:
    rig, ask = ScriptedRig(sensor()), Unattended()
    volts = volts_of_rig(client_of(rig), replace(CAR, vehicle_drive=drive), PROFILE)
    with pytest.raises(InputError, match="What drives the vehicle is not known"):
        prepare_hookup(volts, PROFILE, ask, now=lambda: WHEN)
    assert ask.said == []
    assert rig.did("supply") == []


@pytest.mark.parametrize(
    ("build", "profile", "word"),
    [
        ("plain", "hall", "WARNING: The plain build gives the sensor the USB voltage"),
        ("plain", "adjustable-potentiometer", "The plain build gives the sensor the USB voltage"),
        ("full", "hall", ""),
    ],
)
def test_what_a_build_can_feed_is_said_before_judging(build: str, profile: str, word: str) -> None:
    """4.5 V is what common Hall parts ask for: common practice, no source."""
    line = feed_line(front_end(build), load_profile(profile))
    assert line.startswith(word)
    assert bool(line) == bool(word)
    assert ("4.5 V or more" in line) == (word.startswith("WARNING"))


def test_a_regulated_supply_below_its_width_is_remarked() -> None:
    """4.7 V is right for a plain build, and a fault of a full one, which holds 5.00 V."""
    seen = Levels(1, 1.0, 0.0, 0.0, 0.0, supply_v=4.7)
    assert " LOW: below 4.85 V" in check_power(seen, end=front_end("full"))
    assert " LOW: " not in check_power(seen, end=front_end("plain"))
