"""States of the rig's screens as scenes of a page. Pure; the words are those of the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sweeprig.page.model import Action, Bar, Scene
from sweeprig.wording import card as card_words
from sweeprig.wording import live, sweep, wiggle
from sweeprig.wording.live import near_scale

if TYPE_CHECKING:
    from sweeprig.bench.readings.search import LiveSearch
    from sweeprig.bench.readings.watch import WatchState
    from sweeprig.bench.review.card import Card
    from sweeprig.bench.sweep.prompts import SweepState
    from sweeprig.errors import SweeprigError

START = Action("\r", "Start without a movement")
END = Action("q", "End and judge")
AGAIN = Action(" ", "Do it again")
NEXT = Action("\r", "Next sensor")
PLACES = (
    Action("1", "Plug"),
    Action("2", "Bulkhead"),
    Action("3", "Controller end"),
    Action(" ", "Next place"),
)
STRIP = 80  # stretches of the strip that a phone has room for


def sweep_scene(state: SweepState, title: str, *, simulated: bool = False, keys: bool = True) -> Scene:
    """Return a sweep."""
    scene = reading_scene(state.reading, title)
    ready, over = state.armed, state.step == "DONE"
    return replace(
        scene,
        kind="wait" if over else "live",
        say=str(state.step),
        under=sweep.under_line(state),
        clock=sweep.clock_words(state).strip(),
        strip=(),
        done=min(state.strokes, state.plan.strokes),
        wanted=state.plan.strokes,
        strokes="   ".join(filter(None, (sweep.strokes_words(state), sweep.pace_words(state)))),
        fast=state.pace == "too fast",
        facts=sweep.ends_words(state),
        events=(sweep.dropouts_words(state),),
        actions=((START,) if ready else ()) + ((END,) if keys and not (state.waiting or over) else ()),
        simulated=simulated,
    )


def reading_scene(state: WatchState, title: str = "", *, simulated: bool = False, end: str = "") -> Scene:
    """Return a live reading; that of a sensor being turned says what to do."""
    word, detail = live.flag_words(state)
    do, _, how = state.message.partition(": ")  # of a sensor that is turned
    return Scene(
        kind="live",
        title=title or state.title,
        say=do,
        under=how,
        digits=live.volts(state.reading_v),
        unit="V",
        flag=f"{word}: {detail}" if detail else word,
        mark=live.flag_mark(state),
        clock=f"{state.seconds:.1f} s",
        bar=bar_of(state),
        strip=tuple(_joined(state)),
        strip_n=STRIP,
        strip_s=state.strip_s,
        facts=tuple(texts[0] for texts in live.facts(state)),
        actions=(Action("q", end),) if end else (),
        off=True,
        simulated=simulated,
        rig_s=state.seconds,
    )


def _joined(state: WatchState) -> list[tuple[float, float]]:
    """Return lowest and highest conversion of at most STRIP stretches, the newest always whole."""
    each = max(1, -(-state.strip_n // STRIP))
    slices = list(state.strip)
    first = len(slices) % each
    groups = [slices[:first]] if first else []
    groups += [slices[k : k + each] for k in range(first, len(slices), each)]
    return [(round(min(s.low_v for s in g), 4), round(max(s.high_v for s in g), 4)) for g in groups]


def bar_of(state: WatchState) -> Bar:
    """Return the lever between its rails."""
    return Bar(
        top_v=state.top_v,
        low_margin_v=state.low_margin_v,
        high_margin_v=state.high_margin_v,
        reading_v=state.reading_v,
        low_v=state.low_v,
        high_v=state.high_v,
        target=state.target,
        near=None if state.target is None else near_scale(*state.target),
    )


def wiggle_scene(search: LiveSearch, wanted_s: float, title: str, *, simulated: bool = False) -> Scene:
    """Return a wiggle test."""
    counts = tuple(f"{name}: {hits}" for name, hits in wiggle.per_place(search).items())
    return Scene(
        kind="live",
        title=title,
        say=wiggle.place_words(search.place),
        under=wiggle.since_words(search),
        digits=str(len(search.found)),
        unit="events so far",
        clock=f"{search.seconds:.1f} of {wanted_s:.0f} s",
        facts=(*wiggle.reading_words(search), *counts),
        events=tuple(wiggle.event_words(h) for h in search.found[:-9:-1]),
        actions=(*PLACES, Action("q", "End the test")),
        off=True,
        simulated=simulated,
        rig_s=search.seconds,
    )


def card_scene(
    card: Card,
    title: str,
    *,
    record: int | None = None,
    link: str = "",
    actions: tuple[Action, ...] = (),
    more: tuple[str, ...] = (),
) -> Scene:
    """Return the card that ends a sweep."""
    shown = card.faults if len(card.faults) > 1 or card.verdict != "fail" else ()
    facts = [card_words.end_words(end) for end in card.ends]
    facts += [card.facts, *([card.not_judged] if card.not_judged else [])]
    return Scene(
        kind="verdict",
        title=title,
        say=str(card.verdict),
        under=card.sentence,
        facts=(*more, *facts, *([] if record is None else [f"Record {record}"])),
        events=(*(card_words.fault_words(f) for f in shown), f"Next: {card.next_step}"),
        verdict=str(card.verdict),
        link=link,
        link_words="The whole sheet" if link else "",
        actions=actions,
        simulated=card.simulated,
    )


def error_scene(error: SweeprigError, title: str = "", *, actions: tuple[Action, ...] = ()) -> Scene:
    """Return what went wrong, and the next step."""
    parts = (("Seen", error.seen), ("Expected", error.limit), ("Next", error.next_step))
    return Scene(
        kind="over",
        title=title,
        say="NOT DONE",
        under=error.what,
        facts=tuple(f"{label}: {text}" for label, text in parts if text),
        actions=actions,
    )


def wait_scene(
    title: str, say: str, under: str = "", *, facts: Sequence[str] = (), actions: tuple[Action, ...] = ()
) -> Scene:
    """Return a pause in which no sensor is powered."""
    return Scene(kind="wait", title=title, say=say, under=under, facts=tuple(facts), actions=actions)
