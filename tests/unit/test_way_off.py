"""Taking a rig off a harness: one order, in every text that names it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from sweeprig.bench.field.order import confirmations
from sweeprig.bench.hookup.cautions import TAPPED_CAUTIONS, USB_FIRST, VEHICLE_CAUTIONS
from sweeprig.bench.hookup.way_off import OFF_ORDER, off_order
from sweeprig.capture.model import SweepSetup
from sweeprig.words import Hookup

ROOT = Path(__file__).resolve().parents[2]
TEXTS = sorted(
    path
    for folder in ("docs", "hardware", "host/sweeprig", "firmware/sweepboard")
    for path in (ROOT / folder).rglob("*")
    if path.suffix in (".md", ".py", ".toml", ".html", ".js")
)
SENTENCE = re.compile(r"[^.\n]+")
STEPS = (("ignition off",), ("tap off", "tap is off", "the tap,"), ("usb off", "power bank off"))


def _order_in(text: str) -> list[int]:
    """Return the steps in the order in which a sentence names them."""
    found = [(at, i) for i, words in enumerate(STEPS) for w in words if (at := text.lower().find(w)) >= 0]
    return [i for _, i in sorted(found)]


def test_the_order_of_the_way_off() -> None:
    wanted = "To disconnect, in this order: ignition off, wait until the controllers have shut down, tap off, USB off."
    assert wanted == OFF_ORDER
    assert _order_in(OFF_ORDER) == [0, 1, 2]


def test_no_text_names_another_order() -> None:
    wrong = []
    for path in [*TEXTS, ROOT / "README.md"]:
        for sentence in SENTENCE.findall(path.read_text(encoding="utf-8")):
            steps = _order_in(sentence)
            if steps != sorted(steps):
                wrong.append(f"{path.name}: {sentence.strip()}")
    assert wrong == []


@pytest.mark.parametrize("page", ["docs/safety.md", "docs/howto/vehicle.md"])
def test_the_pages_say_it_word_for_word(page: str) -> None:
    text = " ".join((ROOT / page).read_text(encoding="utf-8").split())
    assert OFF_ORDER in text


def test_the_prompt_says_it() -> None:
    assert OFF_ORDER in USB_FIRST.text


def test_no_caution_says_it_in_other_words() -> None:
    for text in (*VEHICLE_CAUTIONS, *TAPPED_CAUTIONS, USB_FIRST.text):
        steps = _order_in(text)
        assert steps == sorted(steps), text


def test_an_order_for_the_power_bank_says_it() -> None:
    setup = SweepSetup(hookup=Hookup.TAPPED, vehicle_drive="combustion")
    texts = [c.text for c in confirmations(setup)]
    assert any(off_order("power bank") in text for text in texts)
