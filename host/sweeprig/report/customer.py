"""The verdict in one sentence for the owner of the vehicle: what it means and what follows. Words only, no figures."""

from __future__ import annotations

import re

from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.judge.fault_place import worn_as_well
from sweeprig.judge.left_out import ends_are_judged
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.track_b import is_unjudged
from sweeprig.words import Sense

REPLACE = "it should be replaced"
CONFIRM = "a second sweep must confirm it before it is replaced"
RULE_OUT = "its plug and harness must be ruled out before it is replaced"
REPAIR = "it should be repaired"
WORN_TOO = ", and the sensor itself is worn as well and should be replaced"
ENGINE_OFF = "it must be repeated with the engine off"
DOUBTS = {  # of a doubt: where its own sentence is not that of a possible fault
    Code.STRAY_DROPOUT: "The sensor's signal dropped out and it is not yet clear why; the test must be repeated.",
    Code.ENGINE_RUNNING: f"The engine ran during the test; {ENGINE_OFF}.",
}
WHAT = {  # the fault {where}; what follows
    Code.WORN_SPOT: ("The sensor has a worn spot{where}", REPLACE),
    Code.FLAT_SPOT: ("The sensor has a spot{where} where its signal stays still", REPLACE),
    Code.ROUGH_TRACK: ("The sensor is worn and its signal is uneven{where}", REPLACE),
    Code.NOT_LINEAR: ("The sensor's signal does not follow the throttle evenly", REPLACE),
    Code.HYSTERESIS: ("The sensor's signal differs between opening and closing", REPLACE),
    Code.LOOSE_CONNECTION: ("The sensor's connection loses contact", REPAIR),
    Code.STRAY_DROPOUT: ("The sensor's signal drops out", "the cause must be found"),
    Code.OPEN_SIGNAL: ("The sensor's wiring is open or shorted", REPAIR),
    Code.STUCK_LOW: ("The sensor gives no signal", "sensor and wiring should be checked"),
    Code.STUCK_HIGH: ("The sensor's signal is stuck", "sensor and wiring should be checked"),
    Code.NO_MOVEMENT: ("The sensor's signal does not move", "sensor and lever should be checked"),
    Code.SUPPLY_SAG: ("The sensor's supply is weak", "the wiring should be checked"),
    Code.SUPPLY_DROPOUT: ("The sensor's supply fails now and then", "the wiring should be checked"),
    Code.SUPPLY_OUT_OF_RANGE: ("The sensor's supply is out of range", "its source should be checked"),
    Code.SUPPLY_CUT: ("The sensor has no proper supply", "the wiring should be checked"),
    Code.GROUND_SHIFT: ("The sensor's ground connection is poor", REPAIR),
    Code.DEAD_BAND_CLOSED: ("The sensor does not read closed throttle", "{mount}"),
    Code.DEAD_BAND_OPEN: ("The sensor does not read open throttle", "{mount}"),
    Code.MARGIN_CLOSED: ("The sensor's signal at closed throttle is too near {rail}", "{mount}"),
    Code.MARGIN_OPEN: ("The sensor's signal at open throttle is too near {rail}", "{mount}"),
    Code.CLOSED_OUT_OF_RANGE: ("The sensor's signal at closed throttle is out of limits", "{mount}"),
    Code.OPEN_OUT_OF_RANGE: ("The sensor's signal at open throttle is out of limits", "{mount}"),
    Code.ENDS_NOT_REPEATED: (
        "The sensor or its lever does not hold its position",
        "its mount should be tightened",
    ),
    Code.TRACKS_SHORTED: ("The sensor's two signals are shorted together", REPAIR),
    Code.TRACKS_DISAGREE: ("The sensor's two signals do not agree", "sensor and wiring should be checked"),
    Code.INTERFERENCE: ("The sensor's signal is disturbed from outside", "the wiring should be checked"),
    Code.ENGINE_RUNNING: ("The engine ran during the test", ENGINE_OFF),
    Code.WRONG_SENSE: ("The sensor's signal runs the wrong way", "the wiring should be checked"),
}
PLACES = (
    (20, "near closed throttle"),
    (40, "at light throttle"),
    (60, "around half throttle"),
    (80, "above half throttle"),
)
NOT_TESTED = "This kind of sensor cannot be tested here; another instrument is needed."
PASSED = "The sensor is good: no fault seen, and both ends of its travel are within limits."
CLEAR = "No fault seen in the sensor: its signal is clean over its whole travel."
ONE_OF_TWO = "The sensor has two signals and only one of them is tested: the other must be judged as well."
OPEN = "The test does not decide whether the sensor is good; it must be repeated."
WIGGLED = "The wiring loses contact when it is moved; it should be repaired."
NOT_REPRODUCED = "No fault showed while the wiring was moved; this does not rule one out."
COMMANDS = re.compile(r" ?\(`[^`]*`\)")


