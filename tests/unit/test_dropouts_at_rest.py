"""A lever that nobody moves and a contact that opens: the result names the contact before the lever."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sweeprig.analysis.findings import no_movement
from sweeprig.analysis.model import Code
from sweeprig.bench.review.card import card_of
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.twin.capture import capture_of
from sweeprig.twin.sensors import load_sensor


@pytest.mark.parametrize(("n", "said"), [(1, "1 dropout was seen"), (27, "27 dropouts were seen")])
def test_dropouts_without_a_movement_are_counted(n: int, said: str) -> None:
    found = no_movement(0.45, 5.0, 1e-3, n_dropouts=n)
    assert found.code is Code.NO_MOVEMENT
    assert said in found.evidence
    assert found.next_step.startswith("Move plug and harness by hand (`sweeprig wiggle`)")


def test_a_quiet_lever_at_rest_sends_nobody_to_the_plug() -> None:
    found = no_movement(0.45, 5.0, 1e-3)
    assert "dropout" not in found.evidence
    assert "wiggle" not in found.next_step


def test_the_card_of_a_loose_connector_at_rest_names_it() -> None:
    still = replace(load_sensor("loose-connector"), lever="still")
    outcome = review_capture(capture_of(still, seconds=8.0, seed=3), Choices())
    card = card_of(outcome)
    assert "dropouts were seen" in card.sentence
    assert "sweeprig wiggle" in card.next_step
