"""Questions of the guide at a terminal: one at a time; only the keys named count; going back is one question back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sweeprig.cli.asking import LED_BY, answered, question, typed_line
from sweeprig.cli.console import console, strong

if TYPE_CHECKING:
    from sweeprig.bench.guide import Item
    from sweeprig.bench.hookup.cautions import Confirmation

tracks_ohm: list[
    float
] = []  # [ohm] of the tracks that `pins` found last in this process: the guide passes one on
YES_OR_NO = {"yes": "y", "no": "n"}
BACK_WORD = "Do this first, then answer y. Ctrl-C ends the guide; nothing is switched on."


def asked(text: str, keys: str, words: Mapping[str, str] = YES_OR_NO, *, option: str = "") -> str:
    """Return the key that a question is answered with; anything else is asked again.

    `words`: whole words that count too, each with the key that it stands for. `option` answers it beforehand.
    """
    console.say()
    console.say(text)
    while True:
        word = answered(lambda: typed_line(f"  {' or '.join(keys)}: "), option=option).lower()
        word = words.get(word, word)
        if word in tuple(keys):
            return word
        console.say(f"  Only {' or '.join(keys)} counts.")


def yes(text: str, *, option: str = "") -> bool:
    """Return whether a question is answered with y; `option` answers it beforehand."""
    return asked(text, "yn", option=option) == "y"


def typed(text: str) -> str:
    """Return what is typed; "" after Enter alone."""
    console.say()
    prompt = question(f"{text} (Enter leaves it out)")
    return answered(lambda: typed_line(f"{prompt}: "))


def confirmed(items: Sequence[Item]) -> None:
    """Ask for each item in turn; n goes back one item and never ends the questions."""
    at = 0
    while at < len(items):
        item = items[at]
        if yes(
            f"{at + 1} of {len(items)}: {item.text} {'Is this so?' if item.key else 'Do you keep to it?'}"
        ):
            at += 1
        else:
            console.say(f"  {BACK_WORD}")
            at = max(0, at - 1)


@contextmanager
def leading() -> Iterator[None]:
    """Within the block, what a command wants confirmed is asked for as the guide asks."""
    LED_BY.append(_confirm)
    try:
        yield
    finally:
        LED_BY.remove(_confirm)


def is_leading() -> bool:
    """Return whether a command runs as a step of the guide."""
    return bool(LED_BY)


def _confirm(item: Confirmation) -> bool:
    """Return the answer to a question of fact; ask for a condition until it is met."""
    from sweeprig.bench.guide import Item

    if item.either:
        return yes(f"{item.text} Is this so?")
    confirmed([Item(item.text, item.key)])
    return True


def heading(number: int, text: str) -> None:
    """Print the heading of a step."""
    console.say()
    console.say(strong(f"{number}. {text}"))
