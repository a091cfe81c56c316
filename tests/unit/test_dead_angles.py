"""An angle that moves where the signal does not: a dead band at that end, though neither end is near a rail."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.judge.outcome import Outcome
from sweeprig.words import Starts

TRAVEL_DEG = 85.0


def review(tmp_path: Path, *, dead: float, at_open: bool = False, falling: bool = False) -> Outcome:
    """Six strokes of two seconds at 500 rows/s; `dead` is the share of the angle without the signal."""
    u = np.arange(1, 1001) / 1000
    way, rest = 10 * u**3 - 15 * u**4 + 6 * u**5, np.ones(250)
    parts = [0 * rest]
    for k in range(6):
        parts += [way, rest] if k % 2 == 0 else [1 - way, 0 * rest]
    x = np.concatenate(parts)
    moved = np.clip((x - (0 if at_open else dead)) / (1 - dead), 0, 1)
    rng = np.random.default_rng(5)
    level = 4.3 - 3.7 * moved if falling else 0.6 + 3.7 * moved
    signal = level + rng.normal(0, 5e-4, x.size)
    rows = [
        f"{k / 500:.4f},{s:.4f},5.000,{TRAVEL_DEG * a:.3f}"
        for k, (s, a) in enumerate(zip(signal, x, strict=True))
    ]
    path = tmp_path / "angle.csv"
    path.write_text("\n".join(["time_s,signal_v,supply_v,angle_deg", *rows]), encoding="utf-8")
    return review_csv(
        path, Choices(starts=Starts.CLOSED, profile="fixed-potentiometer" if not falling else None)
    )


@pytest.mark.parametrize("dead", [0.1, 0.3, 0.5])
@pytest.mark.parametrize(("at_open", "code"), [(False, "dead-band-closed"), (True, "dead-band-open")])
@pytest.mark.parametrize("falling", [False, True])
def test_an_end_without_the_signal_is_doubted(
    tmp_path: Path, dead: float, at_open: bool, code: str, falling: bool
) -> None:
    found = review(tmp_path, dead=dead, at_open=at_open, falling=falling)
    assert found.judgement.verdict == "undecided"
    (dead_band,) = (f for f in found.judgement.findings if f.code == code)
    assert dead_band.numbers["dead_deg"] == pytest.approx(dead * TRAVEL_DEG, abs=2)


@pytest.mark.parametrize("dead", [0.0, 0.02])
def test_a_little_play_of_the_angle_is_sound(tmp_path: Path, dead: float) -> None:
    found = review(tmp_path, dead=dead)
    assert not [f for f in found.judgement.findings if f.severity != "note"]
