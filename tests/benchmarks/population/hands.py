"""Operators' hands: named ways to work the lever."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from population import odd_hands as odd
from population.script import Hand, Script

Range = tuple[float, float]
Rng = np.random.Generator


@dataclass(frozen=True)
class Style:
    """How a hand works the lever, stroke by stroke."""

    word: str
    strokes: tuple[int, int] = (4, 6)
    stroke_s: Range = (0.7, 1.8)
    rest_s: Range = (0.5, 1.2)
    shapes: tuple[str, ...] = ("glide",)
    tremor: Range = (0.0, 0.0)
    stop: str = "plain"
    press: Range = (0.0, 0.001)
    drift: Range = (0.0, 0.0)
    pauses: tuple[Range, ...] = ()
    pause_s: Range = (0.2, 1.0)
    closing_s: Range | None = None
    closing_shape: str | None = None
    tail: float = 0.0


def _draw(rng: Rng, bounds: Range) -> float:
    return float(rng.uniform(*bounds))


def _stroke(script: Script, style: Style, stop: int) -> None:
    """One stroke to a stop, with the pauses of the style."""
    rng = script.rng
    closing = stop == 0
    seconds = _draw(rng, style.closing_s if closing and style.closing_s else style.stroke_s)
    shape = style.closing_shape if closing and style.closing_shape else str(rng.choice(style.shapes))
    places = sorted((_draw(rng, p) for p in style.pauses), reverse=closing)
    for place in places:
        part = max(0.08, seconds * abs(place - script.at))
        script.move(place, part, "glide", _draw(rng, style.tremor))
        script.hold(_draw(rng, style.pause_s), _draw(rng, style.tremor) * 0.3)
    script.move(float(stop), max(0.03, seconds * abs(stop - script.at)), shape, _draw(rng, style.tremor))


def _arrive(script: Script, style: Style, stop: int) -> None:
    """What happens at the stop before the rest."""
    rng = script.rng
    if style.stop == "bounce":
        script.bounce(stop, rng.uniform(0.008, 0.03), rng.uniform(0.02, 0.05))
    elif style.stop == "hard-bounce":
        script.bounce(stop, rng.uniform(0.03, 0.09), rng.uniform(0.04, 0.09))
    elif style.stop == "swing":
        script.swing(stop, rng.uniform(0.005, 0.02), rng.uniform(0.06, 0.2))


def perform(rng: Rng, style: Style) -> Hand:
    """A whole sweep in the given style: begins and usually ends at the closed stop."""
    script = Script(rng)
    script.rest(0, max(0.5, _draw(rng, style.rest_s)), _draw(rng, style.press))
    for i in range(int(rng.integers(style.strokes[0], style.strokes[1] + 1))):
        stop = 1 if i % 2 == 0 else 0
        _stroke(script, style, stop)
        _arrive(script, style, stop)
        script.rest(stop, _draw(rng, style.rest_s), _draw(rng, style.press), _draw(rng, style.drift))
    return script.done(style.word)


NEAR_CLOSED, NEAR_OPEN = (0.02, 0.08), (0.92, 0.98)

STYLES: dict[str, Style] = {
    s.word: s
    for s in (
        Style("even"),
        Style("steady", shapes=("steady",)),
        Style("uneven", shapes=("uneven",), stroke_s=(0.8, 2.5)),
        Style("quick", stroke_s=(0.3, 0.45), strokes=(6, 10), rest_s=(0.4, 0.8)),
        Style("slow", stroke_s=(2.8, 4.0), strokes=(3, 4), shapes=("steady", "glide")),
        Style("fast-then-slow", shapes=("rush",), stroke_s=(0.8, 2.5)),
        Style("creeping-end", shapes=("creep",), stroke_s=(1.5, 3.5), strokes=(3, 4)),
        Style("hesitant-start", shapes=("linger",), stroke_s=(1.5, 3.5), strokes=(3, 4)),
        Style("stick-slip", shapes=("stick_slip",), stroke_s=(1.2, 3.0), strokes=(3, 5)),
        Style(
            "tremor", tremor=(0.004, 0.02), stroke_s=(1.5, 3.5), strokes=(3, 5), shapes=("steady", "uneven")
        ),
        Style("bouncing", stop="bounce", stroke_s=(0.3, 0.8)),
        Style("hard-bouncing", stop="hard-bounce", stroke_s=(0.3, 0.5), strokes=(5, 8), closing_shape="snap"),
        Style("pause-mid", pauses=((0.25, 0.75),), strokes=(4, 4)),
        Style("pause-near-closed", pauses=(NEAR_CLOSED,), strokes=(4, 4)),
        Style("pause-near-open", pauses=(NEAR_OPEN,), strokes=(4, 4)),
        Style("pause-near-both", pauses=(NEAR_CLOSED, NEAR_OPEN), strokes=(4, 4), pause_s=(0.3, 1.0)),
        Style("overshoot", stop="swing", stroke_s=(0.35, 0.9), strokes=(4, 6)),
        Style("spring-return", closing_s=(0.04, 0.05), closing_shape="snap", stop="bounce", strokes=(4, 6)),
        Style("brief-rests", rest_s=(0.1, 0.3), strokes=(6, 10), stroke_s=(0.5, 1.5)),
        Style("press-varies", press=(0.0, 0.004), strokes=(4, 8)),
        Style("relaxing", drift=(0.004, 0.012), rest_s=(0.8, 2.0), strokes=(3, 5)),
        Style("unequal-rests", rest_s=(0.16, 3.0), strokes=(4, 6)),
        Style("two-strokes", strokes=(2, 2)),
        Style("one-stroke", strokes=(1, 1)),
        Style("long-rests", rest_s=(2.5, 5.0), strokes=(3, 4)),
        Style("many", strokes=(10, 14), stroke_s=(0.6, 1.0), rest_s=(0.4, 0.7)),
    )
}


SPECIAL: dict[str, Callable[[Rng], Hand]] = {
    "partial-strokes": odd.partial_strokes,
    "begins-open": odd.begins_open,
    "begins-half-way": odd.begins_half_way,
    "half-strokes": odd.half_strokes,
    "long-creep": odd.long_creep,
    "detent": odd.detent,
    "detent-near-closed": lambda rng: odd.detent(rng, 0.04, 0.10),
    "let-go": odd.let_go,
    "one-long-two-short": odd.one_long_two_short,
    "closes-twice": lambda rng: odd.twice(rng, 0),
    "opens-twice": lambda rng: odd.twice(rng, 1),
    "pumping": odd.pumping,
    "not-quite-closed": odd.not_quite,
    "ends-under-way": odd.ends_mid,
    "motionless": odd.motionless,
}
PLAIN_HANDS = ("even", "steady", "uneven", "fast-then-slow", "bouncing")
HARD_HANDS = (
    "tremor",
    "stick-slip",
    "pause-near-closed",
    "overshoot",
    "let-go",
    "closes-twice",
    "creeping-end",
    "hard-bouncing",
    "spring-return",
    "brief-rests",
    "detent",
    "press-varies",
)


def hand(rng: Rng, word: str) -> Hand:
    """A hand by its word; "plain" and "any" draw one."""
    if word == "plain":
        word = str(rng.choice(PLAIN_HANDS))
    elif word == "any":
        word = str(rng.choice(PLAIN_HANDS + HARD_HANDS))
    return perform(rng, STYLES[word]) if word in STYLES else SPECIAL[word](rng)
