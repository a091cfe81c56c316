"""Questions of the guide at a terminal: one at a time; only the keys named count; going back is one question back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sweeprig.cli.asking import answered, question, typed_line
from sweeprig.cli.console import console, strong

if TYPE_CHECKING:
    from sweeprig.bench.guide import Item

tracks_ohm: list[
    float
] = []  # [ohm] of the tracks that `pins` found last in this process: the guide passes one on
YES_OR_NO = {"yes": "y", "no": "n"}
BACK_WORD = "Do this first, then answer y. Ctrl-C ends the guide; nothing is switched on."


def asked(text: str, keys: str, words: Mapping[str, str] = YES_OR_NO) -> str:
    """Return the key that a question is answered with; anything else is asked again.

    `words`: whole words that count too, each with the key that it stands for.
    """
    console.say()
    console.say(text)
    while True:
        word = answered(lambda: typed_line(f"  {' or '.join(keys)}: ")).lower()
        word = words.get(word, word)
        if word in tuple(keys):
            return word
        console.say(f"  Only {' or '.join(keys)} counts.")


def yes(text: str) -> bool:
    """Return whether a question is answered with y."""
    return asked(text, "yn") == "y"


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


def heading(number: int, text: str) -> None:
    """Print the heading of a step."""
    console.say()
    console.say(strong(f"{number}. {text}"))
