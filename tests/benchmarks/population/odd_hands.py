"""Hands that do not fit a style: written out move by move."""

from __future__ import annotations

import numpy as np

from population.script import Hand, Script

Rng = np.random.Generator


def partial_strokes(rng: Rng) -> Hand:
    """Full strokes with partial ones between."""
    s = Script(rng)
    s.rest(0, rng.uniform(0.6, 1.0))
    for _ in range(3):
        s.move(rng.uniform(0.3, 0.8), rng.uniform(0.4, 1.0), "uneven")
        s.move(rng.uniform(0.1, 0.25), rng.uniform(0.3, 0.8))
        s.move(1.0, rng.uniform(0.5, 1.2))
        s.rest(1, rng.uniform(0.4, 0.9))
        s.move(0.0, rng.uniform(0.6, 1.4))
        s.rest(0, rng.uniform(0.4, 0.9))
    return s.done("partial-strokes")


def begins_open(rng: Rng) -> Hand:
    """The lever stands open when the record begins."""
    s = Script(rng, 1.0)
    s.rest(1, rng.uniform(0.6, 1.2))
    for i in range(int(rng.integers(4, 6))):
        s.move(float(i % 2), rng.uniform(0.7, 1.6))
        s.rest(i % 2, rng.uniform(0.5, 1.0))
    return s.done("begins-open")


def begins_half_way(rng: Rng) -> Hand:
    """The lever stands half way when the record begins, then goes to a stop."""
    s = Script(rng, rng.uniform(0.3, 0.7))
    s.hold(rng.uniform(0.3, 1.0), 0.002)
    first = int(rng.integers(0, 2))
    for i in range(int(rng.integers(5, 7))):
        stop = (first + i) % 2
        s.move(float(stop), rng.uniform(0.7, 1.6))
        s.rest(stop, rng.uniform(0.5, 1.0))
    return s.done("begins-half-way")


def half_strokes(rng: Rng) -> Hand:
    """Never reaches the open stop."""
    s, top = Script(rng), rng.uniform(0.4, 0.7)
    s.rest(0, rng.uniform(0.6, 1.0))
    for _ in range(int(rng.integers(3, 6))):
        s.move(top + rng.uniform(-0.02, 0.02), rng.uniform(0.5, 1.2))
        s.hold(rng.uniform(0.4, 0.8), 0.001)
        s.move(0.0, rng.uniform(0.5, 1.2))
        s.rest(0, rng.uniform(0.4, 0.8))
    return s.done("half-strokes")


def long_creep(rng: Rng) -> Hand:
    """One stroke of about 12 s, then quicker ones."""
    s = Script(rng)
    s.rest(0, rng.uniform(0.6, 1.0))
    s.move(1.0, rng.uniform(10.5, 12.5), str(rng.choice(["steady", "uneven"])), rng.uniform(0, 0.002))
    s.rest(1, 0.7)
    for stop in (0, 1, 0):
        s.move(float(stop), rng.uniform(1.0, 2.0))
        s.rest(stop, rng.uniform(0.5, 0.8))
    return s.done("long-creep")


def detent(rng: Rng, low: float = 0.2, high: float = 0.8) -> Hand:
    """The lever falls into a notch at one place, both ways, and jumps out of it."""
    s, place = Script(rng), rng.uniform(low, high)
    s.rest(0, rng.uniform(0.6, 1.0))
    for i in range(int(rng.integers(4, 7))):
        way = 1.0 if i % 2 == 0 else -1.0
        s.move(place - 0.012 * way, rng.uniform(0.3, 0.8), "glide")
        s.move(place, rng.uniform(0.012, 0.03), "snap")
        s.hold(rng.uniform(0.05, 0.3))
        s.move(place + 0.03 * way, rng.uniform(0.015, 0.04), "rush")
        s.move(float(i % 2 == 0), rng.uniform(0.3, 0.8))
        s.rest(int(i % 2 == 0), rng.uniform(0.4, 0.9))
    return s.done("detent")