def customer_text(outcome: Outcome) -> str:
    """Return what the verdict means to the owner, in one sentence without figures, commands or abbreviations."""
    judgement = outcome.judgement
    if outcome.setup.task.startswith("wiggle"):
        return WIGGLED if judgement.verdict is Verdict.FAIL else NOT_REPRODUCED
    if judgement.verdict is Verdict.PASS:
        return PASSED if ends_are_judged(outcome.profile) else CLEAR
    found = [f for f in judgement.findings if f.severity != "note" and f.cause is not Cause.RIG]
    if judgement.verdict is Verdict.UNDECIDED:
        return _undecided(outcome)
    first = next((f for f in found if f.severity == "fault"), None)
    if first is None or first.code not in WHAT:
        return "The sensor does not pass: a measured value is out of its limits."
    what, follows = WHAT[first.code]
    if first.unconfirmed:
        follows = CONFIRM
    if first.or_contact:
        follows = RULE_OUT
    if first.channel == 1 and first.code is Code.ENDS_NOT_REPEATED:
        what, follows = (
            "The signal of the sensor's track B does not hold its level",
            "sensor and wiring should be checked",
        )
    if first.channel == 1:
        what = what.replace("The sensor has", "The sensor's track B has", 1)
        what = what.replace("The sensor's signal", "The signal of the sensor's track B", 1)
    told = f"{_filled(what, first, outcome)}; {follows.format(mount=_mount(outcome, first))}"
    worn = worn_as_well([f for f in found if f.severity == "fault"])
    return f"{told}{'' if worn is None else WORN_TOO}."


def _filled(what: str, finding: Finding, outcome: Outcome) -> str:
    return what.format(where=place_in_words(finding, outcome), rail=_rail(finding, outcome))


def _rail(finding: Finding, outcome: Outcome) -> str:
    """Return which rail an end is too near to."""
    end = "closed" if finding.code is Code.MARGIN_CLOSED else "open"
    failed = [m for m in outcome.judgement.margins if m.verdict is Verdict.FAIL and m.end.startswith(end)]
    if not failed:
        return "ground or the supply"
    return "ground" if failed[0].rail == "lower" else "the supply"


def _undecided(outcome: Outcome) -> str:
    """Return what is open: a kind of sensor that is not tested, a doubt, or the test itself."""
    found = outcome.judgement.findings
    if any(f.code in (Code.NOT_ANALOGUE, Code.RIG_OVER_RANGE) for f in found):
        return NOT_TESTED
    doubt = next((f for f in found if f.severity == "doubt" and f.code in WHAT), None)
    if doubt is None:
        return ONE_OF_TWO if is_unjudged(outcome.profile, outcome.trace) else OPEN
    if doubt.code in DOUBTS:
        return DOUBTS[doubt.code]
    what = _filled(WHAT[doubt.code][0], doubt, outcome)
    return f"Possible fault: {what[:1].lower()}{what[1:]}; the test must be repeated."


def place_in_words(finding: Finding, outcome: Outcome) -> str:
    """Return where on the travel; "" where it is not known which end is closed, or the place is wide."""
    where = finding.where_percent
    if where is None or outcome.analysis.sense is Sense.UNKNOWN or where[1] - where[0] > 40:
        return ""
    middle = (where[0] + where[1]) / 2
    return " " + next((name for most, name in PLACES if middle < most), "near open throttle")


def _mount(outcome: Outcome, finding: Finding) -> str:
    if finding.cause is Cause.WIRING:
        return "the wiring should be checked"
    slotted = outcome.profile.sensor.slotted
    return "it should be adjusted on its mount" if slotted else "sensor, lever and stop should be checked"


def without_commands(text: str) -> str:
    """Return a text for a sheet: commands and options, which stand in parentheses, are left out."""
    return COMMANDS.sub("", text)
