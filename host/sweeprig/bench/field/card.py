"""The one page to take to the vehicle: the steps in order, what the light means, what to beware of."""

from __future__ import annotations

from html import escape
from pathlib import Path

from sweepboard.keep_light import SHORT, WORDS
from sweeprig.bench.field.send import Sent
from sweeprig.bench.hookup.cautions import cautions_for
from sweeprig.bench.hookup.way_off import SHUT_DOWN, off_order
from sweeprig.bench.sweep.pace import SweepPlan
from sweeprig.capture.atomic import write_atomically
from sweeprig.words import Hookup, Setting

LIGHT = "What the light means"
STEPS = "What to do"
MEANING = {
    "ready": "ready for a press",
    "still": "hold the lever still",
    "armed": "move the lever",
    "running": "recording: go on",
    "kept": "kept",
    "unwanted": "the sweep just taken is marked as not wanted",
    "fast": "again: moved too fast",
    "few": "again: too few strokes, or ended early",
    "unmoved": "again: nothing moved",
    "memory": "the memory is full: collect first",
    "rail": "kept, and an end is near a rail",
    "supply": "refused or switched off: something else powers the sensor, a short or an overload; plug off, look",
    "order": "no valid order: none, expired, all done, or for another rig or build",
    "engine": "again: the battery reading shows a running engine",
}

STYLE = (
    "@page{margin:10mm}body{font:9.2pt/1.15 sans-serif;max-width:52em;margin:0 auto}"
    "h1{font-size:14pt;margin:0}h2{font-size:11pt;margin:.5em 0 .1em}ul{margin:0;padding-left:1.4em}"
    "table{border-collapse:collapse;width:100%}td{border-bottom:1px solid #999;padding:1px 8px 1px 0}"
)
BARE = ' style="list-style:none;padding-left:0"'  # the steps have numbers of their own
DRAWN_MS = 5000  # of a light's code that is drawn; from there on it is the same again
DRAWN_W, DRAWN_H = 200, 10


def code_text(word: str) -> str:
    """Return in words what the light does for one of its codes."""
    code = WORDS[word]
    special = {
        "ready": "a short blink every 3 s",
        "still": "flickers",
        "armed": "on",
        "running": "on and off, half a second each",
    }
    if word in special:
        return special[word]
    return f"{len(code) // 2} {'short' if code[0] == SHORT else 'long'} blinks"


def card_lines(sent: Sent) -> list[tuple[str, list[str]]]:
    """Return headings, each with its lines."""
    order, plan = sent.order, sent.plan
    setup = order.setup
    about = [
        f"Order {order.id} of {order.sent:%Y-%m-%d %H:%M}, job {setup.job or 'not named'}, {setup.hookup}.",
        f"Sensor: {sent.profile.title}.",
        f"It is valid for {order.rules['hours']} hours of running time, on this rig only.",
    ]
    return [
        ("What this is", about),
        (STEPS, numbered(_steps(plan, order.sweeps, order.rules["task"], setup.hookup))),
        (LIGHT, [f"{code_text(word)}: {MEANING[word]}" for word in WORDS if word in MEANING]),
        ("Cautions", [*cautions_for(Setting.VEHICLE, setup.hookup), _power_bank()]),
        ("Confirmed at sending", list(setup.confirmed)),
    ]


def numbered(lines: list[str]) -> list[str]:
    """Return steps with their numbers."""
    return [f"{number}. {line}" for number, line in enumerate(lines, start=1)]


def _steps(plan: SweepPlan, sweeps: int, task: str, hookup: str) -> list[str]:
    """Return all that is done in the vehicle, in its order: connect, press, disconnect."""
    ready = f"Power bank to the rig's USB: {code_text('ready')} says that it is {MEANING['ready']}."
    first = f"{SHUT_DOWN[:1].upper()}{SHUT_DOWN[1:]}."
    pressed = _wiggled(plan, sweeps) if task == "wiggle" else _swept(plan, sweeps)
    if str(hookup) == Hookup.TAPPED:
        tap = "Connect the tap lead: signal and sensor ground, sense leads if there are any. Ignition on."
        return [first, ready, tap, *pressed, off_order("power bank")]
    lead = "Sensor's plug OFF the harness, then on the rig's powered lead. The ignition stays off."
    return [first, ready, lead, *pressed, "Powered lead off, the plug back on the harness, power bank off."]


def _wiggled(plan: SweepPlan, sweeps: int) -> list[str]:
    times = "one press begins it" if sweeps == 1 else f"one press begins each, {sweeps} times"
    return [
        f"Press; the rig listens for {plan.longest_s:.0f} s ({times}).",
        "Press at each place that you come to; a long press ends it. The throttle stays untouched.",
    ]


def _swept(plan: SweepPlan, sweeps: int) -> list[str]:
    times = "one sweep" if sweeps == 1 else f"one press per sweep, {sweeps} sweeps"
    return [
        f"Press and let go ({times}). Hold the lever still until the light stays on, then move it:"
        f" {plan.words}. It ends by itself, after {plan.longest_s:.0f} s at the latest; a press ends it at once.",
        "Read the light. A press of two seconds marks the sweep just taken as not wanted.",
    ]


def _power_bank() -> str:
    return (
        "Some power banks switch off at so small a current: the light goes dark. What was kept stays; the running sweep"
        " is cut. Use one with a setting for small loads."
    )


def drawing(word: str) -> str:
    """Return a drawing of what the light does for one of its codes: filled is lit; time runs to the right."""
    at, bars, code = 0, "", WORDS[word]
    for i in range(2 * DRAWN_MS):
        length = code[i % len(code)]
        if i % 2 == 0 and at < DRAWN_MS:
            width = min(length, DRAWN_MS - at) * DRAWN_W / DRAWN_MS
            bars += f'<rect x="{at * DRAWN_W / DRAWN_MS:g}" width="{width:g}" height="{DRAWN_H}"/>'
        at += length
        if at >= DRAWN_MS:
            break
    return f'<svg width="{DRAWN_W}" height="{DRAWN_H}" role="img" aria-label="{code_text(word)}">{bars}</svg>'


def _light_table() -> str:
    rows = "".join(
        f"<tr><td>{drawing(word)}</td><td>{code_text(word)}</td><td>{escape(MEANING[word])}</td></tr>"
        for word in WORDS
        if word in MEANING
    )
    return f"<table>{rows}</table>"


def write_card(sent: Sent, path: Path) -> Path:
    """Write the card as one page to print. Raises FileError."""
    title = f"Order {escape(sent.order.id)}"
    parts = [f"<h1>{title}: sweeps without a laptop</h1>"]
    for heading, lines in card_lines(sent):
        items = "".join(f"<li>{escape(line)}</li>" for line in lines)
        body = _light_table() if heading == LIGHT else f"<ul{BARE if heading == STEPS else ''}>{items}</ul>"
        parts.append(f"<h2>{escape(heading)}</h2>{body}")
    page = f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}</title>'
    page += f"<style>{STYLE}</style><body>{''.join(parts)}</body></html>"
    write_atomically(path, page.encode(), next_step="choose another folder with --out")
    return path
