"""The one page that goes along: what each press is for, what the light says, what to beware of."""

from __future__ import annotations

from html import escape
from pathlib import Path

from sweepboard.keep_light import SHORT, WORDS
from sweeprig.bench.field.send import Sent
from sweeprig.bench.hookup.cautions import cautions_for
from sweeprig.bench.sweep.pace import SweepPlan
from sweeprig.capture.atomic import write_atomically
from sweeprig.words import Setting

MEANING = {
    "ready": "ready for a press",
    "still": "hold the lever still",
    "armed": "move the lever",
    "running": "recording: go on",
    "kept": "kept",
    "unwanted": "the last one is marked as not wanted",
    "fast": "again: moved too fast",
    "few": "again: too few strokes, or ended early",
    "unmoved": "again: nothing moved",
    "memory": "the memory is full: collect first",
    "rail": "kept, and an end is near a rail",
    "supply": "refused or switched off: something else feeds the sensor, a short or an overload; plug off, look",
    "order": "no valid order: none, expired, all done, or for another rig",
    "engine": "again: the battery reading shows a running engine",
}

STYLE = (
    "body{font:11pt/1.25 sans-serif;max-width:48em;margin:1em auto}"
    "h1{font-size:15pt}h2{font-size:12pt;margin:.6em 0 0}ul{margin:.2em 0}"
)


def code_text(word: str) -> str:
    """Return what the light does for a word, in words."""
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
        ("What to do", _steps(plan, order.sweeps, order.rules["task"])),
        (
            "What the light means",
            [f"{code_text(word)}: {MEANING[word]}" for word in WORDS if word in MEANING],
        ),
        ("Confirmed at sending", list(setup.confirmed)),
        ("Beware", [*cautions_for(Setting.VEHICLE, setup.hookup), _power_bank()]),
    ]


def _steps(plan: SweepPlan, sweeps: int, task: str) -> list[str]:
    times = "once" if sweeps == 1 else f"{sweeps} times, one press each"
    if task == "wiggle":
        return [
            f"Press; the rig listens for {plan.longest_s:.0f} s ({times}).",
            "Press at each place that you come to; a long press ends it. The throttle stays untouched.",
        ]
    return [
        f"Press and let go ({times}). Hold the lever still until the light stays on, then move it.",
        f"{plan.words}. It ends by itself, after {plan.longest_s:.0f} s at the latest.",
        "A press while it runs ends it at once. A press of two seconds afterwards marks the last one as not wanted.",
    ]


def _power_bank() -> str:
    return (
        "Some power banks switch off at so small a current: the light goes dark. What was kept stays; the running sweep"
        " is cut. Use one with a setting for small loads."
    )


def write_card(sent: Sent, path: Path) -> Path:
    """Write the card as a page to print. Raises FileError."""
    parts = [f"<h1>Order {escape(sent.order.id)}: sweeps without a laptop</h1>"]
    for heading, lines in card_lines(sent):
        items = "".join(f"<li>{escape(line)}</li>" for line in lines)
        parts.append(f"<h2>{escape(heading)}</h2><ul>{items}</ul>")
    title = f"Order {escape(sent.order.id)}"
    page = f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}</title>'
    page += f"<style>{STYLE}</style><body>{''.join(parts)}</body></html>"
    write_atomically(path, page.encode(), next_step="choose another folder with --out")
    return path
