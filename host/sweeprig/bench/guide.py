"""The job that the command `guide` leads through: the profile that the answers give, the step after a result. Pure."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from sweeprig.analysis.model import Cause, Code
from sweeprig.bench.aim import aim
from sweeprig.bench.hookup.cautions import (
    CAUTIONS,
    POWERED_CAUTIONS,
    SECURED,
    TURNING,
    Confirmation,
    cautions_for,
    confirmations_for,
)
from sweeprig.bench.hookup.interlock import NEEDS_SECURING
from sweeprig.bench.review.card import card_of
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.track_b import is_missing, is_unjudged, profiles_for
from sweeprig.words import ANY_SENSOR


class Answer(StrEnum):
    """Answer to a question."""

    YES = "y"
    NO = "n"
    UNKNOWN = "?"


@dataclass(frozen=True)
class Item:
    """One condition that must be met before the rig is switched on."""

    text: str
    key: str = ""  # to be confirmed with; "" for a caution


@dataclass(frozen=True)
class ProfileQuestion:
    """One of the questions that find a profile; the answer leads to the next one or to a profile."""

    text: str
    yes: ProfileQuestion | str
    no: ProfileQuestion | str

    def after(self, answer: Answer) -> ProfileQuestion | str:
        """Return the next question, or the profile; where an answer is not known, the profile for any sensor."""
        return ANY_SENSOR if answer is Answer.UNKNOWN else self.yes if answer is Answer.YES else self.no


_TWO = ProfileQuestion(
    "Do both signals rise when the lever opens, or both fall?",
    yes=ProfileQuestion(
        "Does the second signal move about half as far as the first?",
        yes="two-tracks-half-scale",
        no="two-tracks-parallel",
    ),
    no="two-tracks-opposed",
)
_ONE = ProfileQuestion(
    "Do the sensor's screws sit in slots, made so that it can be turned on its mount?",
    yes="adjustable-potentiometer",
    no=ProfileQuestion(
        "Is it a potentiometer, by its part number or wiring diagram? Only then may an ohmmeter show its track: a"
        " steady 1 to 10 kohm between supply and ground, plug off.",
        yes="fixed-potentiometer",
        no="hall",
    ),
)
FIRST_QUESTION = ProfileQuestion("Has the sensor two signal wires?", yes=_TWO, no=_ONE)


def items_for(setting: str, hookup: str, drive: str = "") -> tuple[Item, ...]:
    """Return cautions and confirmations one by one; each is answered on its own."""
    wanted = _confirmations(setting, hookup, drive)
    cautions = tuple(Item(text) for text in cautions_for(setting, hookup) or POWERED_CAUTIONS[1:])
    return (*cautions, *(Item(c.text, c.key) for c in wanted if c is not CAUTIONS))


def confirmed_keys(setting: str, hookup: str, drive: str = "") -> str:
    """Return the --confirm keys that stand for every item answered with yes."""
    return ",".join(c.key for c in _confirmations(setting, hookup, drive))


def _confirmations(setting: str, hookup: str, drive: str) -> tuple[Confirmation, ...]:
    secured = (SECURED,) if drive in NEEDS_SECURING else ()
    return (*confirmations_for(setting, hookup), *secured)


def turning_items(*, rehearsal: bool) -> tuple[Item, ...]:
    """Return the cautions about turning a sensor one by one, and that the lever is where it is turned."""
    closed = "The lever is back at closed throttle."
    goes = " Answer y and the rehearsal's lever goes there." if rehearsal else ""
    return (*(Item(text) for text in aim.CAUTIONS), Item(f"{closed}{goes}", TURNING.key))


DRIVES = {"c": "combustion", "s": "stop-start", "h": "hybrid", "e": "electric"}  # by the key that names each


class Then(StrEnum):
    """The next step after a result."""

    HAND_OVER = "hand over"
    AIM = "aim"
    WIGGLE = "wiggle"
    REPLACE = "replace"
    SWEEP = "sweep again"
    BOTH_TRACKS = "judge both tracks"
    KIND = "say again what kind of sensor it is"
    CHECK = "check stop, lever and mount"


ENDS = {Code.MARGIN_CLOSED, Code.MARGIN_OPEN, Code.CLOSED_OUT_OF_RANGE, Code.OPEN_OUT_OF_RANGE}
CONTACTS = {Code.LOOSE_CONNECTION, Code.STRAY_DROPOUT, Code.SUPPLY_DROPOUT, Code.OPEN_SIGNAL}
WORN = {
    Code.WORN_SPOT, Code.FLAT_SPOT, Code.ROUGH_TRACK, Code.HYSTERESIS, Code.NOT_LINEAR, Code.DEAD_BAND_CLOSED,
    Code.DEAD_BAND_OPEN, Code.ENDS_NOT_REPEATED, Code.TRACKS_DISAGREE,
}  # fmt: skip


def then_of(outcome: Outcome) -> Then:
    """Return the step after a sweep: contacts come before wear, wear before the mount."""
    if outcome.judgement.verdict is Verdict.PASS:
        return Then.HAND_OVER
    found = [f for f in outcome.judgement.findings if f.severity != "note"]
    codes = {f.code for f in found}
    if codes & CONTACTS:
        return Then.WIGGLE
    if codes & WORN:
        return Then.REPLACE
    if codes & ENDS:
        wired = any(f.code in ENDS and f.cause is Cause.WIRING for f in found)
        return Then.AIM if outcome.profile.sensor.slotted and not wired else Then.CHECK
    return Then.SWEEP if found else _of_tracks(outcome)


def _of_tracks(outcome: Outcome) -> Then:
    """Return what comes after a sweep without a finding: a second track that is missing, or was not judged."""
    if is_missing(outcome.profile, outcome.trace):
        return Then.KIND
    return Then.BOTH_TRACKS if is_unjudged(outcome.profile, outcome.trace) else Then.SWEEP


SAID = {
    Then.HAND_OVER: "Hand it over: the sheet has the numbers for the controller.",
    Then.AIM: "An end is outside its limits. The mount is slotted: the sensor can be turned.",
    Then.WIGGLE: "A contact opens: the place is found by moving plug and harness by hand, lever at rest.",
    Then.REPLACE: "Replace the sensor, or what the card names; then sweep the new one.",
    Then.SWEEP: "Do what the card says under Next; then sweep again.",
    Then.KIND: (
        "No second signal was seen. If the sensor has one signal, answer the questions of step 5 again; if it has two,"
        " connect the second."
    ),
    Then.CHECK: "An end is outside its limits.",
    Then.BOTH_TRACKS: "The second track carries a signal and was not judged: this capture is judged again.",
}


def said_of(outcome: Outcome) -> str:
    """Return the next step in words; for an end out of place it is that of the card."""
    then = then_of(outcome)
    if then is Then.BOTH_TRACKS:
        return f"{SAID[then]} Profile: {' or '.join(profiles_for(outcome.analysis.two_tracks))}."
    if then is Then.WIGGLE and any(
        f.code in WORN for f in outcome.judgement.findings if f.severity == "fault"
    ):
        return f"{SAID[then]} The sensor is worn as well: replace it."
    if then is not Then.CHECK:
        return SAID[then]
    return f"{SAID[then]} {card_of(outcome).next_step.rstrip('.')}; then sweep again."


def command_line(arguments: Sequence[str]) -> str:
    """Return a command as it would be typed; without the confirmations, so that it asks for them again."""
    kept = list(arguments)
    if "--confirm" in kept:
        at = kept.index("--confirm")
        del kept[at : at + 2]
    return shlex.join(["sweeprig", *kept])