def let_go(rng: Rng) -> Hand:
    """Opens by hand, lets go from part of the way or from the stop: the spring snaps it shut."""
    s = Script(rng)
    s.rest(0, rng.uniform(0.6, 1.0))
    for _ in range(int(rng.integers(3, 5))):
        s.move(1.0, rng.uniform(0.6, 1.5), "uneven")
        s.rest(1, rng.uniform(0.3, 0.8))
        s.move(rng.uniform(0.5, 0.9), rng.uniform(0.2, 0.6))
        s.move(0.0, rng.uniform(0.04, 0.09), "snap")
        s.bounce(0, rng.uniform(0.01, 0.06), rng.uniform(0.02, 0.06))
        s.rest(0, rng.uniform(0.5, 1.0))
    return s.done("let-go")


def one_long_two_short(rng: Rng) -> Hand:
    """One slow stroke, then two quick ones and back."""
    s = Script(rng)
    s.rest(0, rng.uniform(0.5, 0.9))
    for stop, seconds in ((1, rng.uniform(5, 8)), (0, 0.5), (1, 0.45), (0, 0.6)):
        s.move(float(stop), seconds, "steady" if seconds > 1 else "glide")
        s.rest(stop, rng.uniform(0.4, 0.9))
    return s.done("one-long-two-short")


def twice(rng: Rng, stop: int = 0) -> Hand:
    """Reaches one stop, lifts about 3 percent, reaches it again."""
    s, inward = Script(rng), 1.0 if stop == 0 else -1.0
    s.rest(0, rng.uniform(0.6, 1.0))
    for i in range(4):
        at = 1 if i % 2 == 0 else 0
        s.move(float(at), rng.uniform(0.6, 1.4))
        if at == stop:
            s.rest(at, rng.uniform(0.15, 0.5))
            s.move(stop + inward * rng.uniform(0.02, 0.04), rng.uniform(0.08, 0.25))
            s.hold(rng.uniform(0.02, 0.2))
            s.move(float(stop), rng.uniform(0.08, 0.25))
        s.rest(at, rng.uniform(0.4, 0.9))
    return s.done("closes-twice" if stop == 0 else "opens-twice")


def pumping(rng: Rng) -> Hand:
    """Rests at the start only; the stops are touched, not rested on."""
    s = Script(rng)
    s.rest(0, rng.uniform(0.6, 1.0))
    for i in range(int(rng.integers(8, 14))):
        stop = 1 if i % 2 == 0 else 0
        s.move(float(stop), rng.uniform(0.35, 0.8))
        s.touch(stop, rng.uniform(0.005, 0.06))
    s.rest(0 if s.at < 0.5 else 1, 0.12)
    return s.done("pumping")


def not_quite(rng: Rng) -> Hand:
    """Some closings end a little short of the stop and rest there."""
    s = Script(rng)
    s.rest(0, rng.uniform(0.6, 1.0))
    for i in range(4):
        s.move(1.0, rng.uniform(0.6, 1.4))
        s.rest(1, rng.uniform(0.4, 0.8))
        if i % 2 == 0:
            s.move(rng.uniform(0.012, 0.035), rng.uniform(0.6, 1.4), "rush")
            s.hold(rng.uniform(0.3, 0.9))
        else:
            s.move(0.0, rng.uniform(0.6, 1.4))
            s.rest(0, rng.uniform(0.4, 0.8))
    return s.done("not-quite-closed")


def ends_mid(rng: Rng) -> Hand:
    """The record ends while the lever is under way."""
    s = Script(rng)
    s.rest(0, rng.uniform(0.6, 1.0))
    for i in range(4):
        stop = 1 if i % 2 == 0 else 0
        s.move(float(stop), rng.uniform(0.6, 1.4))
        s.rest(stop, rng.uniform(0.4, 0.8))
    s.move(rng.uniform(0.2, 0.8), rng.uniform(0.3, 0.8))
    return s.done("ends-under-way")


def motionless(rng: Rng, at: float = 0.0, seconds: float = 6.0) -> Hand:
    """Nobody moves the lever."""
    s = Script(rng, at)
    if at in (0.0, 1.0):
        s.rest(int(at), seconds)
    else:
        s.hold(seconds, 0.001)
    return s.done("motionless")
